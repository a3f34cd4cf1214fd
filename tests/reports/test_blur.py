"""No face is left: a face detector finds it before and finds none after, upright and upside down, the athlete's and others'.

Detectors: OpenCV's own frontal face cascade, and BlazeFace from mediapipe's wheel (Bazarevsky et al. 2019, arXiv 1907.05047).
Picture: scikit-image's astronaut (NASA, public domain).
"""

import cv2
import numpy as np
import pytest

from pipeline.landmarks.track import INDEX
from pipeline.reports.blur import only_the_athlete, torso_length

POINTS = {  # read off the picture by eye
    "nose": (228, 128), "left_eye": (243, 108), "right_eye": (213, 110), "left_ear": (262, 112), "right_ear": (190, 120),
    "mouth_left": (240, 150), "mouth_right": (214, 152), "left_shoulder": (330, 225), "right_shoulder": (130, 240),
    "left_elbow": (400, 400), "right_elbow": (75, 420), "left_hip": (300, 505), "right_hip": (165, 508),
}  # fmt: skip

NOSE = INDEX["nose"]


@pytest.fixture(scope="module")
def astronaut() -> np.ndarray:
    skimage = pytest.importorskip("skimage.data", reason="needs scikit-image, of the dev extra, for its picture of a face")
    return skimage.astronaut()


@pytest.fixture(scope="module")
def faces():
    """A function that counts faces by both detectors, in all four turns, whose middle lies near a place in the picture.

    (Turned on its side, the cascade also takes a helmet for a face, before and after: so the place counts.)
    """
    import mediapipe as mp

    cascade = cv2.CascadeClassifier(cv2.data.haarcascades + "haarcascade_frontalface_default.xml")
    blaze = mp.solutions.face_detection.FaceDetection(model_selection=1, min_detection_confidence=0.5)

    def count(image: np.ndarray, near: np.ndarray, within: float = 90.0) -> int:
        found = 0
        for turn in range(4):
            turned = np.ascontiguousarray(np.rot90(image, turn))
            height, width = turned.shape[:2]
            boxes = [tuple(b) for b in cascade.detectMultiScale(cv2.cvtColor(turned, cv2.COLOR_RGB2GRAY), 1.1, 6, minSize=(40, 40))]
            relative = [d.location_data.relative_bounding_box for d in blaze.process(turned).detections or []]
            boxes += [(b.xmin * width, b.ymin * height, b.width * width, b.height * height) for b in relative]
            place = turned_points(near[None], image.shape[1], image.shape[0], turn)[0]
            found += sum(np.hypot(x + w / 2 - place[0], y + h / 2 - place[1]) < within for x, y, w, h in boxes)
        return found

    yield count
    blaze.close()


def turned_points(xy: np.ndarray, width: int, height: int, turns: int) -> np.ndarray:
    """(n, 2) where points go when np.rot90 turns the picture: (x, y) to (y, width - 1 - x), each time."""
    for _ in range(turns):
        xy, width, height = np.stack([xy[:, 1], width - 1 - xy[:, 0]], axis=1), height, width
    return xy


def astronauts_points() -> np.ndarray:
    xy = np.full((len(INDEX), 2), np.nan)
    for name, point in POINTS.items():
        xy[INDEX[name]] = point
    return xy


@pytest.mark.parametrize("turn", range(4))
def test_the_athletes_face_is_gone_whichever_way_up(astronaut, faces, turn):
    image = np.ascontiguousarray(np.rot90(astronaut, turn))
    xy = turned_points(astronauts_points(), 512, 512, turn)
    before = image.copy()
    out = only_the_athlete(image, xy, torso_length(xy[None]))
    assert faces(image, xy[NOSE]) >= 2, "both detectors see it"
    assert faces(out, xy[NOSE]) == 0
    assert np.array_equal(image, before), "the input is left as it was"


def test_the_face_is_gone_when_the_heads_own_points_are_lost_or_wrong(astronaut, faces):
    xy = astronauts_points()
    face = xy[NOSE].copy()
    for nowhere in (np.nan, (400.0, 480.0)):  # lost, or on a hand
        xy[: INDEX["mouth_right"] + 1] = nowhere
        assert faces(only_the_athlete(astronaut, xy, torso_length(xy[None])), face) == 0


def test_another_childs_face_beside_the_athlete_is_gone(astronaut, faces):
    beside = np.hstack([astronaut, astronaut])
    xy = astronauts_points()
    other = xy[NOSE] + (512, 0)
    assert faces(beside, other) >= 1
    out = only_the_athlete(beside, xy, torso_length(xy[None]))
    assert faces(out, other) == faces(out, xy[NOSE]) == 0


def test_the_body_below_the_neck_stays_as_sharp_as_it_was(astronaut):
    xy = astronauts_points()
    out = only_the_athlete(astronaut, xy, torso_length(xy[None]))
    chest = (slice(380, 480), slice(190, 280))
    assert np.array_equal(out[chest], astronaut[chest])


def test_no_picture_rather_than_an_uncovered_face():
    image = np.zeros((40, 40, 3), np.uint8)
    assert only_the_athlete(image, np.full((33, 2), np.nan), 10.0) is None
    assert only_the_athlete(image, astronauts_points(), float("nan")) is None


def test_a_head_beyond_the_picture_needs_no_cover(astronaut):
    """The head lies above the picture, so far that no cover reaches into it: the hips stay as they are, all else is blurred."""
    xy = astronauts_points() - [0, 1000]
    xy[:, 1] = np.where(np.isin(np.arange(33), (23, 24)), 250, xy[:, 1])
    out = only_the_athlete(astronaut, xy, 60.0)
    assert out is not None and out.shape == astronaut.shape
    assert np.array_equal(out, only_the_athlete(astronaut, xy, 60.0, doubt=5.0))  # no cover that could grow


def test_what_is_blurred_cannot_be_sharpened_back(astronaut):
    """Away from the body no detail finer than the blur is left: neighbouring pixels hardly differ."""
    xy = astronauts_points() / 4 + 380  # a small body in the lower right corner
    out = only_the_athlete(astronaut, xy, torso_length(xy[None])).astype(int)
    corner = out[:250, :250]
    assert np.abs(np.diff(corner, axis=1)).max() <= 12
    assert np.abs(np.diff(astronaut[:250, :250].astype(int), axis=1)).max() > 100
