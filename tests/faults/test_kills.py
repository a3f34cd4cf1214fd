"""A night that is killed and goes on ends as one that was left alone."""

import os

import pytest

from tests.batch.nights import clips_folder
from tests.faults.kills import kill_at_random, run_night

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kills with SIGKILL")


def test_killed_and_finished_is_as_undisturbed(tmp_path):
    folder = clips_folder(tmp_path, [f"{code}_2026-03-0{day}_{n}.mp4" for code in ("OT-01", "HE-02") for day in (2, 3) for n in range(12)])
    assert run_night(folder, tmp_path / "undisturbed").wait(timeout=120) == 0
    got = kill_at_random(folder, tmp_path / "out", tmp_path / "undisturbed", kills=3, seed=5, longest_s=4.0)
    assert (got.orphans, got.broken, got.half) == (0, 0, 0)
    assert got.equal and got.pages_equal
