"""Slow motion comes at the speed of life where the phone says how fast it filmed, and nothing else is touched."""

import av
import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.clips.video import frames, glimpses, moments_at, probe
from tests.clips.filming import film


def told(source, to, fps):
    """The same packets in a file that says how many frames a second were filmed, as Android does."""
    with av.open(str(source)) as read, av.open(str(to), "w", options={"movflags": "use_metadata_tags"}) as write:
        write.metadata["com.android.capture.fps"] = fps
        copied = write.add_stream_from_template(read.streams.video[0])
        for packet in read.demux(video=0):
            if packet.dts is not None:
                packet.stream = copied
                write.mux(packet)
    return to


def test_eight_times_slowed_comes_at_the_speed_of_life(tmp_path):
    plain = film(tmp_path / "plain.mp4", [i / 30 for i in range(480)])
    slow = told(plain, tmp_path / "slow.mp4", "240.000000")
    shown = list(frames(slow))
    assert_allclose([f.t for f in shown], np.arange(480) / 240, atol=1e-4)
    assert probe(slow).duration_s == pytest.approx(2.0, abs=0.05)
    late = list(moments_at(slow, [1.5, 1.9]))
    assert [round(m.t, 2) for _, m in late] == [1.5, 1.9]
    assert [round(f.t, 1) for f in glimpses(slow, longest_side=64)] == [0.0, 0.7, 1.9]


@pytest.mark.parametrize("fps", ["30.000000", "29.97", "", "nonsense", "0", "-240", "nan", "inf", "1e9"])
def test_all_else_keeps_its_times(tmp_path, fps):
    plain = film(tmp_path / "plain.mp4")
    same = told(plain, tmp_path / "same.mp4", fps)
    assert_allclose([f.t for f in frames(same)], np.arange(30) / 30, atol=1e-4)


def test_a_late_moment_of_slow_motion_is_jumped_to(tmp_path):
    """Key pictures lie 250 frames apart here (x264's own default)."""
    slow = told(film(tmp_path / "plain.mp4", [i / 30 for i in range(3000)]), tmp_path / "slow.mp4", "240")
    (got,) = moments_at(slow, [12.0])
    assert got[1].t == pytest.approx(12.0, abs=2e-3) and got[1].index < 600
