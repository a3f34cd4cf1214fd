"""Nights without videos: files that are no clips, with made-up results already stored as if they had been measured."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.batch.process import MEASURED, Task, attempt_link
from pipeline.clips.content import ContentHashes
from pipeline.landmarks.models import looked_with
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.measures.reading import Curve, Reading
from pipeline.store import AttemptResult, ClipResult, Store
from pipeline.vocabulary import DETAILS, Setting, Side, Verdict

ATHLETES, FIRST_DAY, DAYS = 40, date(2026, 1, 5), 120
LAST_DAY = FIRST_DAY + timedelta(days=DAYS)


def fill(folder: Path, out: Path, *, clips: int, readings_a_clip: int, seed: int = 1) -> None:
    """Write `clips` files with a roster, and a store in which each is measured with `readings_a_clip` readings and curves.

    Every fourth clip is a routine; the coach has said of every tenth reading what she sees, and pinned a focus for every fifth athlete,
    so that all pages have something to show.
    """
    rng = np.random.default_rng(seed)
    settings = LandmarkSettings()
    model = looked_with(settings.model, settings.second_look, settings.near_look)
    folder.mkdir(parents=True)
    codes = [f"{'OT' if i % 2 else 'HE'}-{i:02d}" for i in range(ATHLETES)]
    rows = "".join(f"{code},{'Otters' if code.startswith('OT') else 'Herons'},left,2099-12-31\n" for code in codes)
    (folder / "roster.csv").write_text(f"athlete,cohort,lead_side,consent_until\n{rows}")
    hashes = ContentHashes(out / "data" / "contents.json")
    results = []
    for number in range(clips):
        code, day = codes[number % ATHLETES], FIRST_DAY + timedelta(days=int(rng.integers(DAYS)))
        name = f"{code}_{day}_{number}.mp4"
        (folder / name).write_bytes(f"clip {number}".encode())
        cohort = "Otters" if code.startswith("OT") else "Herons"
        content = hashes.of(name, folder / name)
        task = Task(name, folder / name, content, code, cohort, str(day), settings, out / "data", Side.LEFT, model=model)
        results.append(_result(task, readings_a_clip, rng, Setting.ROUTINE if number % 4 == 3 else Setting.ALONE))
    hashes.save()
    with Store(out / "data" / "matside.sqlite") as store:
        store.put_all(results)
        store.set_roster([tuple(row.split(",")) for row in rows.split()])
        readings = [(a.link, r.detail, r.side) for result in results for a in result.attempts for r in a.readings]
        verdicts = [str(v) for v in Verdict]
        store.add_eye((*one, verdicts[i % len(verdicts)], f"{LAST_DAY}T20:00:00+00:00") for i, one in enumerate(readings[::10]))
        for code in codes[::5]:
            store.pin(code, "lunge", "hip_angle", "", "")


def _result(task: Task, count: int, rng: np.random.Generator, setting: Setting) -> ClipResult:
    """Attempts with about five readings each until there are enough."""
    attempts: list[AttemptResult] = []
    while count > 0:
        skill = DETAILS[int(rng.integers(len(DETAILS)))].skill
        details = [d for d in DETAILS if d.skill == skill][:count]
        count -= len(details)
        number = len(attempts) + 1
        attempt = Attempt(skill, number, 4.0 * number, 4.0 * number + 3, 4.0 * number + 1, 4.0 * number + 2, 1, Side.LEFT, setting, 0.9)
        readings, curves = [], []
        t = np.arange(90) / 30 + attempt.start_s
        for detail in details:
            value = float(rng.normal(165, 10) if detail.unit == "deg" else rng.uniform(0, 20))
            readings.append(Reading(detail.id, Side.NONE, value, value - 6, value + 6, detail.unit, 1.0, at_s=attempt.key_start_s))
            curve = value + np.sin(t)
            curves.append(Curve(detail.id, Side.NONE, detail.unit, t, curve, curve - 6, curve + 6))
        attempts.append(AttemptResult(attempt, attempt_link(task, number), readings, curves))
    return ClipResult(
        task.clip, task.content, task.athlete, task.cohort, task.date, MEASURED, "", 300, 5.0, 10.0, task.made_with, attempts,
    )  # fmt: skip
