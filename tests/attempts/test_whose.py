"""Of several who may be the athlete, the one who does a skill; two who do one stay an open choice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts import find, whose
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.choose import OPEN_CHOICE, open_choice
from pipeline.landmarks.track import Track
from pipeline.vocabulary import Skill
from tests.measures import bodies
from tests.measures.bodies import film

ALIKE = f"{OPEN_CHOICE} (81 %); which of them was filmed cannot be told."
BREAKS_OFF = "the clip breaks off"


def rolling() -> Track:
    return film(bodies.backward_roll())


def lunging() -> Track:
    """A lunge, its end held for as long as the roll takes."""
    lunge, long = film(bodies.lunge()), rolling()
    return replace(long, xy=lunge.xy[np.minimum(np.arange(len(long)), len(lunge) - 1)])


def walking(like: Track, *, pixels: float = 300.0) -> Track:
    """Somebody who stands beside as she stood at first and is carried away: she moves a lot and does nothing."""
    way = np.sign(pixels) * 250.0 + np.linspace(0.0, pixels, len(like))
    return replace(like, xy=like.xy[:1] + np.stack([way, 0 * way], axis=1)[:, None])


def beside(first: Track, *others: Track, notes: tuple[str, ...] = (ALIKE, BREAKS_OFF)) -> Track:
    return replace(first, others=others, notes=notes)


def test_these_do_what_they_should() -> None:
    assert [a.skill for a in find_attempts(lunging())] == [Skill.LUNGE]
    assert [a.skill for a in find_attempts(rolling())] == [Skill.BACKWARD_ROLL]
    assert find_attempts(walking(lunging())) == []


def test_who_does_a_skill_is_the_athlete_whoever_moved_most() -> None:
    chosen = whose.athlete(beside(walking(lunging()), lunging()))
    np.testing.assert_array_equal(chosen.xy, lunging().xy)
    assert chosen.notes == (BREAKS_OFF,) and chosen.others == ()


def test_who_moved_most_and_alone_does_a_skill_is_no_longer_in_doubt() -> None:
    chosen = whose.athlete(beside(lunging(), walking(lunging()), walking(lunging(), pixels=-200.0)))
    np.testing.assert_array_equal(chosen.xy, lunging().xy)
    assert chosen.notes == (BREAKS_OFF,)


def seen_from(track: Track, *, pixels: float, share: float = 1.0) -> Track:
    """The track so many pixels further to a side, and so much smaller."""
    middle = np.nanmean(track.xy, axis=(0, 1))
    return replace(track, xy=middle + (track.xy - middle) * share + np.array([pixels, 0.0]))


def put(track: Track, where: float) -> Track:
    """The track with its hips mostly at this share of the picture's width."""
    return seen_from(track, pixels=where * track.size[0] - float(np.nanmedian(track.xy[:, 23:25, 0])))


def test_two_who_both_do_a_skill_stay_an_open_choice() -> None:
    there = seen_from(lunging(), pixels=60.0)
    chosen = whose.athlete(beside(lunging(), walking(lunging()), there))
    assert whose.filmed(lunging()) != pytest.approx(whose.filmed(there), rel=0.01)
    best = max((lunging(), there), key=whose.filmed)
    np.testing.assert_array_equal(chosen.xy, best.xy)
    assert open_choice(chosen.notes) and BREAKS_OFF in chosen.notes and chosen.others == ()


def test_of_two_who_do_skills_the_one_filmed_is_the_athlete_and_beyond_doubt_before_who_is_small_and_aside() -> None:
    """A child at the other end rolls while one lunges: more movement, but the phone is held on the lunge."""
    small = seen_from(rolling(), pixels=0.0, share=0.6)
    hers, beside_her, behind, far = put(lunging(), 0.5), put(rolling(), 0.75), put(small, 0.6), put(small, 0.75)
    assert all(find_attempts(one) for one in (hers, beside_her, behind, far))
    for other, is_open in ((beside_her, True), (behind, True), (far, False)):
        chosen = whose.athlete(beside(other, hers))
        np.testing.assert_array_equal(chosen.xy, hers.xy)
        assert open_choice(chosen.notes) == is_open
    sure = whose.athlete(beside(far, hers, notes=(BREAKS_OFF,)))  # who moved far more, and did a skill, stays
    np.testing.assert_array_equal(sure.xy, far.xy)


