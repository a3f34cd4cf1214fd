"""Key frames from a clip whose frames are known."""

import cv2
import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.clips.write import write_clip
from pipeline.landmarks.track import INDEX, NAMES, Track
from pipeline.measures.reading import Reading
from pipeline.reports.pictures import take_pictures
from pipeline.vocabulary import Setting, Side, Skill

FRAMES, WIDTH, HEIGHT = 40, 1280, 960
NAN = float("nan")


def points(i: int) -> np.ndarray:
    """(33, 2) an upright body that moves 4 pixels a frame."""
    xy = np.full((len(NAMES), 2), NAN)
    for name in NAMES:
        side = 30 if name.startswith("left") else -30
        height = {
            "shoulder": 300,
            "elbow": 380,
            "wrist": 450,
            "index": 470,
            "hip": 500,
            "knee": 650,
            "ankle": 800,
            "heel": 815,
            "foot_index": 815,
        }
        y = next((v for k, v in height.items() if name.endswith(k)), 220)
        xy[INDEX[name]] = (400 + side + 4 * i, y)
    return xy


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    """A clip whose brightness tells the frame's number, and its track."""
    path = tmp_path_factory.mktemp("clips") / "clip.mp4"
    t = np.arange(FRAMES) / 25.0
    write_clip(path, (np.full((HEIGHT, WIDTH, 3), 40 + 4 * i, np.uint8) for i in range(FRAMES)), t)
    xy = np.stack([points(i) for i in range(FRAMES)])
    grid = np.ones((FRAMES, len(NAMES)))
    return path, Track(t, xy, grid * 0, grid, np.ones(FRAMES), grid * 0, (WIDTH, HEIGHT), "clip.mp4")


ATTEMPT = Attempt(Skill.LUNGE, 1, 0.2, 1.4, 0.6, 1.0, 1, Side.LEFT, Setting.ALONE, 0.9)
LINE = ("left_shoulder", "left_hip", "left_knee")


def reading(detail="hip_angle", at=0.8, line=LINE, side=Side.NONE, value=170.0):
    reason = "" if np.isfinite(value) else "not seen"
    return Reading(detail, side, value, value - 3, value + 3, "deg", 1.0, reason, at, line)


def test_the_picture_is_the_frame_read_and_its_line_lies_on_the_joints(clip, tmp_path):
    path, track = clip
    (picture,) = take_pictures(path, track, ATTEMPT, [reading()], link="OT-01_2026-03-02_abcd0123_1", folder=tmp_path)
    image = cv2.imread(str(tmp_path / picture.file))
    assert picture.file.startswith("pictures/OT-01_2026-03-02_abcd0123_1") and not picture.file.startswith("/")
    assert (picture.width, picture.height) == image.shape[1::-1]
    assert max(image.shape) <= 960
    assert image[..., 1].mean() == pytest.approx(40 + 4 * 20, abs=3)  # frame 20 is shown at 0.8 s
    expected = np.array([points(20)[INDEX[name]] for name in LINE])
    drawn = np.array(picture.points)
    assert np.allclose(np.diff(drawn, axis=0), np.diff(expected, axis=0), atol=0.11)  # no larger than 960: not shrunk
    assert (drawn > 0).all() and (drawn < (picture.width, picture.height)).all()


def test_the_picture_is_cut_around_the_athlete_and_the_line_still_lies_on_the_joints(clip, tmp_path):
    """A frame with a white spot on the hip: the line's hip is where the spot is."""
    _path, track = clip
    spotted = tmp_path / "spotted.mp4"
    still = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    cv2.circle(still, tuple(int(v) for v in points(20)[INDEX["left_hip"]]), 8, (255, 255, 255), -1)
    write_clip(spotted, [still] * FRAMES, np.arange(FRAMES) / 25.0)
    (picture,) = take_pictures(spotted, track, ATTEMPT, [reading()], link="a", folder=tmp_path)
    grey = cv2.imread(str(tmp_path / picture.file), cv2.IMREAD_GRAYSCALE)
    spot = np.argwhere(grey > 200).mean(axis=0)[::-1]
    assert np.allclose(spot, picture.points[1], atol=1.5)
    assert picture.width < WIDTH * 0.8 and picture.width * picture.height < 960 * 960 * 0.8
    assert max(picture.width / picture.height, picture.height / picture.width) <= 1.52


