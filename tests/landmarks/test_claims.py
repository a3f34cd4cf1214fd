"""Who is who by clothes: drawn people who cross, drift onto one another, or wear the same."""

import numpy as np
import pytest

from pipeline.landmarks.claims import likeness, settle, wardrobes
from pipeline.landmarks.join import people_of
from tests.landmarks.stickman import body, path_of, person_of, wearing
from tests.landmarks.test_join import sighting

SIZE, N_FRAMES = 50.0, 60
T = np.arange(N_FRAMES) / 30
RED, GREEN = (45.0, 60.0, 40.0), (45.0, -50.0, 40.0)


def crossing():
    """Two people who walk past each other: places and clothes."""
    left = np.array([body(100 + 4 * i, 200, SIZE) for i in range(N_FRAMES)])
    right = np.array([body(340 - 4 * i, 205, SIZE) for i in range(N_FRAMES)])
    return left, right, wearing(RED, N_FRAMES, 1), wearing(GREEN, N_FRAMES, 2)


def exchanged(a, b, at):
    """Two arrays that take each other's way from a frame on."""
    return np.concatenate([a[:at], b[at:]]), np.concatenate([b[:at], a[at:]])


def test_two_who_cross_and_are_taken_for_each_other_are_put_right():
    left, right, red, green = crossing()
    meet = 30
    (xy_a, xy_b), (worn_a, worn_b) = exchanged(left, right, meet), exchanged(red, green, meet)
    ends = [([0, 10, 20], left, [(100 + 4 * i, 200) for i in (0, 10, 20)]), ([0, 10, 20], right, [(340 - 4 * i, 205) for i in (0, 10, 20)])]
    sightings = [sighting(frames, places) for frames, _, places in ends]
    passes = [
        path_of(xy_a, clothes=worn_a), path_of(xy_b, clothes=worn_b),
        path_of(left, step=-1, clothes=red, peak=0.8), path_of(right, step=-1, clothes=green, peak=0.8),
    ]  # fmt: skip
    people = people_of(passes, sightings, T)
    assert len(people) == 2
    for person in people:
        mine = left if abs(person.xy[0, 23, 0] - left[0, 23, 0]) < 20 else right
        away = np.linalg.norm(person.xy - mine, axis=2)
        assert np.nanmax(away) < 0.35 * SIZE  # never on the other
        assert person.valid.mean() > 0.9


def test_a_frame_in_somebody_elses_clothes_is_lost_not_followed():
    spotter, athlete = np.array([body(300, 200, SIZE)] * N_FRAMES), np.array([body(100, 200, SIZE)] * N_FRAMES)
    drifted, worn = athlete.copy(), wearing(RED, N_FRAMES, 1)
    drifted[40:] = spotter[40:]
    green = wearing(GREEN, N_FRAMES, 2)
    worn[40:] = green[40:]
    absent = spotter.copy()
    absent[40:] = np.nan  # the spotter's own track ends where the other one takes over
    people = settle([person_of(drifted, worn), person_of(absent, green)], T)
    athletes = next(p for p in people if p.valid[0] and p.xy[0, 23, 0] < 200)
    assert athletes.valid[:40].all() and not athletes.valid[41:].any()
    assert np.isnan(athletes.xy[45]).all()


def test_in_the_same_clothes_the_one_who_jumped_has_lost_its_own():
    stays, other = np.array([body(100, 200, SIZE)] * N_FRAMES), np.array([body(170, 200, SIZE)] * N_FRAMES)
    jumper = other.copy()
    jumper[20:40] = stays[20:40]
    people = settle([person_of(jumper, wearing(RED, N_FRAMES, 1)), person_of(stays, wearing(RED, N_FRAMES, 2))], T)
    assert len(people) == 2
    one = next(p for p in people if abs(p.xy[0, 23, 0] - jumper[0, 23, 0]) < 1)
    assert next(p for p in people if p is not one).valid.all()
    assert one.valid[:20].all() and not one.valid[20:40].any() and one.valid[40:].all()


def test_in_the_same_clothes_who_comes_across_a_gap_from_elsewhere_has_lost_its_own():
    steady, other = np.array([body(100, 200, SIZE)] * N_FRAMES), np.array([body(300, 200, SIZE)] * N_FRAMES)
    mover = np.array([body(100 + 15 * max(i - 40, 0), 200, SIZE) for i in range(N_FRAMES)])  # her own steps are no leap
    intruder = other.copy()
    intruder[:40], intruder[40:45] = steady[:40], np.nan  # a gap hides the leap
    people = settle([person_of(intruder, wearing(RED, N_FRAMES, 1)), person_of(mover, wearing(RED, N_FRAMES, 2))], T)
    hers = next(p for p in people if p.valid[0])
    assert hers.valid.all() and np.linalg.norm(hers.xy - mover, axis=2).max() < 1
    assert not next(p for p in people if p is not hers).valid[:40].any()


def test_two_who_stand_close_in_their_own_clothes_are_two_people():
    front = np.array([body(100, 200, SIZE)] * N_FRAMES)
    behind = np.array([body(100 + (12 if i < 30 else 120), 200, SIZE) for i in range(N_FRAMES)])
    people = settle([person_of(front, wearing(RED, N_FRAMES, 1)), person_of(behind, wearing(GREEN, N_FRAMES, 2))], T)
    assert len(people) == 2 and all(p.valid.all() for p in people)
    same = settle([person_of(front, wearing(RED, N_FRAMES, 1)), person_of(behind, wearing(RED, N_FRAMES, 2))], T)
    assert not any(p.valid[:30].all() and q.valid[:30].all() for p in same for q in same if p is not q)


def test_two_parts_of_one_person_become_one_but_two_children_apart_do_not():
    way = np.array([body(100 + i, 200, SIZE) for i in range(N_FRAMES)])
    early, late = way.copy(), way.copy()
    early[30:], late[:35] = np.nan, np.nan
    joined = settle([person_of(early, wearing(RED, N_FRAMES, 1)), person_of(late, wearing(RED, N_FRAMES, 2))], T)
    assert len(joined) == 1 and joined[0].valid.sum() == 55
    far = np.add(late, [400.0, 0.0])
    assert len(settle([person_of(early, wearing(RED, N_FRAMES, 1)), person_of(far, wearing(RED, N_FRAMES, 2))], T)) == 2


def test_likeness_tells_whose_clothes_they_are_and_nothing_without_any_colours():
    left, right, red, green = crossing()
    a, b = person_of(left, red), person_of(right, green)
    known = wardrobes([a, b])
    assert (likeness(red, 0, known) > 2).all() and (likeness(green, 0, known) < -2).all()
    bare = wardrobes([person_of(left), person_of(right)])
    assert bare == [None, None]
    assert likeness(red, 0, bare) == pytest.approx(np.zeros(N_FRAMES))


def test_a_body_shrunk_to_a_third_is_somebody_or_something_else():
    steady = np.array([body(100, 200, SIZE)] * N_FRAMES)
    shrunk = np.array([body(300, 200, SIZE if i < 45 else SIZE / 3) for i in range(N_FRAMES)])
    people = settle([person_of(steady, wearing(RED, N_FRAMES, 1)), person_of(shrunk, wearing(GREEN, N_FRAMES, 2))], T)
    kept = next(p for p in people if p.xy[0, 23, 0] > 200)
    assert kept.valid[:45].all() and not kept.valid[45:].any()
    assert next(p for p in people if p is not kept).valid.all()
