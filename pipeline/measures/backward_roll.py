"""The backward roll from the feet passing overhead to standing: how far the knees stay off the floor, or how long they rest on it."""

from __future__ import annotations

import numpy as np

from pipeline.attempts.floor import RESTS
from pipeline.geometry import length
from pipeline.landmarks.track import INDEX
from pipeline.measures import words
from pipeline.measures.angles import names, problem_of
from pipeline.measures.reading import Reading
from pipeline.measures.scene import Scene
from pipeline.measures.uncertainty import PASSES_SHARE, Evidence, Table, make_reading
from pipeline.vocabulary import Side, Skill

# The knee's underside lies this share of the shank below the joint's centre when it rests on the floor, and a little more the higher
# it is (the shin's top hangs lower than the kneecap). Fitted on rendered bodies of 5 to 18 years; sd 1.5 % of the shank.
KNEE_RADIUS, KNEE_RADIUS_RISE = 0.115, 0.075
TOUCHING = 4.0  # % of the shank; a knee this near rests on the mat, which gives
REST_NEAR_S = 0.4  # how near in time a resting foot or hand tells of the floor
MOST_OFF = 0.3  # trunks; higher than this over the floor line nothing rests
TOGETHER = 0.06  # trunks; resting points lie this close to the lowest of them
BOTH = (Side.LEFT, Side.RIGHT)


def shank_pixels(scene: Scene) -> float:
    """The athlete's own shank: its longest appearance over the attempt (a high quantile), the longer of the two sides."""
    lengths = [length(scene.p(side, "knee"), scene.p(side, "ankle")) for side in BOTH]
    known = [float(np.nanquantile(v, 0.85)) for v in lengths if np.isfinite(v).any()]
    return max(known) if known else float("nan")


def local_floor(scene: Scene, side: Side) -> np.ndarray:
    """(n,) pixels by which the floor under this side of the body lies above the clip's floor line, moment by moment.

    In a roll something always rests on the floor; what rests near in time and on the same side shows the floor where the knee is,
    whatever the camera's drift and the depth. The middle of those resting heights within REST_NEAR_S; 0 where none were seen.
    """
    rests = [scene.height[:, INDEX[f"{side}_{part}"]] - above * scene.unit for part, above in RESTS.items()]
    lowest = np.fmin.reduce(rests)
    out = np.zeros(len(scene.t))
    for k, now in enumerate(scene.t):
        about = lowest[np.abs(scene.t - now) < REST_NEAR_S]
        about = about[np.isfinite(about) & (about < MOST_OFF * scene.unit)]
        if len(about) >= 4:
            base = np.quantile(about, 0.1)
            out[k] = np.median(about[about < base + TOGETHER * scene.unit])
    return out


def clearance(scene: Scene, side: Side) -> np.ndarray:
    """(n,) height of a knee's underside above the floor, % of the shank; NaN where knee or floor is not known."""
    centre = (scene.height[:, INDEX[f"{side}_knee"]] - local_floor(scene, side)) / shank_pixels(scene)
    return 100 * (centre - KNEE_RADIUS) / (1 + KNEE_RADIUS_RISE)


def lower_knee(scene: Scene) -> tuple[np.ndarray, Side]:
    """(n,) clearance of the lower knee in each frame, and the side that gets lowest. In a side view the nearer knee is trusted:
    the far one counts only where it is seen lower by more than the passes disagree."""
    near, far = clearance(scene, scene.near), clearance(scene, _other(scene.near))
    doubt = 100 * PASSES_SHARE * scene.noise((_other(scene.near), "knee"))[:, 0] / shank_pixels(scene)
    with np.errstate(invalid="ignore"):
        lower = np.where(np.isfinite(near) & ~(far < near - 2 * doubt - 5.0), near, far)
    side = scene.near
    window = scene.key & np.isfinite(lower)
    if window.any():
        i = np.flatnonzero(window)[np.argmin(lower[window])]
        side = scene.near if lower[i] == near[i] else _other(scene.near)
    return lower, side


