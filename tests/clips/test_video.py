"""Decoding against clips built with known times, turns and sizes, and against files that only pretend to be clips."""

import pickle
import socket
import struct
from datetime import UTC, date, datetime
from fractions import Fraction

import av
import numpy as np
import psutil
import pytest
from numpy.testing import assert_allclose

from pipeline.clips.video import UnreadableClip, frames, probe, recorded_on
from tests.clips.filming import CARD, blue_box, card, film, record_sound

HEIGHT, WIDTH = CARD


def test_a_steady_clip_gives_its_frames_times_and_colours(tmp_path):
    clip = film(tmp_path / "a.mp4")
    shown = list(frames(clip))
    assert [f.index for f in shown] == list(range(30))
    assert_allclose([f.t for f in shown], np.arange(30) / 30, atol=1e-4)
    assert shown[0].image.shape == (HEIGHT, WIDTH, 3) and shown[0].image.dtype == np.uint8 and shown[0].image.flags.c_contiguous
    assert shown[0].scale == 1.0
    for i in (0, 15, 29):  # H.264 loses a little
        assert_allclose(shown[i].image[60, 60], card(4 * i)[60, 60], atol=6)


def test_uneven_times_are_kept_to_the_millisecond(tmp_path):
    times = [0.0, 0.033, 0.1, 0.11, 0.5, 0.533, 2.25]
    assert_allclose([f.t for f in frames(film(tmp_path / "uneven.mp4", times))], times, atol=2e-5)


def test_times_count_from_the_first_shown_frame(tmp_path):
    late = [5.0, 5.04, 5.08]
    assert_allclose([f.t for f in frames(film(tmp_path / "late.mkv", late))], [0, 0.04, 0.08], atol=1e-3)


# Where the stored top left corner is seen after turning clockwise: (top or bottom, left or right).
CORNERS = {0: ("top", "left"), 90: ("top", "right"), 180: ("bottom", "right"), 270: ("bottom", "left")}


@pytest.mark.parametrize("turn", CORNERS)
@pytest.mark.parametrize("ending", ["mp4", "mov"])
def test_a_stored_turn_is_applied(tmp_path, turn, ending):
    clip = film(tmp_path / f"turned.{ending}", rotation=turn)
    video, frame = probe(clip), next(frames(clip))
    shape = (HEIGHT, WIDTH) if turn in (0, 180) else (WIDTH, HEIGHT)
    assert (video.height, video.width) == frame.image.shape[:2] == shape
    assert video.rotation == turn
    top, bottom, left, right = blue_box(frame.image)
    vertical, horizontal = CORNERS[turn]
    assert top == 0 if vertical == "top" else bottom == shape[0] - 1
    assert left == 0 if horizontal == "left" else right == shape[1] - 1


def test_a_stored_mirror_is_applied(tmp_path):
    clip = film(tmp_path / "mirrored.mp4")
    data = bytearray(clip.read_bytes())
    at = data.index(b"tkhd") + 4 + 40  # version 0: the matrix follows 40 bytes of other fields
    data[at : at + 4] = struct.pack(">i", -1 << 16)
    clip.write_bytes(data)
    top, _, _, right = blue_box(next(frames(clip)).image)
    assert (top, right) == (0, WIDTH - 1)


def test_scaling_keeps_the_shape_and_says_the_scale(tmp_path):
    clip = film(tmp_path / "a.mp4", rotation=90)
    frame = next(frames(clip, longest_side=64))
    assert frame.image.shape == (64, 48, 3) and frame.scale == 0.5
    assert next(frames(clip, longest_side=5000)).scale == 1.0, "never enlarged"


@pytest.mark.parametrize("ending", ["mp4", "mov", "mkv", "avi"])
@pytest.mark.parametrize("start", [0.0, 3.0, 9.9, 17.02, 19.9, 25.0])
def test_starting_late_gives_the_same_frames_at_the_same_times(tmp_path, ending, start):
    """Key pictures lie 250 frames apart here (x264's own default). Compared with decoding from the beginning."""
    clip = film(tmp_path / f"long.{ending}", [0.2 + i / 30 for i in range(600)], rotation=90 if ending in ("mp4", "mov") else 0)
    whole = {round(f.t, 4): f for f in frames(clip) if f.t >= start - 1e-4}
    late = [f for f in frames(clip, start=start) if f.t >= start - 1e-4]
    assert [round(f.t, 4) for f in late] == list(whole)
    assert all(np.array_equal(f.image, whole[round(f.t, 4)].image) for f in late)


