"""Broken clips through the real decoder and the whole night: no hang, no crash of the run, every clip one row with a reason.

`python -m tests.faults.long` does the same with a thousand and counts.
"""

import time

import numpy as np
import pytest

from pipeline.batch.run import run_folder
from pipeline.clips.video import UnreadableClip, frames, probe
from tests.batch.nights import TODAY, clips_folder, rows_of
from tests.faults.mutate import MUTATIONS, mutated, sources


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return sources(tmp_path_factory.mktemp("whole"))


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda m: m.__name__)
def test_a_broken_clip_gives_good_frames_or_a_clear_line(tmp_path, whole, mutation):
    rng = np.random.default_rng(3)
    for number in range(12):
        clip = tmp_path / f"{number}.mp4"
        clip.write_bytes(mutation(bytearray(whole[number % len(whole)]), rng))
        last, began = -1.0, time.monotonic()
        try:
            probe(clip)
            for frame in frames(clip, longest_side=64):
                assert frame.t > last and np.isfinite(frame.t) and frame.t < 7200
                assert frame.image.ndim == 3 and frame.image.dtype == np.uint8
                last = frame.t
        except UnreadableClip as error:
            assert "\n" not in str(error) and len(str(error)) < 400
        assert time.monotonic() - began < 60


def test_a_night_of_broken_clips_leaves_one_row_each(tmp_path, whole):
    folder = clips_folder(tmp_path, ())
    names = []
    for number, (what, data) in enumerate(mutated(whole, 24, seed=11)):
        names.append(f"OT-01_2026-03-02_{number}.mp4")
        (folder / names[-1]).write_bytes(data or what.encode())
    done = run_folder(folder, tmp_path / "out", today=TODAY, workers=2)
    rows = rows_of(tmp_path / "out")
    assert sorted(rows) == sorted(names) and done.found == len(names)
    for status, reason in rows.values():
        assert status in ("failed", "nothing found", "skipped")
        assert reason and "\n" not in reason and "Traceback" not in reason and "unexpected" not in reason
