"""Who the athlete is, among drawn people who stand, walk, reach and tumble."""

import dataclasses

import numpy as np
import pytest

from pipeline.landmarks.choose import MOST_POSSIBLE, Activity, activity, bystanders, doubt, open_choice, scores, settled_notes
from pipeline.landmarks.follow import calm_every
from pipeline.landmarks.join import Person
from pipeline.landmarks.locate import _finished, _Followed
from pipeline.landmarks.looks import size_of
from pipeline.landmarks.track import INDEX
from tests.landmarks.stickman import body, path_of, person_of

N_FRAMES = 60
T = np.arange(N_FRAMES) / 30
STILL = np.zeros((N_FRAMES, 2))


def standing(x=300.0):
    rng = np.random.default_rng(0)
    return person_of(np.array([body(x, 200, 50) for _ in T]) + rng.normal(0, 0.5, (N_FRAMES, 33, 2)))


def walking_spotter():
    return person_of(np.array([body(100 + 2.5 * i, 200, 80) for i in range(N_FRAMES)]))


def cartwheeling(direction=1):
    return person_of(np.array([body(300 + direction * 2 * i, 200, 40, direction * 360 * i / N_FRAMES) for i in range(N_FRAMES)]))


def raising_arms():
    bodies = np.array([body(500, 200, 50) for _ in T])
    lift = np.minimum(np.arange(N_FRAMES) / 30, 1)
    for side in ("left", "right"):
        bodies[:, INDEX[f"{side}_wrist"], 1] -= 1.9 * 50 * lift
        bodies[:, INDEX[f"{side}_elbow"], 1] -= 0.9 * 50 * lift
    bodies[:, INDEX["left_ankle"], 0] += 40 * lift
    return person_of(bodies)


@pytest.mark.parametrize("direction", [1, -1])
def test_who_turns_over_beats_who_walks_along(direction):
    tumbler, spotter = activity(cartwheeling(direction), T, STILL), activity(walking_spotter(), T, STILL)
    assert tumbler.score > 2 * spotter.score
    assert tumbler.turned > 300 and tumbler.inverted_s > 0.4
    assert spotter.turned < 5 and spotter.inverted_s == 0


def test_who_moves_into_the_lunge_beats_who_stands():
    assert activity(raising_arms(), T, STILL).score > 2 * activity(standing(), T, STILL).score


def test_the_lunge_counts_only_with_arms_up_and_legs_apart():
    arms_alone = raising_arms().xy
    arms_alone[:, INDEX["left_ankle"]] = arms_alone[:, INDEX["right_ankle"]]
    lunge, arms, steps = (activity(p, T, STILL).lunge_s for p in (raising_arms(), person_of(arms_alone), walking_spotter()))
    assert lunge == pytest.approx(
        38 / 30, abs=0.04
    )  # the hands are 0.4 torsos above the shoulders once 71 % of the lift is done: 22 frames
    assert arms == steps == 0


def test_who_steps_into_a_low_lunge_beats_who_walks_right_through_the_picture():
    # as followed in a drawn clip: the hands no higher than the shoulders, so the lunge's shape is not seen
    athlete = Activity(turned=19.5, inverted_s=0.0, travelled=0.72, limbs=1.25, seen_s=3.4, size=81.0, clear=0.98)
    walker = Activity(turned=16.7, inverted_s=0.0, travelled=10.2, limbs=1.13, seen_s=3.3, size=67.0, clear=0.94)
    best, other = scores([athlete, walker])
    assert best > 1.1 * other


def test_who_stands_with_arms_up_and_legs_apart_from_first_to_last_does_no_lunge():
    # as followed in a drawn clip: she lunges low, and a child behind stands with the arms up
    athlete = Activity(turned=24.9, inverted_s=0.0, travelled=0.97, limbs=1.38, seen_s=4.6, size=78.0, clear=0.98)
    behind = Activity(turned=3.9, inverted_s=0.0, travelled=0.46, limbs=0.12, seen_s=4.6, size=66.0, lunge_s=4.6)
    best, other = scores([athlete, behind])
    assert doubt([best, other]) < 0.6 and best > other
    stepped = dataclasses.replace(behind, lunge_s=1.5)  # into it and out of it: that is one
    assert scores([athlete, stepped])[1] > best


def test_who_holds_a_lunge_beats_who_walks_about_and_waves():
    rng = np.random.default_rng(1)
    waving = np.array([body(100 + 6 * i, 200, 50) for i in range(N_FRAMES)])
    waving[:, [INDEX["left_wrist"], INDEX["right_wrist"]]] += rng.normal(0, 40, (N_FRAMES, 1, 2))
    athlete, other = activity(raising_arms(), T, STILL), activity(person_of(waving), T, STILL)
    assert doubt([athlete.score, other.score]) < 0.6 and athlete.score > other.score


def test_a_swinging_camera_makes_nobody_an_athlete():
    pan = np.c_[4.0 * np.arange(N_FRAMES), 0 * T]
    panned = person_of(standing().xy + pan[:, None])
    assert activity(panned, T, pan).score == pytest.approx(activity(standing(), T, STILL).score, abs=0.15)


def test_two_alike_are_doubtful_one_alone_is_not():
    assert doubt([4.0, 3.9, 0.2]) > 0.9
    assert doubt([4.0, 0.4]) == pytest.approx(0.1)
    assert doubt([4.0]) == 0


