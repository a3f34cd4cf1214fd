"""Simple versions of the skills by stick athletes (stick.py), filmed by an ideal camera. No drawing, no model.

A motion is poses at times; `film` turns a motion into a Track.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.landmarks.track import INDEX, NAMES, Track
from tests.measures.stick import HAND, SHANK, THIGH, Pose, aside, blend, on_floor, skeleton, tilted


@dataclass(frozen=True)
class Motion:
    """Joints in space over time, and what a perfect observer would say of them."""

    t: np.ndarray
    joints: np.ndarray  # (n, 33, 3) forward, left, up; metres; floor at 0
    truth: dict[str, float] = field(default_factory=dict)  # detail -> value
    key: tuple[float, float] = (np.nan, np.nan)
    span: tuple[float, float] = (np.nan, np.nan)


STAND = Pose()
ARMS_UP = Pose().both(arm=175.0)


def _times(seconds: float, fps: float) -> np.ndarray:
    return np.arange(0.0, seconds, 1.0 / fps)


def _joints(times: list[float], poses: list[Pose], t: np.ndarray) -> np.ndarray:
    return np.stack([skeleton(p) for p in blend(times, poses, t)])


def _slide(t: np.ndarray, start: float, end: float, metres: float) -> np.ndarray:
    """(n, 3) forward travel eased between two times."""
    s = np.clip((t - start) / (end - start), 0, 1)
    return np.stack([metres * s * s * (3 - 2 * s), 0 * t, 0 * t], axis=-1)


def lunge(*, hip: float = 180.0, knee: float = 180.0, shoulder: float = 175.0, lead: str = "left", fps: float = 30.0) -> Motion:
    """Stand, step out into a lunge with the arms up, hold one second, step back. `hip`, `knee`: back leg's angles as read."""
    back = "right" if lead == "left" else "left"
    held = Pose(trunk=215.0 - hip).both(arm=shoulder)  # the back leg leans as far however the hip is bent
    held = replace(
        held, **{f"{lead}_hip": 265.0 - hip, f"{lead}_knee": 60.0, f"{back}_hip": 180.0 - hip, f"{back}_knee": 180.0 - knee, "ankle": 100.0}
    )
    t = _times(4.0, fps)
    joints = on_floor(_joints([0.8, 1.5, 2.7, 3.4], [STAND, held, held, STAND], t))
    return Motion(
        t,
        joints,
        {"hip_angle": hip, "knee_angle": knee, "shoulder_angle": shoulder, "arms_by_ears": 180.0 - shoulder},
        (1.5, 2.7),
        (0.8, 3.4),
    )


def shoulder_stand(*, hip: float = 180.0, knee: float = 180.0, toe: float = 150.0, hold: float = 1.0, fps: float = 30.0) -> Motion:
    """Squat, roll back onto the shoulders, hold with hips at `hip` and knees straight, roll forward to stand."""
    squat = Pose(trunk=25).both(hip=115, knee=135, arm=80)
    sit = Pose(trunk=-25).both(hip=120, knee=130, arm=80)
    held = replace(Pose(trunk=-168.0, ankle=toe).both(hip=180.0 - hip, knee=180.0 - knee, arm=30), left_elbow=110, right_elbow=110)
    t = _times(4.2 + hold, fps)
    up, down = 2.2, 2.2 + hold
    joints = on_floor(
        _joints([0.6, 1.2, 1.5, up, down, down + 0.7, down + 1.0, down + 1.5], [STAND, squat, sit, held, held, sit, squat, STAND], t)
    )
    v = joints[int(fps * (up + hold / 2))]
    leg = v[INDEX["left_ankle"]] - v[INDEX["left_hip"]]
    upright = np.degrees(np.arctan2(np.hypot(leg[0], leg[1]), leg[2]))
    return Motion(t, joints, {"hip_knee_angle": hip, "hip_angle": hip if knee == 180.0 else np.nan, "leg_to_vertical": upright, "toe_point": toe},
                  (up, down), (0.6, down + 1.5))  # fmt: skip


