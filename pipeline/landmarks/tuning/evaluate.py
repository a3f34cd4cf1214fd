"""Rulers + model files -> one table: the original beside the tuned, same code, same crops. Runs the files themselves, through LiteRT."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from pipeline.landmarks.heatmaps import refine
from pipeline.landmarks.net import LandmarkNet

from .convention import MODEL_HEIGHT, offsets
from .rulers import Ruler

KNEE, HIP_KNEE, HIP_ANKLE, SHOULDER = (
    ((23, 25, 27), (24, 26, 28)),
    ((11, 23, 25), (12, 24, 26)),
    ((11, 23, 27), (12, 24, 28)),
    ((13, 11, 23), (14, 12, 24)),
)
PARTS = {"shoulder": (11, 12), "elbow": (13, 14), "wrist": (15, 16), "hip": (23, 24), "knee": (25, 26), "ankle": (27, 28)}
WITHIN = 0.2  # torsos
LOST = 0.6  # torsos; a frame with any shoulder, hip, knee or ankle farther away is lost
TRUNK = 0.47  # metres from hips to shoulders of a body as tall as MODEL_HEIGHT; from memory of the family's own world landmarks
EIGHT = [11, 12, 23, 24, 25, 26, 27, 28]


def run_model(path: Path, crops: np.ndarray) -> dict[str, np.ndarray]:
    """Points (n, 33, 2), presence (n,), and milliseconds of processor time a crop."""
    net, points, presence, begun = LandmarkNet(path), [], [], time.process_time()
    for crop in crops:
        raw, there, heatmaps = net.raw(crop)
        points.append(refine(raw[:, :2], heatmaps)[0][:33] - 0.5)
        presence.append(there)
    return {
        "xy": np.array(points),
        "presence": np.array(presence),
        "ms": np.array(1000 * (time.process_time() - begun) / max(1, len(crops))),
    }


def directed(xy: np.ndarray, corners: tuple[int, int, int]) -> np.ndarray:
    """(n, 33, 2) -> (n,) angle at the middle corner, degrees 0..360, so that an arched hip does not fold onto a piked one."""
    u, v = xy[:, corners[0]] - xy[:, corners[1]], xy[:, corners[2]] - xy[:, corners[1]]
    return np.degrees(np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(1))) % 360


def angle_error(xy: np.ndarray, truth: np.ndarray, corners: tuple[int, int, int]) -> np.ndarray:
    """(n,) degrees, wrapped to -180..180; positive: read more open than it is (toward 180 from either side is open)."""
    got, want = directed(xy, corners), directed(truth, corners)
    error = (got - want + 180) % 360 - 180
    return np.where(want > 180, -error, error)


def moved(xy: np.ndarray, ruler: Ruler, *, to_family: bool) -> np.ndarray:
    """Shoulders and hips moved along the true trunk from joint centres to where the family marks them, or back.

    Only the part along the trunk: which way a person faces is not known from keypoints.
    """
    out, trunk = xy.copy(), ruler.truth[:, 11:13].mean(1) - ruler.truth[:, 23:25].mean(1)
    for j in (11, 12, 23, 24):
        out[:, j] += (1 if to_family else -1) * trunk * offsets()[j, 2] * MODEL_HEIGHT / 1.6 / TRUNK
    return out


def figures(seen: dict[str, np.ndarray], ruler: Ruler) -> dict[str, float]:
    """The rows of the table for one model. Angles in the picture's plane; near and far by the camera's side."""
    xy, truth, out = seen["xy"], ruler.truth, {}
    error = np.linalg.norm(xy - truth, axis=2) / ruler.torso[:, None]
    of: Callable[[str], np.ndarray] = lambda name: ruler.group == name  # noqa: E731

    def sided(name: str, group: str, chains: tuple, *, bias: bool = False) -> None:
        off = np.stack([angle_error(xy, truth, c) for c in chains], 1)
        for label, side in (("near", ruler.near), ("far", 1 - ruler.near)):
            values = off[np.arange(len(off)), side.clip(0)][of(group) & (ruler.near >= 0)]
            out[f"{name}, {label}, median error"] = float(np.median(abs(values)))
            clips = ruler.source[of(group) & (ruler.near >= 0)]
            out[f"{name}, {label}, one value a clip, mean error"] = float(
                np.mean([abs(np.median(values[clips == c])) for c in np.unique(clips)])
            )
        if bias:
            both = off[of(group)].ravel()
            out[f"{name}, bias (median)"], out[f"{name}, 95th percentile"] = float(np.median(both)), float(np.quantile(abs(both), 0.95))

    if of("backward_roll").any():
        sided("roll tucked knee", "backward_roll", KNEE)
        lost = (error[of("backward_roll")][:, EIGHT] > LOST).any(1) | (seen["presence"][of("backward_roll")] < 0.5)
        out["roll frames lost %"] = 100 * float(lost.mean())
    if of("shoulder_stand").any():
        sided("shoulder-stand hip", "shoulder_stand", HIP_ANKLE)
    if of("cartwheel").any():
        sided("cartwheel knee", "cartwheel", KNEE, bias=True)
    if of("lunge").any():
        sided("lunge hip", "lunge", HIP_KNEE)
        sided("lunge knee", "lunge", KNEE)
        sided("lunge shoulder", "lunge", SHOULDER)
    for group in sorted({g for g in ruler.group if g.startswith("real")}, key=lambda g: int(g.split()[1])):
        for part, pair in PARTS.items():
            here = error[of(group)][:, pair]
            out[f"{group} deg: {part} within {WITHIN} torso %"] = 100 * float((here[np.isfinite(here)] < WITHIN).mean())
        if group == "real 0":  # annotators mark neither convention: say both
            for word, to_family in (("moved to joint centres", False), ("moved to the family's marks", True)):
                shifted = np.linalg.norm(moved(xy, ruler, to_family=to_family) - truth, axis=2) / ruler.torso[:, None]
                for part in ("shoulder", "hip"):
                    out[f"{group} deg: {part} {word} %"] = 100 * float((shifted[of(group)][:, PARTS[part]] < WITHIN).mean())
        here = error[of(group)][:, [j for pair in PARTS.values() for j in pair]]
        out[f"{group} deg: all six within {WITHIN} torso %"] = 100 * float((here[np.isfinite(here)] < WITHIN).mean())
        out[f"{group} deg: found %"] = 100 * float((seen["presence"][of(group)] > 0.5).mean())
    if of("nobody").any():
        out["nobody: called a person %"] = 100 * float((seen["presence"][of("nobody")] > 0.5).mean())
        out["nobody: mean presence"] = float(seen["presence"][of("nobody")].mean())
    out["ms a crop"] = float(seen["ms"])
    return out


def table(models: dict[str, Path], rulers: list[Ruler]) -> dict[str, dict[str, float]]:
    """{row: {model: value}} over all rulers, and the files' sizes."""
    rows: dict[str, dict[str, float]] = {}
    for name, path in models.items():
        for ruler in rulers:
            for row, value in figures(run_model(path, ruler.crops), ruler).items():
                rows.setdefault(row, {})[name] = value
        rows.setdefault("file, MB", {})[name] = path.stat().st_size / 1e6
    return rows


def as_text(rows: dict[str, dict[str, float]]) -> str:
    """A Markdown table."""
    names = list(next(iter(rows.values())))
    lines = ["| | " + " | ".join(names) + " |", "|---|" + "---|" * len(names)]
    lines += [f"| {row} | " + " | ".join(f"{values[n]:.1f}" if n in values else "" for n in names) + " |" for row, values in rows.items()]
    return "\n".join(lines)
