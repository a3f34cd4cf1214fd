"""Stick athletes who do several skills in a row, a loaded lunge, and what a mirror makes of a track."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.landmarks.track import INDEX, NAMES, Track
from pipeline.vocabulary import Side, Skill
from tests.measures import bodies
from tests.measures.bodies import STAND, Motion
from tests.measures.stick import Pose, blend, on_floor, skeleton

FPS = 30.0
SWAPPED = [INDEX[n.replace("left", "#").replace("right", "left").replace("#", "right")] for n in NAMES]
OTHER = {Side.LEFT: Side.RIGHT, Side.RIGHT: Side.LEFT, Side.NONE: Side.NONE}


@dataclass(frozen=True)
class Told:
    """What was done when, seconds."""

    skill: Skill
    start_s: float
    end_s: float


def mirrored(track: Track) -> Track:
    """The track of the same clip seen in a mirror: x turned round, left and right exchanged."""
    xy = track.xy[:, SWAPPED].copy()
    xy[..., 0] = track.size[0] - xy[..., 0]
    return replace(
        track, xy=xy, z=track.z[:, SWAPPED], visibility=track.visibility[:, SWAPPED], disagreement=track.disagreement[:, SWAPPED]
    )


def loaded_lunge(*, knee: float = 118.0, straight_first: bool = False, lead: str = "left") -> Motion:
    """A loaded lunge, stepped into at once or bent out of a straight one. Its spans: (0.8, 3.4) or (0.8, 2.4) and (2.4, 4.6)."""
    back = "right" if lead == "left" else "left"
    arms = Pose().both(arm=175.0)
    straight = replace(arms, trunk=35.0, ankle=100.0, **{f"{lead}_hip": 85.0, f"{lead}_knee": 60.0})
    bend = 180.0 - knee
    legs = {f"{lead}_hip": 80.0, f"{lead}_knee": 75.0, f"{back}_hip": bend - 57.0, f"{back}_knee": bend}  # both feet on the floor
    bent = replace(arms, trunk=15.0, ankle=150.0, **legs)
    times, poses = ([0.8, 1.5, 2.4, 2.8, 3.8, 4.6], [STAND, straight, straight, bent, bent, STAND])
    if not straight_first:
        times, poses = [0.8, 1.5, 2.7, 3.4], [STAND, bent, bent, STAND]
    t = np.arange(0.0, times[-1] + 0.6, 1 / FPS)
    return Motion(t, on_floor(np.stack([skeleton(p) for p in blend(times, poses, t)])), span=(times[0], times[-1]))


def faced(motion: Motion, degrees: float) -> Motion:
    """The motion turned about the vertical, counter-clockwise from above."""
    a = np.radians(degrees)
    turn = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1]])
    return replace(motion, joints=motion.joints @ turn)


def chain(*parts: tuple[Skill, Motion]) -> tuple[Motion, list[Told]]:
    """Motions one after the other, each going on where the hips were left, and what was done when."""
    t, joints, told, at, place = [], [], [], 0.0, np.zeros(3)
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    for skill, m in parts:
        move = (place - m.joints[0, hips].mean(axis=0)) * np.array([1, 1, 0]) if t else np.zeros(3)
        t.append(m.t + at)
        joints.append(m.joints + move)
        told.append(Told(skill, m.span[0] + at, m.span[1] + at))
        place = joints[-1][-1, hips].mean(axis=0)
        at = t[-1][-1] + 1 / FPS
    return Motion(np.concatenate(t), np.concatenate(joints)), told


def routine(lead: str = "left") -> tuple[Motion, list[Told]]:
    """Lunge, cartwheel, backward roll, shoulder stand, filmed from the side with `film(turned=0)`."""
    aside = -90.0 if lead == "left" else 90.0
    return chain(
        (Skill.LUNGE, bodies.lunge(lead=lead)),
        (Skill.CARTWHEEL, faced(bodies.cartwheel(lead=lead), -aside)),
        (Skill.BACKWARD_ROLL, bodies.backward_roll()),
        (Skill.SHOULDER_STAND, bodies.shoulder_stand()),
    )
