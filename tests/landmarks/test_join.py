"""Passes joined into people: agreement, drift to a neighbour, exchanged legs, gaps."""

import numpy as np
from numpy.testing import assert_allclose

from pipeline.landmarks.chain import Passes, parted
from pipeline.landmarks.detector import Found
from pipeline.landmarks.join import people_of as join
from pipeline.landmarks.people import Sighting
from pipeline.landmarks.sides import LEGS
from pipeline.landmarks.track import INDEX
from tests.landmarks.stickman import body, path_of, wearing

SIZE = 50.0


def people_of(paths, sightings):
    return join(paths, sightings, np.arange(len(paths[0].xy) if paths else 0) / 30)


def found(x, y):
    return Found(0.9, (x - 10, y - 90, x + 10, y - 40), np.array([x, y]), np.array([x, y - 110.0]), np.array([x, y - SIZE]))


def sighting(frames, places):
    return Sighting(list(frames), [found(x, y) for x, y in places])


def walking(n, x0=100.0, speed=2.0):
    return np.array([body(x0 + speed * i, 200, SIZE) for i in range(n)])


def test_two_passes_that_agree_are_averaged_and_say_how_far_they_were_apart():
    true = walking(20)
    noise = np.array([2.0, 0.0])
    people = people_of([path_of(true + noise), path_of(true - noise, step=-1)], [sighting([0, 19], [(100, 200), (138, 200)])])
    assert len(people) == 1
    assert_allclose(people[0].xy, true, atol=1e-6)
    assert_allclose(people[0].disagreement, 4.0, atol=1e-6)


def test_a_pass_that_drifts_to_the_spotter_is_left_for_the_one_that_stays():
    true, spotter = walking(40), np.array([body(230, 200, SIZE)] * 40)
    forwards = true.copy()
    forwards[20:] = spotter[20:]
    sightings = [sighting([0, 5], [(100, 200), (110, 200)]), sighting([0, 10, 20, 30, 39], [(230, 200)] * 5)]
    paths = [path_of(forwards), path_of(spotter), path_of(true, step=-1), path_of(spotter, step=-1)]
    people = people_of(paths, sightings)
    athlete = next(p for p in people if abs(p.xy[0, INDEX["nose"], 0] - 100) < 5)
    assert_allclose(athlete.xy, true, atol=1e-6)
    assert np.isnan(athlete.disagreement[30]).all()  # there only one pass saw the athlete
    assert len(people) == 2


def crossing():
    """Two who pass each other, followed all the time, and the finder's looks at them, linked the wrong way round where they meet."""
    left, right = walking(60, 100.0, 4.0), walking(60, 340.0, -4.0)
    looks = range(0, 60, 6)
    ways = [[(100 + 4 * i, 200), (340 - 4 * i, 200)] for i in looks]
    wrong = [sighting(looks, [w[(i >= 30) ^ k] for i, w in zip(looks, ways, strict=True)]) for k in (0, 1)]
    return left, right, wrong


def test_a_sighting_that_goes_over_to_somebody_else_is_cut_there():
    left, right, wrong = crossing()
    passes = Passes([path_of(left), path_of(right, step=-1)], np.arange(60) / 30)
    parts = parted(passes, wrong)
    assert sorted(s.frames for s in parts) == [[0, 6, 12, 18, 24, 30]] * 2 + [[36, 42, 48, 54]] * 2  # at 30 the two are one
    assert [s.frames for s in parted(Passes([path_of(left)], np.arange(60) / 30), wrong[:1])] == [wrong[0].frames]  # nobody says otherwise
    gone = left.copy()
    gone[29:35] = np.nan  # one look at which no pass was there: it stands by itself
    gone[35:] = right[35:]
    hidden = right.copy()
    hidden[29:35] = np.nan
    hidden[35:] = left[35:]
    paths = [path_of(gone), path_of(hidden, step=-1)]
    own = sighting(range(0, 60, 6), [(100 + 4 * i, 200) for i in range(0, 60, 6)])
    assert [s.frames for s in parted(Passes(paths, np.arange(60) / 30), [own])] == [[0, 6, 12, 18, 24], [30], [36, 42, 48, 54]]


def test_who_is_followed_past_somebody_is_not_exchanged_by_the_finder():
    left, right, wrong = crossing()
    people = people_of([path_of(w, step=step) for w in (left, right) for step in (1, -1)], wrong)
    assert len(people) == 2
    for person in people:
        mine = left if person.xy[0, 0, 0] < 200 else right
        assert_allclose(person.xy[person.valid], mine[person.valid], atol=1e-6)
        assert person.valid[:28].all() and person.valid[33:].all()  # between, the two are one body


def test_legs_named_the_other_way_round_in_one_pass_are_not_averaged_into_the_middle():
    true = walking(10)
    other = true.copy()
    for i in range(5, 10):
        other[i][np.r_[LEGS[0], LEGS[1]]] = other[i][np.r_[LEGS[1], LEGS[0]]]
    people = people_of([path_of(true, peak=0.8), path_of(other, step=-1, peak=0.9)], [sighting([0, 9], [(100, 200), (118, 200)])])
    assert_allclose(people[0].xy, true, atol=1e-6)


def test_where_no_pass_is_on_the_athlete_there_is_a_gap():
    seen = walking(30)
    seen[10:15] = np.nan
    people = people_of([path_of(seen)], [sighting([0, 29], [(100, 200), (158, 200)])])
    assert np.isnan(people[0].xy[10:15]).all()
    assert np.isfinite(people[0].xy[:10]).all() and np.isfinite(people[0].xy[15:]).all()


def test_no_passes_no_people():
    assert people_of([], []) == []


def test_frames_between_two_looks_that_name_the_legs_differently_keep_the_legs_apart():
    still = np.array([body(100, 200, SIZE)] * 4)
    still[3][np.r_[LEGS[0], LEGS[1]]] = still[0][np.r_[LEGS[1], LEGS[0]]]
    seen = still.copy()
    seen[1:3] = np.nan
    path = path_of(seen)
    path.fill(most=3)
    assert_allclose(path.xy[:3], still[:3])


def test_who_folds_up_so_that_no_look_shows_the_usual_colours_is_still_there():
    true = walking(60)
    worn = wearing((50.0, 60.0, 40.0), 60)
    worn[25:40] = np.random.default_rng(1).uniform((5, -60, -60), (95, 60, 60), (15, 26, 3))  # the floor, hair, the other leg
    paths = [path_of(true, clothes=worn), path_of(true, step=-1, clothes=worn)]
    people = people_of(paths, [sighting([0, 15], [(100, 200), (130, 200)]), sighting([45, 59], [(190, 200), (218, 200)])])
    assert len(people) == 1 and people[0].valid.all()


def test_who_stands_still_beside_somebody_is_a_person_though_looked_at_in_every_sixth_frame() -> None:
    """Never found, as the two are taken for one: only the pass tells. Looks spared while nothing moved count as taken."""
    athlete = walking(60, speed=1.0)
    still = path_of(np.repeat(body(230, 200, SIZE)[None], 60, axis=0))
    still.looked[:] = False
    still.looked[::6] = True
    mine = sighting([0, 30, 59], [(100, 200), (130, 200), (159, 200)])
    paths = [path_of(athlete), path_of(athlete, step=-1), still]
    assert len(people_of(paths, [mine])) == 1, "a sixth of the frames is no pass to rely on"
    still.spared = 9
    assert len(people_of(paths, [mine])) == 2
