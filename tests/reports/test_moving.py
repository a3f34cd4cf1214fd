"""The moving picture of an attempt: its frames, times and points are those of the clip."""

import json

import av
import cv2
import numpy as np
import pytest

from pipeline.clips.video import frames, moments_at, probe
from pipeline.clips.write import write_clip
from pipeline.landmarks.track import INDEX
from pipeline.reports.motion import read_motion
from pipeline.reports.moving import MovingPicture
from tests.reports.test_pictures import ATTEMPT, FRAMES, HEIGHT, WIDTH, clip, points, reading  # noqa: F401


def take_moving(path, track, attempt, readings, *, link, folder):
    """The attempt's moving picture alone, without the others that a run takes in the same way through the clip; whether it was made."""
    with MovingPicture(track, attempt, readings, link=link, folder=folder) as moving:
        for number, moment in moments_at(path, track.t[moving.rows].tolist()):
            moving.take(int(moving.rows[number]), moment)
    return moving.made


@pytest.fixture
def spotted(tmp_path):
    """A dark clip with a white spot on the left hip in every frame."""
    path = tmp_path / "spotted.mp4"

    def still(i: int) -> np.ndarray:
        image = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
        cv2.circle(image, tuple(int(v) for v in points(i)[INDEX["left_hip"]]), 12, (255, 255, 255), -1)
        return image

    write_clip(path, map(still, range(FRAMES)), np.arange(FRAMES) / 25.0)
    return path


def test_frames_times_and_points_are_the_clips(clip, spotted, tmp_path):  # noqa: F811
    track = clip[1]
    assert take_moving(spotted, track, ATTEMPT, [reading()], link="OT-01_x_1", folder=tmp_path)
    made, motion = tmp_path / "pictures" / "OT-01_x_1.mp4", read_motion(tmp_path / "pictures" / "OT-01_x_1.json")
    shown = list(frames(made))
    assert motion.start_s == 0.0 and len(shown) == len(motion.t) == FRAMES  # 0.2 - 0.4 s before, 1.4 + 0.4 s after: all of it
    assert np.allclose([f.t for f in shown], motion.t, atol=1e-3) and np.allclose(motion.t, np.arange(FRAMES) / 25, atol=1e-3)
    assert shown[0].image.shape[:2] == (motion.height, motion.width) and max(motion.height, motion.width) <= 560
    assert set(motion.points) == {"left_shoulder", "left_hip", "left_knee"}
    assert motion.lines == {"hip_angle": ["left_shoulder", "left_hip", "left_knee"]}
    for i in (0, 20, 39):
        spot = np.argwhere(shown[i].image[..., 1] > 180).mean(axis=0)[::-1]
        assert np.allclose(spot, motion.points["left_hip"][i], atol=1.5)


def test_it_is_trimmed_to_the_attempt(clip, spotted, tmp_path):  # noqa: F811
    from dataclasses import replace

    short = replace(ATTEMPT, start_s=0.8, end_s=1.0)
    assert take_moving(spotted, clip[1], short, [reading()], link="a", folder=tmp_path)
    motion = read_motion(tmp_path / "pictures" / "a.json")
    assert motion.start_s == pytest.approx(0.4) and motion.t[-1] == pytest.approx(1.0)


def test_it_is_silent_h264_that_every_browser_plays(clip, spotted, tmp_path):  # noqa: F811
    take_moving(spotted, clip[1], ATTEMPT, [reading()], link="a", folder=tmp_path)
    with av.open(str(tmp_path / "pictures" / "a.mp4")) as container:
        assert not container.streams.audio
        assert container.streams.video[0].codec_context.name == "h264"
        assert container.streams.video[0].codec_context.pix_fmt == "yuv420p"
    assert not probe(tmp_path / "pictures" / "a.mp4").has_sound


def test_a_frame_whose_athlete_is_lost_is_blurred_whole(clip, tmp_path):  # noqa: F811
    rng = np.random.default_rng(0)
    noisy = tmp_path / "noisy.mp4"
    still = cv2.resize(rng.integers(0, 255, (60, 80, 3), dtype=np.uint8), (WIDTH, HEIGHT), interpolation=cv2.INTER_NEAREST)
    write_clip(noisy, [still] * FRAMES, np.arange(FRAMES) / 25.0)
    track = clip[1]
    track.xy[10] = np.nan
    try:
        take_moving(noisy, track, ATTEMPT, [reading()], link="a", folder=tmp_path)
    finally:
        track.xy[10] = points(10)
    shown = list(frames(tmp_path / "pictures" / "a.mp4"))
    rough = [np.abs(np.diff(f.image[..., 1].astype(int), axis=1)).max() for f in shown]
    assert rough[10] < 30 < 80 < rough[20]
    assert read_motion(tmp_path / "pictures" / "a.json").points["left_hip"][10] is None


def test_a_broken_clip_gives_what_came_before_the_break(clip, tmp_path):  # noqa: F811
    noise = np.random.default_rng(0).integers(
        0, 255, (FRAMES, HEIGHT // 8, WIDTH // 8, 3), dtype=np.uint8
    )  # so that every frame has its bytes
    stills = [cv2.resize(one, (WIDTH, HEIGHT), interpolation=cv2.INTER_NEAREST) for one in noise]
    broken = tmp_path / "broken.mkv"  # its frames can be read without its end
    write_clip(broken, stills, np.arange(FRAMES) / 25.0)
    whole = broken.read_bytes()
    broken.write_bytes(whole[: len(whole) // 2])
    assert take_moving(broken, clip[1], ATTEMPT, [reading()], link="a", folder=tmp_path)
    shown = read_motion(tmp_path / "pictures" / "a.json").t
    assert 0.25 * FRAMES < len(shown) < 0.75 * FRAMES and len(list(frames(tmp_path / "pictures" / "a.mp4"))) == len(shown)
    broken.write_bytes(whole[: len(whole) // 100])
    assert not take_moving(broken, clip[1], ATTEMPT, [reading()], link="b", folder=tmp_path), "nothing came before the break"
    assert not list((tmp_path / "pictures").glob(".*")), "no half-written file is left"
    assert not list((tmp_path / "pictures").glob("b.*"))


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"t": [0], "points": {}}', '{"start_s":0,"width":1,"height":1,"t":[0],"points":{"</script>":[[0,0]]},"lines":{}}',
     '{"start_s":0,"width":1,"height":1,"t":[0],"points":{},"lines":{"hip_angle":["nose"]}}',
     '{"start_s":0,"width":1,"height":1,"t":[0,1],"points":{"left_hip":[[0,0]]},"lines":{}}'],
)  # fmt: skip
def test_a_motion_that_is_not_ours_is_none(tmp_path, text):
    path = tmp_path / "x.json"
    path.write_text(text, encoding="utf-8")
    assert read_motion(path) is None


def test_a_motion_reads_back(tmp_path):
    path = tmp_path / "x.json"
    path.write_text(
        json.dumps(
            {"start_s": 1, "width": 4, "height": 2, "t": [0, 0.5], "points": {"nose": [[1, 2], None]}, "lines": {"hip_angle": ["nose"]}}
        ),
        encoding="utf-8",
    )
    motion = read_motion(path)
    assert motion.points == {"nose": [[1.0, 2.0], None]} and motion.t == [0.0, 0.5]
