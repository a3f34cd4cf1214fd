"""The Movement type, and the steps every motion ends with: mirror, stand on the floor, pin hands and feet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.stage.bodies import SIDES, Body
from pipeline.stage.pose import Pin, Placed, Pose
from pipeline.stage.rotations import rx, rz
from pipeline.stage.timing import wander
from pipeline.vocabulary import Side, Skill

FORWARD = rz(90.0)  # turns a body that looks along -y to look along +x


@dataclass(frozen=True)
class Span:
    """When a skill happens inside a movement, seconds. `hold` is None where the key moment is read from contacts."""

    skill: Skill
    start_s: float  # the first visible movement of the skill
    end_s: float  # standing (or sitting) still again
    lead: Side
    hold: tuple[float, float] | None = None
    lift: tuple[float, float] | None = None  # when the arms are lifted into a pose, with a little rest before and after


@dataclass(frozen=True)
class Movement:
    """One body over time, in the world. t : (n,) seconds at timing.RATE."""

    t: np.ndarray
    placed: Placed
    spans: tuple[Span, ...] = ()
    heading: float = 0.0  # degrees about the vertical that the body has turned from the first moment to the last

    def turned(self, yaw: float, to: tuple[float, float]) -> Movement:
        """The same movement turned about the vertical by yaw degrees, then moved over the floor."""
        r = rz(yaw)
        shift = self.placed.shift @ r.T + np.array([*to, 0.0])
        return replace(self, placed=Placed(r @ self.placed.turn, shift))


def upright(lean: np.ndarray) -> np.ndarray:
    """(n, 3, 3) root of a body facing +x, its pelvis leaning forward by `lean` degrees (-180 is upside down, rolled back)."""
    return FORWARD @ rx(lean)


def mirrored(pose: Pose) -> Pose:
    """The pose seen in a mirror along y: left and right exchanged."""
    world, body = np.diag([1.0, -1.0, 1.0]), np.diag([-1.0, 1.0, 1.0])
    swap = {"L": "R", "R": "L"}
    return replace(
        pose, root=world @ pose.root @ body, place=pose.place @ world, spine_side=-pose.spine_side, spine_twist=-pose.spine_twist,
        neck_side=-pose.neck_side, neck_twist=-pose.neck_twist, limbs={k[:-1] + swap[k[-1]]: v for k, v in pose.limbs.items()},
    )  # fmt: skip


def mirrored_pins(pins: tuple[Pin, ...]) -> tuple[Pin, ...]:
    """The pins seen in a mirror along y: left and right exchanged."""
    world = np.diag([1.0, -1.0, 1.0])
    swap = {"L": "R", "R": "L"}
    flip = lambda v: None if v is None else v @ world  # noqa: E731
    return tuple(
        Pin(p.limb[:-1] + swap[p.limb[-1]], p.target @ world, p.weight, flip(p.pole), flip(p.facing), flip(p.normal)) for p in pins
    )


def alive(pose: Pose, t: np.ndarray, rng: np.random.Generator) -> Pose:
    """The pose with the small drift of a living body in head, trunk and arms."""
    pose.neck = pose.neck + wander(t, rng, 1.6, 2.8)
    pose.neck_twist = pose.neck_twist + wander(t, rng, 2.5, 3.5)
    pose.spine = pose.spine + wander(t, rng, 0.7, 2.2)
    for side in SIDES:
        pose.limbs[f"arm.{side}"] = pose.limbs[f"arm.{side}"] + wander(t, rng, 1.2, 2.0)
    return pose


def mirrored_turn(heading: float, lead: Side) -> float:
    """The heading of a movement written for the left leader, done by this leader."""
    return heading if lead is Side.LEFT else -heading


def reach_lengths(body: Body) -> dict[str, float]:
    """Lengths in metres: thigh, shank, leg (hip to ankle), upper, fore, arm (shoulder to wrist), trunk, ankle height, hip half width."""
    d = lambda a, b: float(np.linalg.norm(body.head_of(a) - body.head_of(b)))  # noqa: E731
    out = dict(thigh=d("upperleg01.L", "lowerleg01.L"), shank=d("lowerleg01.L", "foot.L"), upper=d("upperarm01.L", "lowerarm01.L"))
    out["fore"] = d("lowerarm01.L", "wrist.L")
    out["leg"], out["arm"] = out["thigh"] + out["shank"], out["upper"] + out["fore"]
    out["ankle"] = float(body.head_of("foot.L")[2])
    out["hip"] = float(body.head_of("upperleg01.L")[0])
    out["trunk"] = float(body.head_of("upperarm01.L")[2] - body.head_of("upperleg01.L")[2])
    return out
