"""How fast a night is, as ratios measured in one run; and how much memory a long clip takes.

    python -m pipeline.bench speed                      # all but the long clip, about five minutes on two quiet cores
    python -m pipeline.bench speed --only memory --minutes 20        # about as long as the clip, on a quiet core

Processor seconds are those of the measured process; wall seconds are told apart, and mean little on a busy machine.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest.mock import patch

from pipeline.bench.made_up_clips import copies, enlarge, play_again
from pipeline.clips.video import frames, probe
from pipeline.landmarks.settings import LandmarkSettings

SAMPLES = Path(__file__).resolve().parents[2] / "sample_data" / "clips"
NIGHT_CLIPS, NIGHT_SECONDS, NIGHT_RATE = 200, 10, 30
TIMES = 3  # that each step of the first pass is measured


def main() -> int:
    """See the module's words."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clip", type=Path, default=SAMPLES / "OT-01_2026-03-02_1.mp4", help="the clip that is measured")
    parser.add_argument("--only", choices=PARTS, action="append", help="one part; may be given again")
    parser.add_argument("--grain", type=float, default=6.0, help="noise of the grainy clip of the part full-hd; 6 gives a phone's bit rate")
    parser.add_argument("--clips", type=int, default=24, help="clips of the night of the part workers")
    parser.add_argument("--minutes", type=float, default=2.0, help="length of the long clip of the part memory")
    options = parser.parse_args()
    for name in options.only or [part for part in PARTS if part != "memory"]:
        with tempfile.TemporaryDirectory(prefix="matside-bench-") as folder:
            for line in PARTS[name](options, Path(folder)):
                print(line, flush=True)
    return 0


def processor(work: Callable[[], object]) -> tuple[float, float]:
    """(processor seconds of this process and the children it has waited for, wall seconds)."""
    before, start = os.times(), time.perf_counter()
    work()
    after = os.times()
    return sum(after[:4]) - sum(before[:4]), time.perf_counter() - start


def least(work: Callable[[], object]) -> float:
    """Processor seconds of the quickest of TIMES goes; what is imported, built and packed once counts in the first alone."""
    return min(processor(work)[0] for _ in range(TIMES))


def first_pass(options: argparse.Namespace, folder: Path) -> Iterator[str]:
    """Decoding, a bare mediapipe loop, and our finding and following, on one clip; then all the rest of a clip's work."""
    from pipeline.attempts.followed import attempts_of
    from pipeline.batch.process import Task, process_clip
    from pipeline.bench.follow_check import plain_loop
    from pipeline.landmarks import locate

    def second_look(*args: object, look: Callable[..., None] = locate.look_mirrored) -> None:
        looks.append(processor(lambda: look(*args))[0])

    settings, clip = LandmarkSettings(), options.clip
    looks: list[float] = []

    def whole_clip() -> None:
        process_clip(Task("clip", clip, "0" * 32, "OT-01", "Otters", "2026-03-02", settings, Path(tempfile.mkdtemp(dir=folder))))

    length = sum(1 for _ in frames(clip))
    decode = least(lambda: list(map(len, ([f.index] for f in frames(clip, longest_side=settings.longest_side)))))
    plain = least(lambda: plain_loop(clip, settings.model))  # before memory is dealt with as a worker does
    whole = least(whole_clip)
    with patch.object(locate, "look_mirrored", second_look):
        ours = least(lambda: locate.track_athlete(clip, settings, source=clip.name, worth=attempts_of))
    once = ours - sum(looks) / TIMES
    video = probe(clip)
    yield f"first pass: {clip.name}, {length} frames of {video.width} x {video.height}, processor ms a frame"
    for what, seconds in (
        ("decoded", decode),
        ("bare mediapipe video loop", plain),
        ("found and followed both ways", once),
        ("the same with the second, mirrored look", ours),
        ("whole clip to readings and pictures", whole),
    ):
        yield f"  {what:<40}{1000 * seconds / length:8.1f}   {seconds / plain:5.2f} x the bare loop"
    night = NIGHT_CLIPS * NIGHT_SECONDS * NIGHT_RATE * whole / length
    yield f"  a night of {NIGHT_CLIPS} clips of {NIGHT_SECONDS} s at {NIGHT_RATE}/s: {night / 3600:.2f} processor hours, {night / 3600 / 2:.2f} h on 2 such cores"


