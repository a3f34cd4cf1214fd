"""A long clip, followed in stretches: what is kept of each is little, and the track comes out whole."""

import numpy as np
import pytest

from pipeline.landmarks.locate import _continues, _room, _slim, _worth_it, track_athlete
from pipeline.landmarks.settings import LandmarkSettings
from pipeline.landmarks.spool import Spool
from tests.landmarks.stickman import body, person_of
from tests.landmarks.test_sample_clip import ALONE, SAMPLES


def bytes_of(person):
    return sum(v.nbytes for v in vars(person).values() if isinstance(v, np.ndarray))


def test_a_person_of_a_stretch_that_is_done_takes_little_room_and_is_known_again():
    person = person_of(np.array([body(300.0 + i, 200, 40) for i in range(60)]))
    person.clothes = np.ones((60, 26, 3))
    small = _slim(person)
    assert bytes_of(small) < 0.25 * bytes_of(person) and bytes_of(small) < 60 * 700
    assert np.abs(small.xy - person.xy).max() < 1e-4 and (small.valid == person.valid).all()
    later = person_of(np.array([body(300.0 + i, 200, 40) for i in range(40, 100)]))
    later.first = 40
    assert _continues(small, later)


def test_a_clip_in_two_stretches_gives_one_track_without_a_seam():
    path = SAMPLES / "clips" / f"{ALONE}.mp4"
    whole = LandmarkSettings(second_look="none")
    once = track_athlete(path, whole, source=path.name)
    twice = track_athlete(path, whole.model_copy(update={"memory_mb": 80}), source=path.name)
    assert len(twice) == len(once) == 150 > 80e6 / (960 * 540 * 1.5)  # it did not fit into one
    assert twice.seen.mean() > 0.95 and not twice.notes
    apart = np.linalg.norm(twice.xy - once.xy, axis=2)[:, [11, 12, 23, 24]]
    assert np.nanmedian(apart) < 3 and np.nanmax(np.abs(np.diff(twice["left_hip"], axis=0))) < 80


def test_frames_are_worth_a_second_look_around_what_may_be_measured_and_all_where_that_is_not_known():
    person = person_of(np.array([body(300.0, 200, 40)] * 60))
    asked = []

    def worth(track):
        asked.append(track.xy[:, 23, 0])
        return [(1.0, 1.41)]

    def rows(worth, **of):
        return _worth_it(worth, (960, 540), person, Spool(t=[i / 20 for i in range(60)], size=(480, 270), scale=0.5, **of))

    assert np.flatnonzero(rows(worth)).tolist() == list(range(12, 37))  # 0.4 s on either side
    assert asked[0] == pytest.approx(2 * (person.xy[:, 23, 0] + 0.5))  # told of the full-size picture
    assert rows(lambda track: []).all() and rows(None).all()
    assert rows(worth, full=True).all() and rows(worth, first=30).all() and len(asked) == 1  # a part of a clip


@pytest.mark.parametrize(
    ("size", "depth", "share"),
    [((960, 540), 1.5, 1.0), ((1920, 1080), 1.5, 1.0), ((1920, 1080), 3, 1.0), ((3840, 2160), 1.5, 0.89), ((3840, 2160), 3, 0.69),
     ((7680, 4320), 3, 0.5)],
)  # fmt: skip
def test_large_pictures_in_the_decoder_leave_less_room_for_a_stretch(size, depth, share):
    room = _room(LandmarkSettings(), int(size[0] * size[1] * depth))
    assert room / (LandmarkSettings().memory_mb * 1e6) == pytest.approx(share, abs=0.01)
