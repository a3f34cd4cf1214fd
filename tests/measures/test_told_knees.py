"""What a look from near by tells of a cartwheel's knees: which words are read, how much they are doubted, and how curves follow them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.attempts.attempt import Attempt
from pipeline.attempts.find import find_attempts
from pipeline.landmarks.holds import EASE_S
from pipeline.landmarks.track import CartwheelLook, Track
from pipeline.measures import words
from pipeline.measures.cartwheel import by_points, readings
from pipeline.measures.curves import frame_errors
from pipeline.measures.measure import measure_attempt
from pipeline.measures.reading import Curve, Reading
from pipeline.measures.scene import Scene, make_scene
from pipeline.measures.told_knees import (
    BELOW,
    BY_POINTS,
    KNEE_DOUBT,
    KNEE_SHARE,
    LEAST_WORDS,
    LOW,
    SCATTER,
    knee_curve,
    least_told,
    told_knee,
)
from pipeline.measures.uncertainty import Evidence, Known, error_table, make_reading
from pipeline.vocabulary import DETAIL, Side, Skill
from tests.measures import bodies
from tests.measures.bodies import film
from tests.measures.told import NO_MODEL_ERROR

NAN, INF = float("nan"), float("inf")
BOTH = (Side.LEFT, Side.RIGHT)
POINTS = Evidence(165.0, spread=2.0, passes=1.5, usable=0.9, at_s=1.2, line=("left_hip", "left_knee"), limits=(0.0, 180.0), below=3.0)
T = np.arange(10) / 30
EXACT = {key: Known(0.0, 1.0, 1.96, 0) for key in DETAIL}


def goes(value, word):
    """Degrees that a value becomes by a word."""
    return value + KNEE_SHARE * (word - value)


def filmed(**built) -> tuple[Track, Attempt, Scene]:
    """A cartwheel from the front, its attempt, and the scene of that without any word."""
    track = film(bodies.cartwheel(**built), turned=-90.0)
    (attempt,) = find_attempts(track)
    assert attempt.skill is Skill.CARTWHEEL
    scene = make_scene(track, attempt, learnt={})
    assert scene.cartwheel is None
    return track, attempt, scene


def told(track: Track, attempt: Attempt, left: float, right: float, *, around: float = 0.05) -> CartwheelLook:
    """A look at every second frame of the window and a little around it that tells the same in each."""
    t = track.t[(track.t >= attempt.key_start_s - around) & (track.t <= attempt.key_end_s + around)][::2]
    return CartwheelLook(attempt.key_start_s, attempt.key_end_s, t, np.tile([left, right], (len(t), 1)))


def test_the_words_of_a_knee_are_those_of_its_side_in_the_key_window():
    _, attempt, scene = filmed()
    start, end = attempt.key_start_s, attempt.key_end_s
    t = np.array([start - 0.02, start, (start + end) / 2, end, end + 0.02])
    knees = np.array([[1.0, 2.0], [3.0, INF], [5.0, 6.0], [NAN, 8.0], [9.0, 10.0]])
    looked = replace(scene, cartwheel=CartwheelLook(start, end, t, knees))
    for side, wanted in ((Side.LEFT, [3.0, 5.0, NAN]), (Side.RIGHT, [INF, 6.0, 8.0])):
        at, word = told_knee(looked, side)
        assert at.tolist() == t[1:4].tolist() and word == pytest.approx(np.array(wanted), nan_ok=True)
        assert [len(part) for part in told_knee(scene, side)] == [0, 0], "nobody looked"


def test_a_scene_has_the_look_at_its_own_cartwheel():
    track, attempt, _ = filmed()
    mine = told(track, attempt, 170.0, 160.0)
    others = (replace(mine, start=mine.start - 0.5), replace(mine, end=mine.end + 0.1))
    assert make_scene(replace(track, cartwheels=others), attempt).cartwheel is None
    assert make_scene(replace(track, cartwheels=(*others, mine)), attempt).cartwheel is mine


def test_a_knee_goes_its_share_of_the_way_to_the_low_quantile_of_its_words_however_far_that_is():
    word = np.array([159.0, 150.0, 158.0, 151.0, 157.0, 152.0, 156.0, 153.0, 155.0, 154.0])
    low = 150.0 + 9 * LOW
    assert 0.2 < LOW < 0.5 < KNEE_SHARE <= 1
    for more in (-60.0, 0.0, 20.0):
        read = least_told(POINTS, T, word + more)
        apart = low + more - POINTS.value
        assert read.value == pytest.approx(POINTS.value + KNEE_SHARE * apart) and read.passes == pytest.approx(KNEE_DOUBT * abs(apart))
        assert read.at_s == T[np.argmin(np.abs(word - low))], "where it was told so, or nearly"
        assert read.spread == pytest.approx(SCATTER * 1.4826 * 2.5) and read.below == 0.0
        kept = replace(read, value=POINTS.value, at_s=POINTS.at_s, spread=POINTS.spread, passes=POINTS.passes, below=POINTS.below)
        assert kept == POINTS, "nothing else changes"


def test_words_that_are_not_known_do_not_count():
    word = np.array([NAN, 150.0, INF, 152.0, NAN, 154.0, INF, 156.0, NAN, NAN])
    known = np.isfinite(word)
    assert least_told(POINTS, T, word) == least_told(POINTS, T[known], word[known])
    assert least_told(POINTS, T, word).value == pytest.approx(goes(165.0, 150.0 + 6 * LOW))


@pytest.mark.parametrize("known", range(LEAST_WORDS))
def test_with_few_words_the_points_are_read_and_doubted_more(known):
    word = np.full(10, NAN)
    word[:known] = 120.0
    read = least_told(POINTS, T, word)
    assert read.spread == pytest.approx(np.hypot(POINTS.spread, BY_POINTS))
    assert read.below == pytest.approx(np.hypot(BELOW * read.spread, POINTS.below))
    assert replace(read, spread=POINTS.spread, below=POINTS.below) == POINTS, "nothing else changes"
    for table in (EXACT, error_table()):
        plain, wide = (make_reading(Skill.CARTWHEEL, "knee_angle", Side.LEFT, evidence, table) for evidence in (POINTS, read))
        assert wide.value == plain.value and plain.high <= wide.high and wide.low < plain.low - 1.0
    sure = least_told(Evidence(150.0, limits=(0.0, 180.0)), T, word)
    read = make_reading(Skill.CARTWHEEL, "knee_angle", Side.LEFT, sure, error_table())
    assert read.high - read.value >= 1.7 * 2.6 and read.value - read.low >= 3.7 * 2.6, "as doubtful as 708 legs by points alone were"
    word[:LEAST_WORDS] = 120.0
    assert least_told(POINTS, T, word).value == goes(165.0, 120.0)


@pytest.mark.parametrize(("elsewhere", "refused"), [(4, False), (5, False), (6, True), (10, True)])
def test_joints_seen_elsewhere_in_more_frames_than_not_leave_nothing_to_read(elsewhere, refused):
    word = np.full(10, 150.0)
    word[:elsewhere] = INF
    read = least_told(POINTS, T, word)
    assert (read.problem == words.seen_elsewhere("Upside down")) == np.isnan(read.value) == refused
    assert refused or (read.value == goes(165.0, 150.0) and not read.problem)
    if refused:
        assert replace(read, value=POINTS.value, problem="") == POINTS
        assert make_reading(Skill.CARTWHEEL, "knee_angle", Side.LEFT, read, EXACT).reason.startswith("Upside down two looks")
    few = np.array([INF, NAN, NAN, NAN])
    assert least_told(POINTS, T[:4], few).problem == words.seen_elsewhere("Upside down"), "one that is elsewhere, none that is not"


def test_another_problem_goes_first():
    for evidence in (replace(POINTS, problem="The leg was not seen."), Evidence(NAN, problem="The leg was not seen."), Evidence(NAN)):
        assert least_told(evidence, T, np.full(10, 150.0)) is evidence
        assert least_told(evidence, np.empty(0), np.empty(0)) is evidence
    assert least_told(replace(POINTS, problem="Too far."), T, np.full(10, INF)).problem == "Too far."


def test_where_nobody_looked_points_are_read_in_more_doubt():
    _, _, scene = filmed(left_knee=150.0)
    table = error_table()
    for reading, side in zip(readings(scene, table), BOTH, strict=True):
        points = by_points(scene, side)
        wider = replace(points, spread=float(np.hypot(points.spread, BY_POINTS)))
        wider = replace(wider, below=float(np.hypot(BELOW * wider.spread, points.below)))
        assert reading == make_reading(Skill.CARTWHEEL, "knee_angle", side, wider, table)
        plain = make_reading(Skill.CARTWHEEL, "knee_angle", side, points, table)
        assert reading.value == plain.value and reading.low < plain.low and reading.high >= plain.high


def around(scene: Scene) -> CartwheelLook:
    """A look whose words rise by 3 degrees from one frame looked at to the next on the left, and are 100 on the right."""
    rows = np.flatnonzero(scene.key)[::2]
    assert len(rows) > 6
    return CartwheelLook(
        scene.t[scene.key][0], scene.t[scene.key][-1], scene.t[rows], np.stack([140.0 + 3 * np.arange(len(rows)), 100.0 + 0 * rows], axis=1)
    )


def at(scene: Scene, t: np.ndarray) -> np.ndarray:
    """Rows of these times."""
    return np.searchsorted(scene.t, t - 1e-9)


def test_a_curve_goes_as_far_to_what_is_told_where_it_was_looked_at_and_eases_to_the_points():
    _, _, scene = filmed()
    look, value = around(scene), 170.0 + 5 * np.sin(9 * scene.t)
    word = look.knees[:, 0].copy()
    word[3] += 9.0  # one that errs counts a third
    look.knees[3, 0] += 9.0
    looked = replace(scene, cartwheel=look)
    curve = knee_curve(looked, Side.LEFT, value)
    means = np.convolve(np.r_[word[0], word, word[-1]], np.ones(3) / 3, mode="valid")
    rows = at(scene, look.t)
    assert curve[rows] == pytest.approx(goes(value[rows], means)) and means[3] == pytest.approx(149.0 + 3.0)
    assert knee_curve(looked, Side.RIGHT, value)[rows] == pytest.approx(goes(value[rows], 100.0))
    by = curve - value
    between = rows[:-1] + 1
    assert by[between] == pytest.approx((by[rows[:-1]] + by[rows[1:]]) / 2)
    first, last = look.t[0], look.t[-1]
    away = (scene.t <= first - EASE_S) | (scene.t >= last + EASE_S)
    assert away.any() and (curve[away] == value[away]).all()
    for edge, sign in ((rows[0], -1), (rows[-1], 1)):
        for step in (3, 6):
            beside = edge + sign * step
            share = 1 - abs(scene.t[beside] - scene.t[edge]) / EASE_S
            assert 0 < share < 1 and by[beside] == pytest.approx(share * by[edge])
    assert (look.knees[:, 0] == word).all(), "what was told is not written over"


def test_a_curve_s_gaps_stay_gaps_and_frames_that_were_not_told_are_told_by_their_neighbours():
    _, _, scene = filmed()
    look, value = around(scene), np.full(len(scene.t), 170.0)
    rows = at(scene, look.t)
    look.knees[2, 0], look.knees[3, 0] = NAN, INF
    looked = replace(scene, cartwheel=look)
    curve = knee_curve(looked, Side.LEFT, value)
    known = np.delete(look.knees[:, 0], [2, 3])
    means = np.convolve(np.r_[known[0], known, known[-1]], np.ones(3) / 3, mode="valid")
    assert np.isfinite(curve).all() and curve[np.delete(rows, [2, 3])] == pytest.approx(goes(170.0, means))
    assert curve[rows[2]] == pytest.approx(goes(170.0, means[1] + (means[2] - means[1]) / 3))
    gappy = value.copy()
    gappy[[rows[0] - 2, rows[1], rows[4], rows[-1] + 3]] = NAN
    look.knees[:, 1] = 100.0
    curve = knee_curve(looked, Side.RIGHT, gappy)
    assert (np.isnan(curve) == np.isnan(gappy)).all() and curve[rows[2]] == pytest.approx(goes(170.0, 100.0))


def test_a_curve_stays_as_it_came_without_a_look_or_with_few_words():
    _, _, scene = filmed()
    value, look = np.full(len(scene.t), 170.0), around(scene)
    assert knee_curve(scene, Side.LEFT, value) is value
    look.knees[LEAST_WORDS - 1 :, 0] = NAN
    looked = replace(scene, cartwheel=look)
    assert knee_curve(looked, Side.LEFT, value) is value
    assert knee_curve(looked, Side.RIGHT, value) is not value, "left and right apart"
    look.knees[LEAST_WORDS - 1, 0] = 150.0
    assert knee_curve(looked, Side.LEFT, value) is not value
    unseen = np.full(len(scene.t), NAN)
    assert knee_curve(looked, Side.LEFT, unseen) is unseen


def measured(track: Track, attempt: Attempt) -> tuple[dict[tuple[str, Side], Reading], dict[tuple[str, Side], Curve]]:
    """Readings and curves by detail and side, without what is known of the errors."""
    frames = {key: replace(known, bias=0.0) for key, known in frame_errors().items()}
    found, curves = measure_attempt(track, attempt, table=NO_MODEL_ERROR, frames=frames, learnt={})
    return {(r.detail, r.side): r for r in found}, {(c.detail, c.side): c for c in curves}


def same(one: Curve, other: Curve) -> bool:
    return all(np.array_equal(getattr(one, part), getattr(other, part), equal_nan=True) for part in ("t", "value", "low", "high"))


def test_a_knee_bent_towards_the_camera_reads_bent_once_it_is_told_so():
    track, attempt, _ = filmed(right_knee=130.0, toward_camera=True)
    plain, drawn = measured(track, attempt)
    points = {side: by_points(make_scene(track, attempt, learnt={}), side).value for side in BOTH}
    assert points[Side.RIGHT] == plain["knee_angle", Side.RIGHT].value > 170, "as the points draw it"
    look = told(track, attempt, 178.0, 130.0)
    found, curves = measured(replace(track, cartwheels=(look,)), attempt)
    bent, straight = (found["knee_angle", side] for side in (Side.RIGHT, Side.LEFT))
    assert bent.value == pytest.approx(goes(points[Side.RIGHT], 130.0)) and straight.value == pytest.approx(goes(points[Side.LEFT], 178.0))
    assert bent.value < 150 and attempt.key_start_s <= bent.at_s <= attempt.key_end_s
    assert bent.high - bent.value == pytest.approx(1.96 * KNEE_DOUBT * (points[Side.RIGHT] - 130.0))
    assert bent.low < 130.0, "where it is, lies within what it may be"
    for side, word in ((Side.LEFT, 178.0), (Side.RIGHT, 130.0)):
        curve, before = curves["knee_angle", side], drawn["knee_angle", side]
        rows = np.searchsorted(curve.t, look.t - 1e-9)
        assert curve.value[rows] == pytest.approx(goes(before.value[rows], word))
        away = (curve.t < look.t[0] - EASE_S) | (curve.t > look.t[-1] + EASE_S)
        assert away.any() and (curve.value[away] == before.value[away]).all()
    others = {key for key in plain if key[0] != "knee_angle"}
    assert len(others) > 5 and all(repr(found[key]) == repr(plain[key]) for key in others)
    further = {key for key in drawn if key[0] != "knee_angle"}
    assert ("hip_angle", Side.LEFT) in further and all(same(curves[key], drawn[key]) for key in further)


def test_a_leg_seen_elsewhere_is_refused_and_the_other_one_read():
    track, attempt, _ = filmed()
    found, curves = measured(replace(track, cartwheels=(told(track, attempt, INF, 150.0),)), attempt)
    refused = found["knee_angle", Side.LEFT]
    assert np.isnan([refused.value, refused.low, refused.high]).all() and refused.reason == words.seen_elsewhere("Upside down")
    plain, drawn = measured(track, attempt)
    right = found["knee_angle", Side.RIGHT]
    assert right.value == pytest.approx(goes(plain["knee_angle", Side.RIGHT].value, 150.0)) and not right.reason
    assert same(curves["knee_angle", Side.LEFT], drawn["knee_angle", Side.LEFT])


@pytest.mark.parametrize("motion", [bodies.shoulder_stand(hip=160.0), bodies.lunge(knee=165.0), bodies.backward_roll()])
def test_other_skills_of_the_clip_stay_as_they_are(motion):
    track = film(motion)
    (attempt,) = find_attempts(track)
    look = replace(told(track, attempt, 120.0, 130.0), end=attempt.key_end_s + 0.2)
    one, other = measured(track, attempt), measured(replace(track, cartwheels=(look,)), attempt)
    assert repr(one[0]) == repr(other[0])
    assert one[1].keys() == other[1].keys() and all(same(one[1][key], other[1][key]) for key in one[1])
