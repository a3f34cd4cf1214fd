"""What is drawn stands where its truth says. Needs the extra `render`; everything else about the stage is tested without it."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from pipeline.stage.bodies import Shape
from pipeline.stage.camera import Shot
from pipeline.stage.clothes import Outfit
from pipeline.stage.motions.backward_roll import RollStyle
from pipeline.stage.motions.bystanders import bystander
from pipeline.stage.motions.cartwheel import CartwheelStyle
from pipeline.stage.motions.lunge import LoadedLungeStyle, LungeStyle
from pipeline.stage.motions.shoulder_stand import ShoulderStandStyle
from pipeline.stage.phone import Phone
from pipeline.stage.scene import Scene, act, body, pictures
from pipeline.vocabulary import Side, Skill

for needed in ("anny", "torch", "moderngl"):
    pytest.importorskip(needed, reason="drawing needs the extra `render`")

SHAPE = Shape(years=7.0, weight=0.38)
CLEAN = Phone(noise=0, soft=0)
ONE_OF_EACH = (LungeStyle(), RollStyle(clear=0.5), ShoulderStandStyle(), CartwheelStyle())


def scene(style, **more) -> Scene:
    return Scene("test", SHAPE, Outfit(), (style,), shot=Shot(320, 240, share=0.4, shake=0), phone=CLEAN, **more)


@pytest.mark.parametrize("style", ONE_OF_EACH, ids=lambda s: type(s).__name__)
def test_the_athlete_is_drawn_where_the_joints_are(style):
    """Against an empty hall (the athlete moved out of sight), the picture changes at every hip, knee and shoulder."""
    one = scene(style)
    acted = act(one)
    acted.frames = acted.frames[:: len(acted.frames) // 4]
    drawn = list(pictures(one, acted))
    gone = replace(acted, movement=acted.movement.turned(0.0, (0.0, -60.0)))
    empty = list(pictures(one, gone))
    for i, here, without in zip(acted.frames, drawn, empty, strict=True):
        changed = np.abs(here.astype(int) - without.astype(int)).max(axis=2) > 8
        for name in ("left_hip", "right_hip", "left_knee", "right_knee", "left_shoulder", "right_shoulder"):
            xy, _ = acted.camera.project(acted.joints[name][i : i + 1], int(i))
            x, y = xy[0].astype(int)
            assert changed[max(0, y - 2) : y + 3, max(0, x - 2) : x + 3].any(), (name, i)


@pytest.mark.parametrize("style", ONE_OF_EACH, ids=lambda s: type(s).__name__)
def test_a_mirrored_leader_mirrors_the_joints(style):
    """Bodies are alike left and right to a few mm, so the right leader's left is the left leader's right. (The drift is seeded and
    mirrored with the rest.)"""
    a, b = act(scene(replace(style, lead=Side.LEFT))), act(scene(replace(style, lead=Side.RIGHT)))
    for name in ("shoulder", "hip", "knee", "ankle", "wrist"):
        here, there = a.joints[f"left_{name}"], b.joints[f"right_{name}"]
        assert np.abs(here[:, [0, 2]] - there[:, [0, 2]]).max() < 0.03


@pytest.mark.parametrize("aim", [120.0, 150.0, 178.0, 196.0])
def test_the_shoulder_stand_comes_near_the_hip_it_aims_at(aim):
    got = next(d.value for d in act(scene(ShoulderStandStyle(hip=aim, knee=178))).attempts[0].details if d.detail == "hip_angle")
    assert got == pytest.approx(aim, abs=6)


@pytest.mark.parametrize("aim", [130.0, 150.0, 176.0])
def test_the_lunge_has_the_back_knee_it_aims_at(aim):
    got = next(d.value for d in act(scene(LungeStyle(back_knee=aim))).attempts[0].details if d.detail == "knee_angle")
    assert got == pytest.approx(aim, abs=1.5)


@pytest.mark.parametrize(("turnout", "out_of_plane"), [(5.0, True), (75.0, False)])
def test_a_cartwheel_knee_bends_in_the_picture_or_out_of_it(turnout, out_of_plane):
    """The picture's own knee angle reads straight where the knee bends towards the camera."""
    acted = act(scene(CartwheelStyle(bend_second=50, turnout=turnout)))
    true = next(d.value for d in acted.attempts[0].details if d.side is Side.RIGHT)
    assert true == pytest.approx(130, abs=5)
    key = acted.attempts[0].key
    middle = int(np.argmin(np.abs(acted.movement.t - 0.5 * sum(key))))
    hip, knee, ankle = (acted.joints[f"right_{p}"][middle, [0, 2]] for p in ("hip", "knee", "ankle"))
    u, v = hip - knee, ankle - knee
    seen = np.degrees(np.arccos(u @ v / np.linalg.norm(u) / np.linalg.norm(v)))
    assert (seen > 155) == out_of_plane


def test_knees_touch_when_told_to_and_stay_off_when_not():
    touch = {d.detail: d.value for d in act(scene(RollStyle(clear=-0.3, kneel=0.4))).attempts[0].details}
    clear = {d.detail: d.value for d in act(scene(RollStyle(clear=1.0))).attempts[0].details}
    assert touch["knee_contact_time"] > 0.4 and touch["knee_clearance"] == 0
    assert clear["knee_contact_time"] == 0 and clear["knee_clearance"] > 45


def details(style, **more) -> dict[str, float]:
    """The true details without a side of the style's last skill."""
    return {d.detail: d.value for d in act(scene(style, **more)).attempts[-1].details if not d.side}