def backward_roll(*, kneel: bool = False, turn: float = -1.0, fps: float = 30.0) -> Motion:
    """Stand, squat, roll backwards over the shoulders, land on the feet (or on the knees first) and stand. turn=+1 rolls forwards instead."""
    squat = Pose(trunk=25).both(hip=115, knee=135, arm=80)
    tuck = Pose(trunk=-60).both(hip=128, knee=140, arm=165, elbow=130)
    over = Pose(trunk=-180).both(hip=125, knee=100, arm=165, elbow=120)
    land = (
        Pose(trunk=-280, ankle=172).both(hip=120, knee=131, arm=170)
        if kneel
        else Pose(trunk=-275, ankle=90).both(hip=110, knee=70, arm=150)
    )
    low = (
        Pose(trunk=-290, ankle=172).both(hip=115, knee=136, arm=170)
        if kneel
        else Pose(trunk=-310, ankle=100).both(hip=115, knee=95, arm=100)
    )
    end = Pose(trunk=-360.0)
    poses = [STAND, squat, tuck, over, land, low, end]
    if turn > 0:
        poses = [replace(p, trunk=360.0 + p.trunk) for p in poses[::-1]]
    times = [0.7, 1.3, 1.7, 2.2, 2.6, 2.9, 3.6]
    t = _times(4.6, fps)
    joints = on_floor(_joints(times, poses, t), _slide(t, 1.3, 2.9, turn * 1.0))
    return Motion(t, joints, span=(0.7, 3.6))


def cartwheel(
    *, left_knee: float = 180.0, right_knee: float = 180.0, toward_camera: bool = False, lead: str = "left", fps: float = 30.0
) -> Motion:
    """Stand facing the camera, wheel once towards the lead side, stand. The knees keep their angles while upside down.

    Built in the plane seen from the front. A knee bends within that plane (leg turned out), or straight towards the camera.
    """
    t = _times(3.6, fps)
    start, end = 0.9, 2.5
    s = np.clip((t - start) / (end - start), 0, 1)
    s = s * s * (3 - 2 * s)
    apart = np.clip(np.minimum(t - 0.5, 2.9 - t) / 0.4, 0, 1) * 45.0
    bend = np.clip(np.minimum(t - start, end - t) / 0.3, 0, 1)  # full from before the first hand to after the first foot
    sign = 1.0 if lead == "left" else -1.0  # +1 towards the body's own left
    frames = []
    for i in range(len(t)):
        wheel = sign * 360.0 * s[i]
        base = skeleton(replace(ARMS_UP, spread=apart[i], ankle=150.0))
        for side, angle, out in (("left", left_knee, 1.0), ("right", right_knee, -1.0)):
            flex = (180.0 - angle) * bend[i]
            hip = base[INDEX[f"{side}_hip"]]
            axis = aside(tilted(180.0), out * apart[i])
            other = tilted(90.0) if toward_camera else aside(axis, out * 90.0)
            c, sn = np.cos(np.radians(flex / 2)), np.sin(np.radians(flex / 2))
            knee = hip + THIGH * (c * axis + sn * other)
            ankle = knee + SHANK * (c * axis - sn * other)
            shift = ankle - base[INDEX[f"{side}_ankle"]]
            base[INDEX[f"{side}_knee"]], base[INDEX[f"{side}_ankle"]] = knee, ankle
            for part in ("heel", "foot_index"):
                base[INDEX[f"{side}_{part}"]] += shift
        frames.append(np.array([aside(p, -wheel) for p in base]))
    travel = np.stack([0 * t, sign * 1.6 * s, 0 * t], axis=-1)
    joints = on_floor(np.stack(frames), travel)
    hands = np.minimum(joints[:, INDEX["left_wrist"], 2], joints[:, INDEX["right_wrist"], 2])
    down = np.flatnonzero(hands < HAND + 0.02)
    feet = joints[:, [INDEX["left_foot_index"], INDEX["right_foot_index"]], 2].min(axis=1)
    landed = np.flatnonzero((feet < 0.02) & (t > t[down[0]] + 0.4))
    return Motion(t, joints, {"left": left_knee, "right": right_knee}, (float(t[down[0]]), float(t[landed[0]])), (0.5, 2.9))