def test_readings_of_one_moment_share_a_file_and_keep_their_own_lines(clip, tmp_path):
    path, track = clip
    two = [reading(), reading("knee_angle", line=("left_hip", "left_knee", "left_ankle")), reading("shoulder_angle", at=1.0)]
    pictures = take_pictures(path, track, ATTEMPT, two, link="a", folder=tmp_path)
    assert [p.detail for p in pictures] == ["hip_angle", "knee_angle", "shoulder_angle"]
    assert pictures[0].file == pictures[1].file != pictures[2].file
    assert pictures[0].points != pictures[1].points
    assert len(list((tmp_path / "pictures").glob("*.jpg"))) == 2


def test_a_reading_without_a_moment_shows_the_key_window_without_a_line(clip, tmp_path):
    path, track = clip
    (picture,) = take_pictures(path, track, ATTEMPT, [reading(at=NAN, value=NAN)], link="a", folder=tmp_path)
    assert picture.points == () and picture.file.endswith("_000800.jpg")


def test_a_line_with_an_unseen_joint_is_not_drawn_in_part(clip, tmp_path):
    path, track = clip
    track.xy[20, INDEX["left_knee"]] = NAN
    try:
        (picture,) = take_pictures(path, track, ATTEMPT, [reading()], link="a", folder=tmp_path)
    finally:
        track.xy[20] = points(20)
    assert picture.points == ()


def test_no_picture_where_the_athlete_is_lost(clip, tmp_path):
    path, track = clip
    track.xy[20] = NAN
    try:
        assert take_pictures(path, track, ATTEMPT, [reading()], link="a", folder=tmp_path) == []
    finally:
        track.xy[20] = points(20)
    assert not list(tmp_path.rglob("*.jpg"))


def test_pictures_of_an_earlier_run_at_other_moments_are_removed_and_no_others(clip, tmp_path):
    path, track = clip
    take_pictures(path, track, ATTEMPT, [reading(at=0.8)], link="a_1", folder=tmp_path, moving=False)
    take_pictures(path, track, ATTEMPT, [reading(at=0.8)], link="a_1_2", folder=tmp_path, moving=False)
    take_pictures(path, track, ATTEMPT, [reading(at=0.96)], link="a_1", folder=tmp_path, moving=False)
    assert {p.name for p in (tmp_path / "pictures").iterdir()} == {"a_1_000960.jpg", "a_1_2_000800.jpg"}


def test_a_link_with_path_tricks_stays_in_the_folder(clip, tmp_path):
    path, track = clip
    (picture,) = take_pictures(path, track, ATTEMPT, [reading()], link="../../evil/\x00 <b>", folder=tmp_path / "data")
    assert ".." not in picture.file and (tmp_path / "data" / picture.file).is_file()
    assert [p.name for p in tmp_path.iterdir()] == ["data"]


def test_blur_is_on_unless_it_is_switched_off(clip, tmp_path):
    rng = np.random.default_rng(0)
    noisy = tmp_path / "noisy.mp4"
    still = cv2.resize(rng.integers(0, 255, (60, 80, 3), dtype=np.uint8), (WIDTH, HEIGHT), interpolation=cv2.INTER_NEAREST)
    write_clip(noisy, [still] * FRAMES, np.arange(FRAMES) / 25.0)
    _path, track = clip
    roughness = {}
    for blur in (True, False):
        (picture,) = take_pictures(noisy, track, ATTEMPT, [reading()], link=f"b{blur}", folder=tmp_path, blur=blur)
        corner = cv2.imread(str(tmp_path / picture.file))[-60:, :60].astype(int)
        roughness[blur] = np.abs(np.diff(corner, axis=1)).max()
    assert roughness[False] > 100 and roughness[True] < 15


def test_pictures_and_moving_picture_are_taken_in_one_way_through_the_clip(clip, tmp_path, monkeypatch):
    from pipeline.clips import video

    opened = []
    plain = video.opened
    monkeypatch.setattr(video, "opened", lambda *args, **options: opened.append(1) or plain(*args, **options))
    path, track = clip
    pictures = take_pictures(path, track, ATTEMPT, [reading(), reading("knee_angle", at=1.0)], link="a", folder=tmp_path)
    assert len({p.file for p in pictures}) == 2 and (tmp_path / "pictures" / "a.mp4").is_file()
    assert len(opened) == 1