def test_starting_late_decodes_little(tmp_path):
    clip = film(tmp_path / "long.mp4", [i / 30 for i in range(600)])
    given = list(frames(clip, start=18.5))
    assert given[0].index == 0 and 16.0 < given[0].t <= 17.5 and len(given) < 110


def test_a_file_that_cannot_be_searched_is_decoded_from_its_beginning(tmp_path, monkeypatch):
    import pipeline.clips.video as video

    clip = film(tmp_path / "long.mkv", [i / 30 for i in range(300)])
    monkeypatch.setattr(video, "_jump", lambda container, stream, at: container.seek(10**9, stream=stream) or True)  # beyond the end
    assert [round(f.t, 2) for f in frames(clip, start=8.0)][-1] == 9.97


def test_starting_late_in_a_clip_that_breaks_off_gives_what_there_is(tmp_path):
    clip = film(tmp_path / "long.mkv", [i / 30 for i in range(600)])
    data = clip.read_bytes()
    clip.write_bytes(data[: len(data) * 7 // 10])
    assert [f.t for f in frames(clip, start=18.0) if f.t >= 18.0] == []


@pytest.mark.parametrize("size", [(97, 131), (50, 17), (16, 16)])
def test_odd_sizes(tmp_path, size):
    clip = tmp_path / "odd.mkv"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("ffv1", rate=25)
        stream.height, stream.width, stream.pix_fmt = *size, "yuv444p"
        for i in range(5):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(card(i, size), format="rgb24")))
        container.mux(stream.encode())
    assert [f.image.shape for f in frames(clip)] == [(*size, 3)] * 5
    assert next(frames(clip, longest_side=16)).image.shape[0] <= 16


def test_pixels_that_are_not_square_are_made_so(tmp_path):
    clip = tmp_path / "wide.mp4"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.height, stream.width, stream.pix_fmt = 96, 64, "yuv420p"
        stream.codec_context.sample_aspect_ratio = Fraction(2)
        for _ in range(3):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(card(0, (96, 64)), format="rgb24")))
        container.mux(stream.encode())
    assert next(frames(clip)).image.shape == (96, 128, 3)
    assert probe(clip).width == 128


@pytest.mark.parametrize("ending", ["mp4", "mov", "m4v", "mkv", "avi", "MP4"])
def test_every_promised_container(tmp_path, ending):
    assert len(list(frames(film(tmp_path / f"clip.{ending}")))) == 30


def test_webm(tmp_path):
    clip = tmp_path / "clip.webm"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("libvpx", rate=30)
        stream.height, stream.width, stream.pix_fmt = *CARD, "yuv420p"
        for i in range(10):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(card(i), format="rgb24")))
        container.mux(stream.encode())
    assert len(list(frames(clip))) == 10


def test_the_recording_date_is_that_of_the_club(tmp_path, monkeypatch):
    late_utc = film(tmp_path / "a.mp4", made_on=datetime(2026, 3, 2, 12, 0, tzinfo=UTC))
    assert probe(late_utc).made_on == recorded_on(late_utc) == date(2026, 3, 2)
    assert recorded_on(film(tmp_path / "b.mp4", made_on=datetime(1970, 1, 1, tzinfo=UTC))) is None, "a camera without a clock"
    assert recorded_on(film(tmp_path / "c.mp4")) is None


def test_a_probe_says_whether_there_is_sound(tmp_path):
    assert not probe(film(tmp_path / "a.mp4")).has_sound


# ---- files that are not what they seem ---------------------------------------------------------------------------------


def both(path, words):
    """Probing and decoding say the same, in words a coach understands, without giving a single frame."""
    with pytest.raises(UnreadableClip, match=words) as caught:
        probe(path)
    assert path.name in str(caught.value) and "\n" not in str(caught.value)
    with pytest.raises(UnreadableClip, match=words):
        next(frames(path))


def test_an_empty_file(tmp_path):
    (tmp_path / "empty.mp4").touch()
    both(tmp_path / "empty.mp4", "empty")


def test_a_text_file_named_mp4(tmp_path):
    path = tmp_path / "text.mp4"
    path.write_text("This is not a video.\n" * 200)
    both(path, "not a video")


def test_only_sound(tmp_path):
    both(record_sound(tmp_path / "sound.mp4"), "only sound")


def test_no_such_file(tmp_path):
    both(tmp_path / "none.mp4", "no such file")