def wander(rng: np.random.Generator, *, seconds: float = 6.0, fps: float = 30.0) -> Motion:
    """Upright fidgeting: arms and legs move smoothly at random, the trunk sways. None of the four skills."""
    times = list(np.arange(0.0, seconds, 0.4))
    poses = [
        Pose(trunk=rng.normal(0, 10), ankle=100).both(elbow=abs(rng.normal(0, 30)))
        for _ in times
    ]  # fmt: skip
    poses = [replace(p, left_arm=rng.uniform(-20, 170), right_arm=rng.uniform(-20, 170), left_hip=(a := abs(rng.normal(0, 25))), left_knee=a,
                     right_hip=(b := abs(rng.normal(0, 25))), right_knee=b) for p in poses]  # fmt: skip
    t = _times(seconds, fps)
    return Motion(t, on_floor(_joints(times, poses, t)))


def walk(*, seconds: float = 5.0, fps: float = 30.0) -> Motion:
    """Walking past at about 1 m/s, arms swinging."""
    times = list(np.arange(0.0, seconds + 0.5, 0.5))
    poses = []
    for i, _ in enumerate(times):
        a = 1 if i % 2 else -1
        poses.append(
            Pose(
                left_hip=25.0 * a,
                right_hip=-25.0 * a,
                left_knee=10 + 10 * a,
                right_knee=10 - 10 * a,
                left_arm=-25.0 * a,
                right_arm=25.0 * a,
            )
        )
    t = _times(seconds, fps)
    return Motion(t, on_floor(_joints(times, poses, t), np.stack([1.0 * t, 0 * t, 0 * t], axis=-1)))


def forward_fold(*, fps: float = 30.0) -> Motion:
    """Stand, bend forward until the hands touch the floor (hips above shoulders), stay, come up."""
    fold = Pose(trunk=150.0).both(hip=140.0, knee=0.0, arm=160.0)
    t = _times(4.0, fps)
    return Motion(t, on_floor(_joints([0.8, 1.5, 2.5, 3.2], [STAND, fold, fold, STAND], t)))


def film(
    motion: Motion, *, turned: float = 0.0, scale: float = 250.0, size: tuple[int, int] = (1280, 720), tilt: float = 0.0, shift: tuple[float, float] = (0.0, 0.0),
    mirror: bool = False, noise: float = 0.0, dropout: float = 0.0, drift: float = 0.0, rng: np.random.Generator | None = None, source: str = "body.mp4",
) -> Track:  # fmt: skip
    """What a distant camera sees: turned 0 the athlete faces the picture's right, 180 its left, -90 the camera.

    scale: pixels a metre. tilt: phone turned clockwise, degrees. noise: sd in pixels, independent by frame and landmark.
    dropout: share of frames lost. drift: pixels the picture wanders over the clip.
    """
    a = np.radians(turned)
    x = motion.joints[..., 0] * np.cos(a) - motion.joints[..., 1] * np.sin(a)
    away = motion.joints[..., 0] * np.sin(a) + motion.joints[..., 1] * np.cos(a)
    if mirror:
        x = -x
    n = len(motion.t)
    xy = np.stack([x - np.mean(x), -motion.joints[..., 2]], axis=-1) * scale
    b = -np.radians(tilt)
    xy = xy @ np.array([[np.cos(b), np.sin(b)], [-np.sin(b), np.cos(b)]])
    xy = xy + np.array([size[0] / 2 + shift[0], size[1] * 0.85 + shift[1]])
    xy += drift * np.sin(np.linspace(0, 2.0, n))[:, None, None]
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    z = (away - away[:, hips].mean(axis=1, keepdims=True)) * scale
    rng = rng or np.random.default_rng(0)
    xy = xy + noise * rng.standard_normal(xy.shape)
    z = z + 2 * noise * rng.standard_normal(z.shape)
    lost = rng.random(n) < dropout
    xy[lost], z[lost] = np.nan, np.nan
    ones = np.where(lost[:, None], np.nan, np.ones((n, len(NAMES))))
    return Track(motion.t, xy, z, ones, np.where(lost, 0.1, 1.0), np.full((n, len(NAMES)), noise), size, source)