def full_hd(options: argparse.Namespace, folder: Path) -> Iterator[str]:
    """The share of decoding on 1080p, made from the clip."""
    from pipeline.attempts.followed import attempts_of
    from pipeline.batch.process import Task, process_clip
    from pipeline.landmarks.locate import track_athlete

    settings = LandmarkSettings()
    for name, grain in (("hd.mp4", 0.0), ("grainy.mp4", options.grain)):
        big = folder / name
        count = enlarge(options.clip, big, seconds=4.0, grain=grain)
        track_athlete(big, settings, source=big.name, worth=attempts_of)
        decode = min(processor(lambda big=big: sum(1 for _ in frames(big, longest_side=settings.longest_side)))[0] for _ in range(2))  # type: ignore[misc]
        ours, _ = processor(lambda big=big: track_athlete(big, settings, source=big.name, worth=attempts_of))  # type: ignore[misc]
        task = Task(name, big, "0" * 32, "OT-01", "Otters", "2026-03-02", settings, folder / f"data of {name}")
        whole, _ = processor(lambda task=task: process_clip(task))  # type: ignore[misc]
        yield (
            f"1080p at {8e-6 * big.stat().st_size / 4.0:.0f} Mbit/s: decoding and scaling {1000 * decode / count:.1f} ms a frame, "
            f"{100 * decode / ours:.0f} % of {1000 * ours / count:.1f} ms to find and follow; the whole clip {1000 * whole / count:.1f} ms"
        )


def workers(options: argparse.Namespace, folder: Path) -> Iterator[str]:
    """Two workers against one, on copies of the clip that differ by a few bytes."""
    from pipeline.store import Store

    walls, worked, number = {}, {}, options.clips
    for count in (1, 2):
        clips = folder / f"clips{count}"
        copies(options.clip, clips, number)
        command = [sys.executable, "-m", "pipeline.cli", "run", str(clips), "--out", str(folder / f"out{count}"), "--workers", str(count)]
        _, walls[count] = processor(lambda command=command: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))  # type: ignore[misc]
        with Store(folder / f"out{count}" / "data" / "matside.sqlite") as store:
            worked[count] = float(store.clips()["seconds_of_work"].sum())
    yield f"workers: {number} clips in {walls[1]:.1f} s with one, {walls[2]:.1f} s with two: {walls[1] / walls[2]:.2f} times as fast (start and pages included)"
    yield (
        f"  start and pages {walls[1] - worked[1]:.1f} s; a clip {worked[1] / number:.2f} s with one at work, {worked[2] / number:.2f} s with two, "
        "which is what the cores cost each other"
    )


def unchanged(options: argparse.Namespace, folder: Path) -> Iterator[str]:
    """A folder of 1,000 clips of which none has changed, and pages from 10,000 and 20,000 readings."""
    from pipeline.bench.made_up_nights import fill

    clips, out = folder / "clips", folder / "out"
    fill(clips, out, clips=1000, readings_a_clip=10)
    command = [sys.executable, "-m", "pipeline.cli", "run", str(clips), "--out", str(out)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    used, wall = processor(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))
    yield f"unchanged: 1,000 clips in {wall:.1f} s wall, {used:.1f} s of processor, start included"
    for clips_count in (1000, 2000):
        where = folder / f"pages{clips_count}"
        fill(where / "clips", where / "out", clips=clips_count, readings_a_clip=10)
        command = [sys.executable, "-m", "pipeline.cli", "report", "--out", str(where / "out")]
        used, wall = processor(lambda command=command: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))  # type: ignore[misc]
        yield f"pages: {10 * clips_count:,} readings in {wall:.1f} s wall, {used:.1f} s of processor"


def start(options: argparse.Namespace, folder: Path) -> Iterator[str]:
    """The best of five starts of --help."""
    command = [sys.executable, "-m", "pipeline.cli", "--help"]
    best = min(processor(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL)) for _ in range(5))
    yield f"start: matside --help in {best[1]:.2f} s wall, {best[0]:.2f} s of processor"


def memory(options: argparse.Namespace, folder: Path) -> Iterator[str]:
    """The most memory one worker takes on a long 1080p clip with an attempt every few seconds, from decoding to the last picture."""
    short, long = folder / "short.mp4", folder / "OT-01_2026-03-02_1.mp4"
    video = probe(options.clip)
    enlarge(options.clip, short, seconds=video.duration_s or 5.0)
    count = play_again(short, long, seconds=60 * options.minutes)
    code = (
        "import resource, sys; from pathlib import Path; from pipeline.batch.process import *\n"
        "t = Task('clip', Path(sys.argv[1]), '0' * 32, 'OT-01', 'Otters', '2026-03-02', LandmarkSettings(), Path(sys.argv[2]))\n"
        "r = process_clip(t); print(len(r.attempts), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != 'darwin' else 1024**2))"
    )
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, str(long), str(folder / "data")], check=True, capture_output=True, text=True)
    attempts, most = done.stdout.split()
    yield (
        f"memory: {options.minutes:g} minutes of 1080p ({count} frames, {attempts} attempts): at most {float(most):.0f} MB, "
        f"{time.perf_counter() - began:.0f} s wall"
    )


PARTS: dict[str, Callable[[argparse.Namespace, Path], Iterator[str]]] = {
    "first-pass": first_pass, "full-hd": full_hd, "workers": workers, "unchanged": unchanged, "start": start, "memory": memory,
}  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())