def test_a_loaded_lunge_has_the_knee_and_the_lean_it_aims_at_alone_and_out_of_a_straight_one():
    loaded = LoadedLungeStyle(back_knee=118, lean=30)
    for style in (loaded, LungeStyle(then=loaded)):
        got = details(style)
        assert got["knee_angle"] == pytest.approx(118, abs=1.5) and got["lean_angle"] == pytest.approx(30, abs=1.5)
    assert [a.span.skill for a in act(scene(LungeStyle(then=loaded))).attempts] == [Skill.LUNGE, Skill.LOADED_LUNGE]


@pytest.mark.parametrize(("lead", "turn"), [(Side.LEFT, 90.0), (Side.LEFT, -70.0), (Side.RIGHT, 80.0)])
@pytest.mark.parametrize("hands", [0, 1, 2])
def test_the_rise_uses_the_hands_and_finishes_to_the_side_it_aims_at(lead, turn, hands):
    got = details(ShoulderStandStyle(lead=lead, turn=turn, hands=hands, pose=True))
    assert got["finish_side"] == pytest.approx(turn, abs=2) and got["rise_hands_used"] == hands


@pytest.mark.parametrize(("style", "extra"), [(RollStyle(extra=2), 2), (RollStyle(clear=-0.2, kneel=0.3, extra=1), 1), (RollStyle(), 0)])
def test_a_roll_has_the_extra_steps_it_aims_at(style, extra):
    assert details(style)["extra_steps"] == extra


@pytest.mark.parametrize(("more", "extra"), [({}, 0), ({"land_wide": 1.0}, 0), ({"land_wide": 0.8, "finish": "back", "extra": 2}, 2),
                                             ({"finish": "steps", "extra": 3}, 3)])  # fmt: skip
def test_a_cartwheel_has_the_extra_steps_it_aims_at_and_one_that_closes_wide_feet_is_none(more, extra):
    assert details(CartwheelStyle(**more))["step_together"] == extra


def test_a_cartwheels_further_details_go_the_way_they_are_told():
    usual = details(CartwheelStyle())
    assert details(CartwheelStyle(together=1.0))["hands_in_turn"] < 0.05 < 0.2 < usual["hands_in_turn"]
    assert details(CartwheelStyle(look=-0.6))["head_to_hands"] > usual["head_to_hands"] + 30
    assert details(CartwheelStyle(straddle=0.5))["legs_apart"] < 75 < 160 < details(CartwheelStyle(straddle=1.3))["legs_apart"]
    assert details(CartwheelStyle(hands_aside=25))["hands_in_line"] > usual["hands_in_line"] + 12
    assert details(CartwheelStyle(hand_in=50))["hand_turned_in"] == pytest.approx(usual["hand_turned_in"] + 50, abs=8)


def test_a_rolls_further_details_go_the_way_they_are_told():
    usual = details(RollStyle(after=1.0))
    told = details(RollStyle(after=1.0, head_turn=70, hand_late=0.3, sway=0.03))
    assert usual["head_turn"] < 8 and usual["hands_even"] < 0.03 and usual["standing_sway"] < 2
    assert told["head_turn"] > 25 and told["hands_even"] == pytest.approx(0.28, abs=0.08) and told["standing_sway"] > 10


def test_a_routine_goes_from_skill_to_skill_without_a_jump_or_a_stretched_limb():
    lunge = LungeStyle(go_on=True, then=LoadedLungeStyle(hold=0.5), hold=0.6)
    styles = (lunge, CartwheelStyle(goes_on=True, turn=90), RollStyle(), ShoulderStandStyle(pose=True))
    acted = act(replace(scene(lunge), styles=styles, blend=0.4, stays=True))
    assert [a.span.skill for a in acted.attempts] == [
        Skill.LUNGE,
        Skill.LOADED_LUNGE,
        Skill.CARTWHEEL,
        Skill.BACKWARD_ROLL,
        Skill.SHOULDER_STAND,
    ]
    spans = [a.span for a in acted.attempts]
    assert all(a.end_s <= b.start_s + 1e-6 for a, b in itertools.pairwise(spans))
    for name in ("left_hip", "nose", "left_ankle", "right_ankle"):
        assert np.abs(np.diff(acted.joints[name], axis=0)).max() < 0.06  # 7 m/s
    for a, b in (("hip", "knee"), ("knee", "ankle"), ("shoulder", "elbow")):
        assert np.ptp(np.linalg.norm(acted.joints[f"left_{a}"] - acted.joints[f"left_{b}"], axis=1)) < 1e-6
    for joint in acted.joints.values():
        xy, _ = acted.camera.project(joint[:, None])
        assert (xy > 0).all() and (xy[..., 0] < 320).all() and (xy[..., 1] < 240).all()


@pytest.mark.parametrize("style", ONE_OF_EACH, ids=lambda s: type(s).__name__)
def test_nothing_sinks_and_standing_feet_do_not_slide(style):
    acted = act(scene(style))
    for name, low in acted.low.items():
        assert low.min() > -0.03, name
    first = acted.movement.t < acted.movement.spans[0].start_s
    for side in ("left", "right"):
        assert np.ptp(acted.joints[f"{side}_heel"][first], axis=0).max() < 0.02


def test_walkers_walk():
    who = body(SHAPE)
    walker = bystander(who, "walk", 3.0, np.random.default_rng(0))
    hips = walker.placed.joint(who, "upperleg01.L")
    assert 1.5 < hips[-1, 0] - hips[0, 0] < 5.0  # 0.5-1.7 m/s


def test_the_same_scene_is_the_same_clip():
    one = scene(ONE_OF_EACH[0])
    first, again = act(one), act(one)
    first.frames = again.frames = first.frames[:2]
    assert all(np.array_equal(a, b) for a, b in zip(pictures(one, first), pictures(one, again), strict=True))
