"""Frames kept for following: the same pictures back, and memory that does not grow with the clip."""

from itertools import pairwise

import numpy as np
import pytest

from pipeline.clips.video import Frame
from pipeline.landmarks.spool import Spool, stretches


def frame(i, size=(90, 160), t=None):
    y, x = np.mgrid[: size[0], : size[1]]
    image = np.stack([x % 256, y % 256, np.full_like(x, (40 + i) % 256)], axis=2).astype(np.uint8)
    return Frame(i, i / 30 if t is None else t, image, 0.5)


@pytest.mark.parametrize("size", [(90, 160), (91, 161), (160, 90)])
def test_a_picture_comes_back_but_for_the_packing_of_colours(size):
    spool = Spool()
    for i in range(3):
        spool.append(frame(i, size))
    assert (len(spool), spool.end, spool.scale) == (3, 3, 0.5)
    got, want = spool[1].astype(int), frame(1, size).image.astype(int)
    assert got.shape == want.shape
    assert np.abs(got - want).mean() < 3


def test_each_picture_is_its_own_though_they_share_one_place():
    spool = Spool()
    for i in range(3):
        spool.append(frame(i))
    blues = [int(spool[i][..., 2].mean()) for i in (0, 2, 2, 1, 0)]
    assert blues == pytest.approx([40, 42, 42, 41, 40], abs=1) and blues[0] < blues[3] < blues[1]


def test_stretches_share_frames_and_cover_the_clip_in_bounded_memory():
    one = Spool()
    one.append(frame(0))
    parts = list(stretches((frame(i) for i in range(100)), most_bytes=30 * one.nbytes, overlap_s=0.3, most_per_second=62))
    assert all(p.nbytes <= 30 * one.nbytes for p in parts)
    assert parts[0].first == 0 and parts[-1].end == 100
    for before, after in pairwise(parts):
        assert before.first < after.first < before.end
        np.testing.assert_array_equal(before[before.end - 1], after[before.end - 1])


def test_frames_faster_than_wanted_are_passed_over():
    (part,) = stretches((frame(i, t=i / 240) for i in range(240)), most_bytes=10**9, overlap_s=1, most_per_second=60)
    assert 50 <= len(part) <= 66
