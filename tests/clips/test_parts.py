"""Moments of a clip whose pixels are only worked on where somebody asks for them."""

import struct

import av
import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.clips import video
from pipeline.clips.video import moments, moments_at
from pipeline.clips.write import ClipWriter
from tests.clips.filming import CARD, film

BOX = (20, 8, 100, 72)  # of the stored picture, 128 x 96


def soft(i: int, shape=CARD) -> np.ndarray:
    """Waves of colour, different along both axes and from frame to frame."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    return np.stack([128 + 90 * np.sin(x / 17 + i / 9), 128 + 90 * np.cos(y / 13), 128 + 60 * np.sin((x + y) / 23)], -1).astype(np.uint8)


def waves(path, *, rotation=0, mirrored=False):
    from pipeline.clips.write import write_clip

    write_clip(path, map(soft, range(12)), np.arange(12) / 30, quality=10, rotation=rotation)
    if mirrored:
        data = bytearray(path.read_bytes())
        at = data.index(b"tkhd") + 4 + 40
        data[at : at + 4] = struct.pack(">i", -1 << 16)
        path.write_bytes(data)
    return path


@pytest.mark.parametrize(("rotation", "mirrored"), [(0, False), (90, False), (180, False), (270, False), (0, True)])
def test_a_part_is_that_part_of_the_upright_picture(tmp_path, rotation, mirrored):
    moment = next(moments(waves(tmp_path / "w.mp4", rotation=rotation, mirrored=mirrored)))
    whole = moment.frame().image
    assert moment.size == whole.shape[1::-1]
    left, top, right, bottom = BOX if rotation in (0, 180) else (8, 20, 72, 100)
    wanted = whole[top:bottom, left:right]
    part = moment.part((left, top, right, bottom), (right - left, bottom - top))
    assert part.shape == wanted.shape and part.flags.c_contiguous
    assert_allclose(part.astype(int), wanted.astype(int), atol=8)
    half = moment.part((left, top, right, bottom), ((right - left) // 2, (bottom - top) // 2))
    small = wanted.reshape(wanted.shape[0] // 2, 2, -1, 2, 3).mean((1, 3))
    assert_allclose(half.astype(float), small, atol=6)


@pytest.mark.parametrize("name", ["yuv420p10le", "yuv422p", "nv12", "yuv444p", "rgb24"])
def test_a_part_of_any_kind_of_picture(name):
    """Ten bits and other colour layouts, as a decoder may give them, against the same part of the plain kind."""
    from av.video.reformatter import VideoReformatter

    from pipeline.clips.pixels import rgb_of_part

    plain = av.VideoFrame.from_ndarray(soft(0), format="rgb24")
    raw, like = plain.reformat(format=name), plain.reformat(format="yuv420p")
    size = (BOX[2] - BOX[0], BOX[3] - BOX[1])
    got, wanted = (rgb_of_part(VideoReformatter(), f, BOX, size) for f in (raw, like))
    assert_allclose(got.astype(int), wanted.astype(int), atol=10)


@pytest.mark.parametrize("box", [(-9, -9, 3, 3), (120, 90, 140, 120), (127, 95, 128, 96), (50.4, 50.4, 50.6, 50.6)])
def test_a_part_at_the_edge_or_hardly_there_is_still_a_picture(tmp_path, box):
    assert next(moments(waves(tmp_path / "w.mp4"))).part(box, (10, 6)).shape == (6, 10, 3)


def test_pixels_nobody_asks_for_are_not_worked_on(tmp_path, monkeypatch):
    worked = []
    plain = video.rgb
    monkeypatch.setattr(video, "rgb", lambda *args: worked.append(1) or plain(*args))
    clip = film(tmp_path / "a.mp4")
    got = [(number, moment.index, moment.frame().scale) for number, moment in moments_at(clip, [0.1, 0.5])]
    assert got == [(0, 3, 1.0), (1, 15, 1.0)] and len(worked) == 2


def test_moments_of_a_clip_that_breaks_off_are_those_before_the_break(tmp_path):
    clip = film(tmp_path / "a.mkv", [i / 30 for i in range(300)])
    clip.write_bytes(clip.read_bytes()[: clip.stat().st_size // 2])
    got = [number for number, _ in moments_at(clip, [0.0, 1.0, 9.9])]
    assert got == [0, 1]
    assert list(moments_at(clip, [])) == []


def test_a_writer_keeps_no_pictures_of_other_threads(tmp_path):
    with ClipWriter(tmp_path / "a.mp4") as writer:
        for i in range(3):
            writer.add(soft(i), i / 30)
        assert writer._stream.codec_context.thread_count == 1
    assert [round(m.t, 3) for m in moments(tmp_path / "a.mp4")] == [0.0, 0.033, 0.067]


def test_no_picture_is_kept_while_the_next_is_decoded(tmp_path, monkeypatch):
    """Each of 4K in ten bits takes 25 MB."""
    import gc
    import weakref

    alive = []
    plain = video.decoded

    class Seen:
        def __init__(self, raw):
            self.raw = raw

        def __getattr__(self, name):
            return getattr(self.raw, name)

    def watched(*args):
        for raw in plain(*args):
            gc.collect()
            seen = Seen(raw)
            del raw
            assert sum(one() is not None for one in alive) == 0
            alive.append(weakref.ref(seen))
            given = [seen]
            del seen
            yield given.pop()

    monkeypatch.setattr(video, "decoded", watched)
    monkeypatch.setattr(video, "rgb", lambda scaler, raw, size: np.zeros((size[1], size[0], 3), np.uint8))
    assert sum(1 for _ in video.frames(film(tmp_path / "a.mp4"))) == 30 == len(alive)
