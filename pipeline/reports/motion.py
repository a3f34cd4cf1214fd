"""Where an attempt's joints are in its moving picture: the file beside it, read and checked. Knows no video."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from pipeline.landmarks.track import INDEX

FOLDER = "pictures"


@dataclass(frozen=True)
class Motion:
    """What the page needs to draw over the moving picture."""

    start_s: float  # the clip's time of the first frame
    width: int
    height: int
    t: list[float]  # seconds from the first frame
    points: dict[str, list[list[float] | None]]  # by landmark: [x, y] in each frame, or null where it is not seen
    lines: dict[str, list[str]]  # by detail and side: the landmarks joined by the measured line, in order


def line_key(detail: str, side: str) -> str:
    """The name of a reading's line."""
    return f"{detail}-{side}" if side else detail


def read_motion(path: Path) -> Motion | None:
    """The motion beside a moving picture; None where it is missing or not what this version writes."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        times = [float(t) for t in data["t"]]
        points = {name: [None if p is None else [float(p[0]), float(p[1])] for p in data["points"][name]] for name in data["points"]}
        lines = {str(key): [str(name) for name in names] for key, names in data["lines"].items()}
        motion = Motion(float(data["start_s"]), int(data["width"]), int(data["height"]), times, points, lines)
    except (OSError, ValueError, KeyError, TypeError, IndexError, AttributeError):
        return None
    whole = set(points) <= set(INDEX) and all(len(p) == len(times) for p in points.values())
    return motion if whole and all(set(names) <= set(points) for names in lines.values()) else None
