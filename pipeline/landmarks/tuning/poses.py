"""Random poses by kind: the whole range our skills pass through, good and faulty, plus everyday ones that keep the model general.

Ranges are common practice and what was seen to work in trials; no source. Angles in degrees (see skeleton.Pose).
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from scipy.spatial.transform import Rotation

from .bodies import Bodies
from .skeleton import FreeArm, Pose, Posed, ReachingArm, penetration, pose_body, rx, ry, rz


class Kind(StrEnum):
    """What a drawn body is doing."""

    TUCK = "tuck"  # rolls: knees to chest, at any pitch
    SHOULDER_STAND = "shoulder_stand"
    CARTWHEEL = "cartwheel"
    LUNGE = "lunge"
    MIXED = "mixed"  # handstands, squats, sitting, lying, jumping, anything
    UPRIGHT = "upright"  # everyday standing and walking: what the original already does well


SHARE = {Kind.TUCK: 0.25, Kind.SHOULDER_STAND: 0.14, Kind.CARTWHEEL: 0.17, Kind.LUNGE: 0.17, Kind.MIXED: 0.15, Kind.UPRIGHT: 0.12}


def _both(rng: np.random.Generator, value: float, spread: float = 6.0) -> tuple[float, float]:
    return value + rng.normal(0, spread), value + rng.normal(0, spread)


def _arms(
    rng: np.random.Generator, flexion: float, abduction: float, twist: float, elbow: float, spread: float = 8.0
) -> tuple[FreeArm, FreeArm]:
    def one() -> FreeArm:
        around = flexion + rng.normal(0, spread), abduction + rng.normal(0, spread * 0.7), twist + rng.normal(0, spread)
        return FreeArm(*around, max(0.0, elbow + rng.normal(0, spread)))

    return one(), one()


def _any_arms(rng: np.random.Generator) -> tuple[FreeArm, FreeArm]:
    return tuple(FreeArm(rng.uniform(-40, 170), rng.uniform(0, 90), rng.uniform(-30, 30), rng.uniform(0, 110)) for _ in range(2))


def any_turn(rng: np.random.Generator) -> np.ndarray:
    """A uniformly random rotation."""
    return Rotation.random(random_state=int(rng.integers(1 << 31))).as_matrix()


# ---- hands that hold something ------------------------------------------------------------------------------


def _chest_pole(bodies: Bodies, x: float, y: float, z: float):
    """The elbow points to (x outward, y back, z up) of the chest."""
    chest = bodies.index["spine01"]
    return lambda rotation, _, side: rotation[chest] @ np.array([x if side == "L" else -x, y, z])


def _at_bone(bodies: Bodies, body: int, bone: str, offset: np.ndarray):
    """A point fixed to a bone, at offset (outward, back, up) metres of a 1.6 m body from where the bone begins."""
    i, head, scale = bodies.index[bone], bodies.heads[body][bodies.index[bone]], bodies.height[body] / 1.6
    return lambda rotation, shift, side: rotation[i] @ (head + np.array([1 if side == "L" else -1, 1, 1]) * offset * scale) + shift[i]


def _hug_shins(bodies: Bodies, body: int, rng: np.random.Generator) -> ReachingArm:
    share, clear = rng.uniform(0.25, 0.75), 1.3 * rng.uniform(0.03, 0.06) * bodies.height[body] / 1.6
    heads = bodies.heads[body]

    def target(rotation, shift, side):
        knee, ankle = bodies.index[f"lowerleg01.{side}"], bodies.index[f"foot.{side}"]
        at_knee, at_ankle = rotation[knee] @ heads[knee] + shift[knee], rotation[ankle] @ heads[ankle] + shift[ankle]
        return at_knee * (1 - share) + at_ankle * share + rotation[knee] @ np.array([0, -clear, 0])

    return ReachingArm(target, _chest_pole(bodies, 1.0, 0.2, -0.3), 0.3)


def _support_back(bodies: Bodies, body: int, rng: np.random.Generator) -> ReachingArm:
    offset = np.array([0.085, 0.115, rng.uniform(-0.02, 0.16)])
    return ReachingArm(_at_bone(bodies, body, "spine04", offset), _chest_pole(bodies, rng.uniform(0.1, 0.6), 1.0, 0.5), 0.0)


def _hands_by_ears(bodies: Bodies, body: int, rng: np.random.Generator) -> ReachingArm:
    offset = np.array([rng.uniform(0.12, 0.2), rng.uniform(0.05, 0.18), rng.uniform(-0.02, 0.1)])
    return ReachingArm(_at_bone(bodies, body, "head", offset), _chest_pole(bodies, 0.4, -0.8, 0.6), 0.7)


def _hands_on_hips(bodies: Bodies, body: int) -> ReachingArm:
    return ReachingArm(_at_bone(bodies, body, "root", np.array([0.19, -0.02, 0.1])), _chest_pole(bodies, 1.0, 0.5, 0.0), 0.0)


# ---- the kinds ----------------------------------------------------------------------------------------------


def _neutral(rng: np.random.Generator) -> Pose:
    u = rng.uniform
    arm = FreeArm(u(-10, 20), u(3, 20), u(-20, 20), u(0, 25))
    return Pose(
        spine=u(-3, 8), spine_side=rng.normal(0, 3), spine_twist=rng.normal(0, 4), neck=u(-10, 15), neck_side=rng.normal(0, 5), neck_twist=rng.normal(0, 10),
        hip=(u(-3, 8), u(-3, 8)), knee=(u(0, 8), u(0, 8)), abduction=(u(0, 10), u(0, 10)), leg_twist=(u(-5, 20), u(-5, 20)), point=(u(-5, 10), u(-5, 10)),
        arms=(arm, arm), hand=(rng.normal(0, 12), rng.normal(0, 12)),
    )  # fmt: skip


def _with(pair: tuple, side: int, value) -> tuple:
    return (value, pair[1]) if side == 0 else (pair[0], value)


def _tuck(bodies: Bodies, body: int, rng: np.random.Generator) -> Pose:
    u, choice = rng.uniform, rng.random()
    if choice < 0.3:  # hands beside the shoulders, ready to push
        arms = _arms(rng, u(115, 180), u(0, 15), u(-30, 30), u(20, 125))
    elif choice < 0.42:
        arms = _arms(rng, u(150, 182), u(0, 12), 0, u(0, 20))
    elif choice < 0.57:
        arms = (_hands_by_ears(bodies, body, rng),) * 2
    elif choice < 0.85:
        arms = (_hug_shins(bodies, body, rng),) * 2
    else:
        arms = _arms(rng, u(0, 110), u(5, 40), u(-30, 30), u(0, 60))
    pose = _neutral(rng).but(
        hip=_both(rng, u(85, 148)), knee=_both(rng, u(80, 150)), abduction=_both(rng, u(0, 22), 4), spine=u(15, 75), neck=u(0, 60), point=_both(rng, u(-15, 60)),
        arms=arms, root=any_turn(rng) if rng.random() < 0.15 else ry(rng.normal(0, 9)) @ rx(u(-180, 180)) @ rz(rng.normal(0, 6)),
    )  # fmt: skip
    if rng.random() < 0.15:  # one leg trails
        side = int(rng.integers(2))
        pose = pose.but(hip=_with(pose.hip, side, u(40, 110)), knee=_with(pose.knee, side, u(10, 130)))
    if rng.random() < 0.12:  # piked
        pose = pose.but(knee=_both(rng, u(0, 50)))
    return pose


def _shoulder_stand(bodies: Bodies, body: int, rng: np.random.Generator) -> Pose:
    u, choice = rng.uniform, rng.random()
    if choice < 0.5:
        arms = (_support_back(bodies, body, rng),) * 2
    elif choice < 0.9:  # arms along the floor, by the body or overhead
        arms = _arms(rng, u(-50, 10), u(0, 25), 0, u(0, 15)) if rng.random() < 0.75 else _arms(rng, u(150, 185), u(0, 20), 0, u(0, 20))
    else:
        arms = _arms(rng, u(0, 90), u(0, 30), 0, u(0, 60))
    flat = rng.random() < 0.75
    pose = _neutral(rng).but(
        hip=_both(rng, u(-12, 60) if flat else u(60, 125), 5), knee=tuple(abs(k) for k in _both(rng, u(0, 25) if rng.random() < 0.75 else u(25, 110), 4)),
        abduction=_both(rng, u(-1, 10), 3), point=_both(rng, u(10, 70)), spine=u(0, 45), neck=u(40, 90), arms=arms,
        root=ry(rng.normal(0, 6)) @ rx(-u(105, 185)) @ rz(rng.normal(0, 4)),
    )  # fmt: skip
    if rng.random() < 0.15:
        side = int(rng.integers(2))
        pose = pose.but(hip=_with(pose.hip, side, u(0, 110)), knee=_with(pose.knee, side, u(0, 100)))
    return pose


def _cartwheel(bodies: Bodies, body: int, rng: np.random.Generator) -> Pose:
    u = rng.uniform
    hip, knee = [rng.normal(8, 18), rng.normal(8, 18)], [abs(rng.normal(0, 8)), abs(rng.normal(0, 8))]
    for side in range(2):
        if rng.random() < 0.45:  # the fault we look for
            knee[side], hip[side] = u(15, 95), hip[side] + u(0, 50)
    arms = _arms(rng, u(165, 185), u(0, 35), u(-15, 15), u(0, 12))
    if rng.random() < 0.15:
        arms = _with(arms, int(rng.integers(2)), FreeArm(u(20, 120), u(20, 100), 0, u(0, 30)))
    return _neutral(rng).but(
        abduction=(u(5, 78), u(5, 78)), hip=tuple(hip), knee=tuple(knee), leg_twist=(u(-10, 35), u(-10, 35)), point=_both(rng, u(0, 60)),
        spine_side=rng.normal(0, 10), spine=rng.normal(2, 8), neck=rng.normal(-8, 12), arms=arms,
        root=ry(u(-180, 180) if rng.random() < 0.4 else u(60, 300)) @ rx(rng.normal(0, 12)) @ rz(rng.normal(0, 15)),
    )  # fmt: skip


def _lunge(bodies: Bodies, body: int, rng: np.random.Generator) -> Pose:
    u, front, pitch = rng.uniform, int(rng.integers(2)), rng.uniform(-5, 70)
    pair = lambda ahead, behind: (ahead, behind) if front == 0 else (behind, ahead)  # noqa: E731
    arms = _arms(rng, u(140, 185), u(0, 20), u(-10, 10), u(0, 25)) if rng.random() < 0.75 else _arms(rng, u(0, 120), u(5, 60), 0, u(0, 50))
    if rng.random() < 0.2:
        arms = (arms[0], FreeArm(u(0, 100), u(0, 80), 0, u(0, 40)))
    return _neutral(rng).but(
        hip=pair(u(45, 110) + pitch * 0.4, u(-30, 10)), knee=pair(u(35, 120), u(0, 35) if rng.random() < 0.75 else u(50, 110)),
        point=pair(u(-20, 10), u(-25, 50)), root=rx(pitch), arms=arms,
    )  # fmt: skip


def _mixed(bodies: Bodies, body: int, rng: np.random.Generator) -> Pose:
    u, choice, pose = rng.uniform, rng.random(), _neutral(rng)
    if 0.15 <= choice < 0.35:  # squat
        pose = pose.but(
            hip=_both(rng, u(50, 130)),
            knee=_both(rng, u(60, 145)),
            abduction=_both(rng, u(0, 35), 4),
            spine=u(0, 35),
            root=rx(u(0, 40)),
            point=_both(rng, u(-30, 10)),
        )
    elif 0.35 <= choice < 0.55:  # handstand
        return pose.but(
            hip=(rng.normal(0, 18), rng.normal(0, 18)), abduction=(abs(rng.normal(0, 15)), abs(rng.normal(0, 15))), spine=rng.normal(0, 10),
            point=_both(rng, u(0, 65)), neck=rng.normal(-10, 14), root=rx(180 + rng.normal(0, 22)) @ ry(rng.normal(0, 10)), arms=_arms(rng, u(165, 185), u(0, 12), 0, u(0, 12)),
        )  # fmt: skip
    elif 0.55 <= choice < 0.75:  # sitting
        pose = pose.but(
            hip=_both(rng, u(60, 115)), knee=_both(rng, u(0, 110)), abduction=_both(rng, u(0, 30), 4), spine=u(0, 35), root=rx(u(-35, 20))
        )
    elif 0.75 <= choice < 0.85:  # lying, plank
        pose = pose.but(root=rx(u(70, 110) if rng.random() < 0.5 else u(-110, -70)), hip=_both(rng, u(-10, 40)), spine=u(-15, 20))
    elif choice >= 0.85:  # anything, also in the air
        pose = pose.but(
            root=rx(u(-20, 60)), hip=(u(-20, 100), u(-20, 100)), knee=(u(0, 120), u(0, 120)), abduction=(u(0, 45), u(0, 45)), spine=u(-20, 40),
            lift=max(0.0, rng.normal(0, 0.2)),
        )  # fmt: skip
    pick = rng.random()
    if pick < 0.1:
        return pose.but(arms=(_hands_on_hips(bodies, body),) * 2)
    return pose.but(arms=_arms(rng, u(140, 182), u(0, 25), 0, u(0, 30)) if pick < 0.4 else _any_arms(rng))


def _upright(bodies: Bodies, body: int, rng: np.random.Generator) -> Pose:
    u = rng.uniform
    hanging = tuple(FreeArm(u(-15, 35), u(4, 35), 0, u(0, 50)) for _ in range(2))
    arms = hanging if rng.random() < 0.75 else _arms(rng, u(60, 178), u(0, 60), 0, u(0, 20))
    return _neutral(rng).but(arms=arms, hip=(u(-18, 28), u(-18, 28)), knee=(u(0, 25), u(0, 25)))


_DRAW = {
    Kind.TUCK: _tuck, Kind.SHOULDER_STAND: _shoulder_stand, Kind.CARTWHEEL: _cartwheel, Kind.LUNGE: _lunge, Kind.MIXED: _mixed, Kind.UPRIGHT: _upright,
}  # fmt: skip

# ---- from motion: half-way between two moments of a skill ------------------------------------------------------
# Each moment: pitch of the body (0 upright, negative falling backwards), hips, knees, spine, neck, arm flexion.
_MOMENTS = {
    Kind.TUCK: (  # backward roll, from standing to standing
        (0, 5, 5, 0, 0, 170), (25, 115, 125, 30, 15, 90), (-20, 125, 135, 50, 40, 130), (-90, 130, 130, 60, 55, 150), (-150, 130, 120, 60, 60, 165),
        (-200, 125, 115, 55, 45, 165), (-270, 110, 120, 45, 20, 120), (-325, 115, 130, 30, 10, 90), (-360, 10, 10, 5, 0, 170),
    ),
    Kind.SHOULDER_STAND: (  # down, up, and the rise
        (-10, 100, 95, 35, 20, 60), (-70, 120, 125, 50, 45, 10), (-120, 110, 70, 40, 65, -10), (-165, 20, 5, 20, 75, -20), (-165, 0, 0, 12, 80, -30),
        (-130, 95, 20, 40, 60, -10), (-60, 120, 120, 50, 40, 20), (10, 115, 125, 35, 10, 90),
    ),
}  # fmt: skip


def _from_motion(bodies: Bodies, body: int, kind: Kind, rng: np.random.Generator) -> Pose:
    moments = np.array(_MOMENTS[kind], float)
    k, share = int(rng.integers(len(moments) - 1)), rng.uniform()
    pitch, hip, knee, spine, neck, flexion = moments[k] * (1 - share) + moments[k + 1] * share + rng.normal(0, (8, 10, 10, 8, 8, 18))
    base = _DRAW[kind](bodies, body, rng)  # for feet, spread and, at times, hands that hold
    arms = (
        base.arms
        if kind is Kind.SHOULDER_STAND and rng.random() < 0.5
        else _arms(rng, flexion, rng.uniform(0, 18), 0, rng.uniform(0, 60) if kind is Kind.TUCK else rng.uniform(0, 20))
    )
    return base.but(
        root=ry(rng.normal(0, 6)) @ rx(pitch) @ rz(rng.normal(0, 5)), hip=_both(rng, hip), knee=_both(rng, max(0.0, knee)), spine=spine, neck=neck, arms=arms
    )  # fmt: skip


def draw_pose(bodies: Bodies, body: int, kind: Kind, rng: np.random.Generator) -> Pose:
    """One random pose of a kind, joints within reach (it may still run into itself: see `fitting_pose`)."""
    pose = _from_motion(bodies, body, kind, rng) if kind in _MOMENTS and rng.random() < 0.35 else _DRAW[kind](bodies, body, rng)
    if kind is not Kind.UPRIGHT and rng.random() < 0.07:
        pose = pose.but(root=any_turn(rng))
    if kind in (Kind.TUCK, Kind.SHOULDER_STAND, Kind.CARTWHEEL) and rng.random() < 0.1:
        pose = pose.but(lift=abs(rng.normal(0, 0.15)))
    return pose.but(knee=tuple(float(np.clip(k, -2, 152)) for k in pose.knee), hip=tuple(float(np.clip(h, -35, 150)) for h in pose.hip))


def fitting_pose(bodies: Bodies, body: int, kind: Kind, rng: np.random.Generator, *, tries: int = 12) -> tuple[Pose, Posed]:
    """A random pose whose parts hardly run into each other: the first good one of `tries`, else the best."""
    best = None
    for _ in range(tries):
        pose = draw_pose(bodies, body, kind, rng)
        posed = pose_body(bodies, body, pose)
        through = penetration(posed)
        if best is None or through < best[0]:
            best = (through, pose, posed)
        if through < 0.012:
            break
    return best[1], best[2]