def test_a_clip_without_frames(tmp_path):
    path = tmp_path / "none.mkv"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=25)
        stream.height, stream.width, stream.pix_fmt = 96, 128, "yuv444p"
        container.start_encoding()
    both(path, "not a video")


def test_a_picture_too_small_to_show_anyone(tmp_path):
    path = tmp_path / "small.mkv"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=25)
        stream.height, stream.width, stream.pix_fmt = 1, 1, "yuv444p"
        container.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((1, 1, 3), np.uint8), format="rgb24")))
        container.mux(stream.encode())
    both(path, "1 × 1")


@pytest.mark.parametrize(
    "text",
    [
        "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nhttp://127.0.0.1:{port}/x.ts\n#EXT-X-ENDLIST\n",
        "ffconcat version 1.0\nfile '{other}'\n",
    ],
    ids=["playlist", "concat"],
)
def test_a_file_cannot_make_us_open_another_one_or_the_network(tmp_path, text):
    other = film(tmp_path / "other.mp4")
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        trap = tmp_path / "trap.mp4"
        trap.write_text(text.format(port=server.getsockname()[1], other=other))
        both(trap, "not a video")
        with pytest.raises(TimeoutError):
            server.accept()


@pytest.mark.parametrize("ending", ["mkv", "avi", "mp4"])
def test_a_truncated_clip_gives_what_it_has_and_then_says_how_far_it_came(tmp_path, ending):
    rng = np.random.default_rng(7)
    whole = tmp_path / f"whole.{ending}"
    with av.open(str(whole), "w", container_options={"movflags": "faststart"} if ending == "mp4" else {}) as container:
        stream = container.add_stream("mpeg4", rate=30)
        stream.height, stream.width, stream.pix_fmt = *CARD, "yuv420p"
        for _ in range(90):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(rng.integers(0, 255, (*CARD, 3), dtype=np.uint8), format="rgb24")))
        container.mux(stream.encode())
    data = whole.read_bytes()
    cut = tmp_path / f"cut.{ending}"
    cut.write_bytes(data[: len(data) // 2])
    got = []
    with pytest.raises(UnreadableClip, match="breaks off") as caught:
        got.extend(frames(cut))  # list.extend keeps what came before the error
    assert 20 < len(got) < 70
    assert caught.value.frames == len(got) and caught.value.seconds == got[-1].t


@pytest.mark.parametrize("later_first", [False, True])
def test_two_clips_copied_into_one_file_say_that_the_second_is_not_shown(tmp_path, later_first):
    """What `copy /b a.mts + b.mts` does: the times begin anew, so no player shows the rest; a camera's short slips back are passed over."""
    parts = [stream_of(tmp_path / f"{first}.ts", first) for first in ((100, 0) if later_first else (0, 0))]
    (tmp_path / "both.mts").write_bytes(b"".join(parts))
    got = []
    with pytest.raises(UnreadableClip, match=r"breaks off after 1\.0 s.*the times jump from 1\.0 to ") as told:
        got.extend(frame.t for frame in frames(tmp_path / "both.mts"))
    assert told.value.frames == len(got) == 30


def stream_of(path, first):
    """The bytes of a second of transport stream whose frames count from `first`."""
    with av.open(str(path), "w", format="mpegts") as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = CARD[1], CARD[0], "yuv420p"
        for i in range(30):
            frame = av.VideoFrame.from_ndarray(card(i), format="rgb24").reformat(format="yuv420p")
            frame.pts = first + i
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path.read_bytes()


def test_a_phone_clip_cut_off_before_its_index_is_refused(tmp_path):
    whole = film(tmp_path / "a.mp4")
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(whole.read_bytes()[:-600])
    both(cut, "cut off|not a video")


def test_the_error_survives_the_way_from_a_worker():
    error = pickle.loads(pickle.dumps(UnreadableClip("a.mp4: broken", frames=7, seconds=0.5)))
    assert (str(error), error.frames, error.seconds) == ("a.mp4: broken", 7, 0.5)


def test_frames_stream(tmp_path):
    """Memory does not grow with the clip: 270 more frames would be 62 MB if they were kept."""
    clip = film(tmp_path / "long.mp4", [i / 30 for i in range(300)], size=(240, 320))
    used = {}
    for frame in frames(clip):
        if frame.index in (30, 299):
            used[frame.index] = psutil.Process().memory_info().rss
    assert used[299] - used[30] < 20e6