def test_of_two_who_move_alike_the_nearer_one_is_filmed():
    near, far = activity(raising_arms(), T, STILL), activity(person_of(raising_arms().xy * 0.4), T, STILL)
    assert near.score == pytest.approx(far.score, rel=0.05)
    by_size = scores([far, near])
    assert by_size[1] == near.score and by_size[0] < 0.7 * by_size[1]


def test_of_two_who_move_alike_the_one_in_the_middle_of_the_picture_is_filmed():
    left = cartwheeling()  # at x = 300 to 420
    middle, edge = (activity(left, T, STILL, width=width) for width in (720, 3000))
    assert middle.score == edge.score == activity(left, T, STILL).score
    assert middle.aside == pytest.approx(30 / 720, abs=0.01) and edge.aside == pytest.approx(0.38, abs=0.01)
    by_place = scores([edge, middle])
    assert by_place[1] == pytest.approx(middle.score, rel=0.03) and by_place[0] < 0.45 * by_place[1]
    assert activity(left, T, STILL).aside == 0.0  # where the picture's width is not known it does not count


def test_who_turns_over_at_the_side_still_beats_who_stands_in_the_middle():
    turns = activity(cartwheeling(), T, STILL, width=1400)
    waits = activity(standing(700.0), T, STILL, width=1400)
    assert turns.aside > 0.2 and waits.aside < 0.01
    assert scores([turns, waits])[0] > 2 * scores([turns, waits])[1]


def followed(person: Person) -> _Followed:
    return _Followed([person], [activity(person, T, STILL)], [(person.clothes, size_of(person.xy))])


def test_a_clip_in_which_two_do_the_same_says_that_the_choice_is_open():
    one, other = cartwheeling(), cartwheeling(-1)
    one.xy[:, :, 1] -= 150
    both = _finished([followed(one), followed(other)], T, 1.0, (640, 480), "a.mp4", [])
    assert open_choice(both.notes)
    clear = _finished([followed(one), followed(standing())], T, 1.0, (640, 480), "a.mp4", ["the clip breaks off"])
    assert not open_choice(clear.notes)
    assert settled_notes(both.notes) == () and settled_notes(clear.notes) == ("the clip breaks off",)


def test_who_may_be_the_athlete_after_all_is_kept_beside_her():
    tumbler, second, stander = cartwheeling(), cartwheeling(-1), standing()
    second.xy[:, :, 1] -= 150
    track = _finished([followed(stander), followed(second), followed(tumbler)], T, 0.5, (1280, 960), "a.mp4", [])
    assert len(track.others) == 1 and track.others[0].others == () and track.others[0].notes == ()
    people = sorted((track, track.others[0]), key=lambda one: np.nanmean(one.xy[..., 1]))
    for one, person in zip(people, (second, tumbler), strict=True):
        assert np.nanmedian(np.abs(one.xy - (person.xy + 0.5) / 0.5)) < 0.01  # in the full-size picture; the wildest points are dropped
    alone = _finished([followed(tumbler), followed(stander)], T, 1.0, (640, 480), "a.mp4", [])
    assert alone.others == ()
    nobody = _finished([], T, 1.0, (640, 480), "a.mp4", [])
    assert not nobody.seen.any() and nobody.others == ()


def test_no_more_than_a_few_are_kept():
    crowd = [cartwheeling() for _ in range(6)]
    for k, one in enumerate(crowd):
        one.xy[:, :, 1] += 10 * k
    assert len(_finished([followed(one) for one in crowd], T, 1.0, (640, 640), "a.mp4", []).others) == MOST_POSSIBLE


@pytest.mark.parametrize(("per_second", "frames"), [(24, 3), (30, 3), (60, 6), (120, 12)])
def test_who_stands_about_is_looked_at_ten_times_a_second(per_second, frames):
    assert calm_every(np.arange(50) / per_second) == frames


@pytest.mark.parametrize("rate", [24, 30, 60])
def test_who_only_stands_by_does_so_however_the_looks_jitter(rate):
    """A look is a tenth of a trunk beside the last one; from frame to frame at sixty a second that would be six trunks a second."""
    t = np.arange(2 * rate) / rate
    tumbler = path_of(np.array([body(300 + 60 * s, 200, 40, 180 * s) for s in t]))
    waits = np.array([body(500, 200, 50) for _ in t])
    waits[rate // 2 :: 3 * rate // 2] += [5.0, 0.0]
    leaps, leans, runs = waits.copy(), waits.copy(), np.array([body(300 + 250 * s, 200, 50) for s in t])
    leaps[rate:] += [20.0, 0.0]
    leans[rate] = body(500, 200, 50, 40)
    still = np.zeros((len(t), 2))
    paths = [path_of(xy) for xy in (waits, leaps, leans, runs)]
    assert bystanders([tumbler, *paths], t, still) == [paths[0]]


def test_a_leap_between_two_looks_counts_though_the_frames_between_are_filled():
    still, xy = np.zeros((N_FRAMES, 2)), np.array([body(500, 200, 50) for _ in T])
    leaps = xy.copy()
    leaps[27:] += [20.0, 0.0]
    tumbler, one, other = path_of(cartwheeling().xy), path_of(xy), path_of(leaps)
    for path in (one, other):
        path.looked[:] = np.arange(N_FRAMES) % 3 == 0
        path.xy[~path.looked] = np.nan
        path.fill(most=3)
    assert bystanders([tumbler, one, other], T, still) == [one]
