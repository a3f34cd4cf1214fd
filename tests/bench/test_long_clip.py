"""The long clip of the memory benchmark is the short one again and again, to the byte, without drawing it anew."""

import numpy as np
from numpy.testing import assert_allclose

from pipeline.bench.made_up_clips import play_again
from pipeline.clips.video import frames
from tests.clips.filming import film


def test_a_clip_played_again_by_copying_its_packets(tmp_path):
    short = film(tmp_path / "short.mp4")
    assert play_again(short, tmp_path / "long.mp4", seconds=3.5) == 4 * 30
    once, shown = list(frames(short)), list(frames(tmp_path / "long.mp4"))
    assert_allclose([f.t for f in shown], np.arange(120) / 30, atol=2e-3)
    assert all(np.array_equal(f.image, once[i % 30].image) for i, f in enumerate(shown))
