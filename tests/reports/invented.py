"""An invented club in a real store, for looking at pages and testing them. Every value, curve and picture here is made up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

import cv2
import numpy as np

from pipeline.attempts.attempt import Attempt
from pipeline.measures.reading import Curve, Reading
from pipeline.store import AttemptResult, ClipResult, Picture, Store
from pipeline.vocabulary import DETAILS, Detail, Setting, Side, Skill

COHORTS = ("Otters", "Herons", "Curlews")
FIRST_DAY = date(2026, 3, 2)
REASON = "The legs leave the picture while upside down. Stand further back, so that hands and feet stay in it."
LINES = {
    ("lunge", "line_deviation"): ("wrist", "elbow", "shoulder", "hip", "knee", "ankle"),
    ("lunge", "shoulder_angle"): ("elbow", "shoulder", "hip"),
    ("lunge", "hip_angle"): ("shoulder", "hip", "knee"),
    ("lunge", "knee_angle"): ("hip", "knee", "ankle"),
    ("lunge", "arms_by_ears"): ("elbow", "shoulder", "hip"),
    ("shoulder_stand", "hip_angle"): ("shoulder", "hip", "ankle"),
    ("shoulder_stand", "hip_knee_angle"): ("shoulder", "hip", "knee"),
    ("shoulder_stand", "leg_to_vertical"): ("hip", "ankle"),
    ("shoulder_stand", "toe_point"): ("knee", "ankle", "toe"),
    ("cartwheel", "knee_angle"): ("hip", "knee", "ankle"),
    ("backward_roll", "knee_clearance"): ("hip", "knee", "ankle"),
}
TYPICAL = {  # middle and spread of an invented beginner
    "line_deviation": (7, 3.5), "shoulder_angle": (163, 12), "hip_angle": (165, 14), "knee_angle": (163, 12), "arms_by_ears": (18, 9),
    "hip_knee_angle": (163, 13), "leg_to_vertical": (14, 8), "toe_point": (146, 12), "knee_clearance": (12, 8), "knee_contact_time": (0.09, 0.12),
}  # fmt: skip
HALF = {"deg": 4.0, "% chord": 1.4, "% shank": 5.0, "s": 0.03}


def code(i: int) -> str:
    """OT-01, HE-02, CU-03, OT-04, ..."""
    return f"{('OT', 'HE', 'CU')[i % 3]}-{i // 3 + 1:02d}"


def fill(store: Store, data: Path, *, athletes: int = 9, weeks: int = 3, seed: int = 1, pictures: bool = True) -> None:
    """Put an invented season into the store, with some clips that failed or wait for the coach."""
    rng = np.random.default_rng(seed)
    for week in range(weeks):
        for i in range(athletes):
            day = FIRST_DAY + timedelta(days=7 * week + (i % 2) * 2)
            for n, skill in enumerate(Skill):
                if rng.random() < 0.12:
                    continue
                store.put(
                    clip_result(
                        rng, data, code(i), COHORTS[i % 3], day, n + 1, skill, pictures=pictures, attempts=1 + (rng.random() < 0.25)
                    )
                )
    day = (FIRST_DAY + timedelta(days=7 * (weeks - 1))).isoformat()
    for name, athlete, when, status, reason in (
        ("IMG_2071.MOV", "", "", "needs you", "Nobody knows whose clip this is. Fill in athlete and date in clips.csv."),
        ("OT-04_noon.mp4", "OT-04", "", "needs you", "The date cannot be told. Fill it in in clips.csv."),
        ("HE-09_x.mp4", "HE-09", day, "skipped", "Consent ran out on 2026-02-28; the clip was not opened. Renew it in the roster."),
        ("CU-02_b.mp4", "CU-02", day, "failed", "Breaks off after 1.2 of 9.0 s: copy it from the phone again."),
        ("OT-01_walk.mp4", "OT-01", day, "nothing found", "No lunge, cartwheel, backward roll or shoulder stand was seen."),
    ):
        store.put(ClipResult(name, f"{abs(hash(name)):x}"[:8], athlete, "", when, status, reason))


def clip_result(
    rng: np.random.Generator, data: Path, athlete: str, cohort: str, day: date, n: int, skill: Skill, *, pictures: bool, attempts: int
) -> ClipResult:
    content = f"{rng.integers(16**8):08x}"
    made = []
    for number in range(1, attempts + 1):
        start = 0.6 + 4.2 * (number - 1)
        attempt = Attempt(skill, number, start, start + 3.4, start + 1.3, start + 2.4, 1, Side.LEFT, Setting.ALONE, 0.95)
        link = f"{athlete}_{day.isoformat()}_{content}_{number}"
        made.append(attempt_result(rng, data, attempt, link, pictures=pictures))
    return ClipResult(
        f"week/{athlete}_{day.isoformat()}_{n}.mp4", content, athlete, cohort, day.isoformat(), "measured",
        frames=270, seconds_of_work=float(rng.uniform(6, 12)), duration_s=9.0, attempts=made,
    )  # fmt: skip


def attempt_result(rng: np.random.Generator, data: Path, attempt: Attempt, link: str, *, pictures: bool) -> AttemptResult:
    readings, curves, shots = [], [], []
    body = pose(attempt.skill, float(rng.normal(165, 12)))
    for detail in (d for d in DETAILS if d.skill == attempt.skill and d.id in TYPICAL):
        for side in (Side.LEFT, Side.RIGHT) if detail.sided else (Side.NONE,):
            reading = invent(rng, detail, side, attempt)
            readings.append(reading)
            if detail.unit != "s":
                curves.append(invent_curve(rng, detail, reading, attempt))
            if pictures:
                shots.append(shoot(data, link, detail, side, body, draw=not math.isnan(reading.value)))
    return AttemptResult(attempt, link, readings, curves, shots)


def invent(rng: np.random.Generator, detail: Detail, side: Side, attempt: Attempt) -> Reading:
    middle, spread = TYPICAL[detail.id]
    half = HALF[detail.unit] * float(rng.lognormal(0, 0.5))
    line = LINES.get((detail.skill, detail.id), ())
    names = tuple(f"{side or 'left'}_{joint}".replace("toe", "foot_index") for joint in line)
    if rng.random() < 0.07:
        nan = float("nan")
        return Reading(detail.id, side, nan, nan, nan, detail.unit, float(rng.uniform(0, 0.3)), REASON)
    value = float(rng.normal(middle, spread))
    if detail.unit != "deg" or detail.id in ("leg_to_vertical", "arms_by_ears"):
        value = max(0.0, value)
    elif detail.id != "hip_angle" and detail.id != "hip_knee_angle":
        value = min(180.0, value)
    low, high = value - half * 1.05, value + half * 0.95
    return Reading(
        detail.id,
        side,
        value,
        low,
        high,
        detail.unit,
        float(rng.uniform(0.6, 1)),
        "",
        float(rng.uniform(attempt.key_start_s + 0.2, attempt.key_end_s - 0.2)),
        names,
    )


def invent_curve(rng: np.random.Generator, detail: Detail, reading: Reading, attempt: Attempt) -> Curve:
    t = np.arange(attempt.start_s, attempt.end_s, 1 / 30)
    middle, spread = TYPICAL[detail.id]
    goal = middle if math.isnan(reading.value) else reading.value
    inside = 1 / (1 + np.exp(-(t - attempt.key_start_s) * 9)) / (1 + np.exp((t - attempt.key_end_s) * 9))
    away = goal - 3.2 * spread if goal > 100 else goal + 3.2 * spread
    value = away + (goal - away) * inside + np.convolve(rng.normal(0, spread / 5, len(t)), np.ones(5) / 5, "same")
    half = HALF[detail.unit] * (1 + 1.5 * (1 - inside))
    if rng.random() < 0.4:
        value[12:19] = np.nan
    return Curve(detail.id, reading.side, detail.unit, t, value, value - half, value + half)


# ------------------------------------------------------------------ invented pictures

SEGMENTS = (
    ("ankle", "knee"),
    ("knee", "hip"),
    ("hip", "shoulder"),
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
    ("ankle", "toe"),
    ("shoulder", "head"),
)
SIZE = (720, 540)


def pose(skill: Skill, bend: float) -> dict[str, np.ndarray]:
    """A side view of a body bent at the hips, in picture pixels: a chain from ankle to wrist, plus head and toe."""
    lean = {Skill.LUNGE: -48.0, Skill.LOADED_LUNGE: -48.0, Skill.SHOULDER_STAND: 94.0, Skill.CARTWHEEL: 80.0, Skill.BACKWARD_ROLL: 60.0}[
        skill
    ]
    origin = {
        Skill.LUNGE: (190, 470),
        Skill.LOADED_LUNGE: (190, 470),
        Skill.SHOULDER_STAND: (360, 130),
        Skill.CARTWHEEL: (330, 110),
        Skill.BACKWARD_ROLL: (300, 200),
    }[skill]
    chain, at, turn = {"ankle": np.array(origin, float)}, np.array(origin, float), lean
    for name, length, change in (
        ("knee", 95, 0.0),
        ("hip", 95, 5.0),
        ("shoulder", 105, 180 - bend),
        ("elbow", 60, 8.0),
        ("wrist", 55, 0.0),
    ):
        turn += change if name != "knee" else 0.0
        at = at + length * np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        chain[name] = at
    up = (chain["shoulder"] - chain["hip"]) / 105
    chain["head"] = chain["shoulder"] + 52 * up
    back = (chain["ankle"] - chain["knee"]) / 95
    chain["toe"] = chain["ankle"] + 34 * (back + np.array([0.5, 0.2]))
    return chain


def shoot(data: Path, link: str, detail: Detail, side: Side, body: dict[str, np.ndarray], *, draw: bool) -> Picture:
    """Draw the body once an attempt and say which line was measured in it."""
    name = f"pictures/{link}_001000.jpg"
    if not (data / name).is_file():
        (data / "pictures").mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(data / name), picture(body), [cv2.IMWRITE_JPEG_QUALITY, 80])
    line: Sequence[str] = LINES.get((detail.skill, detail.id), ()) if draw else ()
    return Picture(detail.id, side, name, *SIZE, tuple((round(float(body[j][0]), 1), round(float(body[j][1]), 1)) for j in line))


def picture(body: dict[str, np.ndarray]) -> np.ndarray:
    """(540, 720, 3) BGR: a hall out of focus, a mat, a body whose head is a smudge."""
    width, height = SIZE
    y = np.linspace(0, 1, height)[:, None, None]
    image = np.broadcast_to((200 - 60 * y) * np.array([1.0, 0.98, 0.94]), (height, width, 3)).astype(np.uint8).copy()
    cv2.rectangle(image, (0, 470), (width, height), (150, 110, 70), -1)
    cv2.rectangle(image, (90, 180), (170, 420), (120, 120, 150), -1)
    image = cv2.GaussianBlur(image, (0, 0), 22)
    for a, b in SEGMENTS[:-1]:
        cv2.line(
            image,
            *(tuple(int(v) for v in np.rint(body[j])) for j in (a, b)),
            (96, 70, 52) if "e" in a else (140, 170, 205),
            30,
            cv2.LINE_AA,
        )
    cv2.circle(image, tuple(int(v) for v in np.rint(body["head"])), 34, (150, 165, 185), -1, cv2.LINE_AA)
    return image