def _other(side: Side) -> Side:
    return Side.RIGHT if side is Side.LEFT else Side.LEFT


def frame_sd(scene: Scene, side: Side) -> np.ndarray:
    """(n,) % of the shank: what jitter, passes and floor leave open in one frame's clearance."""
    i = INDEX[f"{side}_knee"]
    floor = scene.floor.sd / 2 if scene.floor is not None else 0.0
    parts = (np.nan_to_num(scene.jitter[:, i]), PASSES_SHARE * np.nan_to_num(scene.disagreement[:, i]), np.full(len(scene.t), floor))
    return 100 * np.sqrt(sum(p**2 for p in parts)) / shank_pixels(scene)


def readings(scene: Scene, table: Table) -> list[Reading]:
    """Knee clearance (never below the floor) and the time a knee rests on it."""
    lower, side = lower_knee(scene)
    window = scene.key
    frames, t = lower[window], scene.t[window]
    ok = np.isfinite(frames)
    share = float(ok.mean()) if len(ok) else 0.0
    problem = problem_of(scene, share, "knees", "way from feet overhead to standing", words.SIDE_VIEW)
    if not problem and scene.floor is None:
        problem = words.no_floor()
    line = names((side, "hip"), (side, "knee"), (side, "ankle"))
    if problem or not ok.any():
        evidence = Evidence(float("nan"), usable=share, line=line, problem=problem)
        return [make_reading(Skill.BACKWARD_ROLL, detail, Side.NONE, evidence, table) for detail in ("knee_clearance", "knee_contact_time")]
    sd = frame_sd(scene, side)[window]
    i = int(np.flatnonzero(ok)[np.argmin(frames[ok])])
    lowest = float(frames[i])
    found = Evidence(max(lowest, 0.0), spread=float(sd[i]), usable=share, at_s=float(t[i]), line=line, limits=(0.0, np.inf))
    return [
        make_reading(Skill.BACKWARD_ROLL, "knee_clearance", Side.NONE, found, table),
        _contact(frames, sd, t, share, line, float(t[i]), table),
    ]


def _contact(frames: np.ndarray, sd: np.ndarray, t: np.ndarray, share: float, line: tuple[str, ...], at: float, table: Table) -> Reading:
    """Seconds a knee rests on the floor; the interval asks how long if every height were off by its doubt, up or down, and never
    reaches less far than the time between two frames: a touch shorter than that is not seen.

    The table's row for the time says how many sds of the heights that doubt is (`factor`) and what the edges of a touch add (`sd`).
    """
    model, known = table[(Skill.BACKWARD_ROLL, "knee_clearance")], table[(Skill.BACKWARD_ROLL, "knee_contact_time")]
    doubt = known.factor * np.sqrt(model.sd**2 + sd**2)
    level = frames + model.bias
    value, longest, shortest = (_time_below(t, level + by, TOUCHING) for by in (0.0, -doubt, doubt))
    edge = 1.96 * known.sd if longest > 0 else 0.0
    unseen = float(np.median(np.diff(t))) if len(t) > 1 else 0.0
    low, high = max(0.0, min(shortest, value - edge)), max(longest, value + max(edge, unseen))
    return Reading("knee_contact_time", Side.NONE, value, low, high, "s", share, "", at, line)


def _time_below(t: np.ndarray, level: np.ndarray, limit: float) -> float:
    """Seconds for which a level lies below a limit, crossings interpolated; gaps count as above."""
    ok = np.isfinite(level)
    t, level = t[ok], level[ok]
    if len(t) < 2:
        return 0.0
    a, b, step = level[:-1] - limit, level[1:] - limit, np.diff(t)
    step = np.where(step > 0.3, 0.0, step)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where((a < 0) & (b < 0), 1.0, np.where(a < 0, a / (a - b), np.where(b < 0, b / (b - a), 0.0)))
    return float(np.sum(step * part))