def test_how_much_somebody_is_filmed_falls_with_the_size_the_way_to_the_middle_and_what_is_not_seen() -> None:
    still = put(lunging(), 0.5)
    whole = whose.filmed(still)
    assert whose.filmed(seen_from(still, pixels=0.0, share=0.5)) == pytest.approx(whole / 2, rel=0.05)
    assert whose.filmed(seen_from(still, pixels=0.3 * still.size[0])) == pytest.approx(whole / 2, rel=0.1)  # half at ASIDE
    half = np.arange(len(still)) < len(still) / 2
    assert whose.filmed(replace(still, xy=np.where(half[:, None, None], np.nan, still.xy))) == pytest.approx(whole / 2, rel=0.1)
    assert whose.filmed(replace(still, xy=np.full_like(still.xy, np.nan))) == 0.0


@pytest.mark.parametrize(("frames", "stays"), [(0, False), (5, False), (40, True)])
def test_two_tracks_on_one_body_stay_an_open_choice(frames: int, stays: bool) -> None:
    first, xy = lunging(), walking(lunging()).xy.copy()
    xy[len(xy) - frames :] = first.xy[len(xy) - frames :]  # back on her feet, she stands still
    other = replace(first, xy=xy)
    assert find_attempts(other) == []
    chosen = whose.athlete(beside(first, other))
    assert open_choice(chosen.notes) == stays
    np.testing.assert_array_equal(chosen.xy, first.xy)


@pytest.mark.parametrize(("share", "taken"), [(1.0, True), (0.4, False)])
def test_who_moved_far_less_is_taken_only_where_she_is_filmed_as_much_or_her_skill_was_told(share: float, taken: bool) -> None:
    """What somebody who hardly moves does may only look like a skill: on one of 480 drawn clips it was a bystander's."""
    walker, other = walking(lunging()), seen_from(lunging(), pixels=0.0, share=share)
    assert (whose.filmed(other) >= whose.filmed(walker)) == taken and find_attempts(other)
    clear = beside(walker, other, notes=(BREAKS_OFF,))
    np.testing.assert_array_equal(whose.athlete(clear).xy, (other if taken else walker).xy)
    np.testing.assert_array_equal(whose.athlete(clear, told=Skill.LUNGE).xy, other.xy)


def test_two_who_moved_far_less_and_do_skills_change_nothing() -> None:
    track = beside(walking(lunging()), lunging(), put(rolling(), 0.65), notes=(BREAKS_OFF,))
    np.testing.assert_array_equal(whose.athlete(track).xy, walking(lunging()).xy)


def test_nobody_who_does_a_skill_leaves_it_open() -> None:
    chosen = whose.athlete(beside(walking(lunging()), walking(lunging(), pixels=-200.0)))
    np.testing.assert_array_equal(chosen.xy, walking(lunging()).xy)
    assert open_choice(chosen.notes)


def test_of_two_skills_the_one_told_of_is_hers() -> None:
    first, other = lunging(), rolling()
    assert open_choice(whose.athlete(beside(first, other)).notes)
    chosen = whose.athlete(beside(first, other), told=Skill.BACKWARD_ROLL)
    np.testing.assert_array_equal(chosen.xy, other.xy)
    assert not open_choice(chosen.notes)


@pytest.mark.parametrize(
    ("fits", "expected"),
    [((0.3, 0.0), 0), ((0.0, 0.3), 1), ((0.3, 0.9), 1), ((0.9, 0.3), 0), ((0.3, 0.3), None), ((0.9, 0.7), None), ((0.0, 0.0), None)],
)
def test_where_the_skill_was_told_a_faint_one_counts_beside_nobody_who_does_it_clearly(monkeypatch, fits, expected) -> None:
    attempt = find_attempts(lunging())[0]
    first, other = lunging(), walking(lunging())
    fit = {float(first.xy[-1, 0, 0]): fits[0], float(other.xy[-1, 0, 0]): fits[1]}

    def faint(track, *, told=None):
        certainty = fit[float(track.xy[-1, 0, 0])]
        return [replace(attempt, certainty=certainty, told=True)] if certainty >= find.CLEAR_TOLD else []

    monkeypatch.setattr(find, "find_attempts", faint)
    chosen = whose.athlete(beside(first, other), told=Skill.LUNGE)
    np.testing.assert_array_equal(chosen.xy, (first, other)[expected or 0].xy)
    assert open_choice(chosen.notes) == (expected is None)


def test_one_alone_is_given_back_as_she_is() -> None:
    alone = replace(lunging(), notes=(ALIKE,))
    assert whose.athlete(alone) is alone
