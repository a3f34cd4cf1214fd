"""How far a knee bends towards the camera: bodies placed by hand before a camera whose direction is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.bench.figures import knees_in_plane
from pipeline.bench.in_plane import COLUMN, bend_toward, in_plane, view_directions, with_toward
from pipeline.landmarks.track import INDEX, NAMES, N


def leg(bent: float, azimuth: float) -> np.ndarray:
    """(1, 33, 3) joints about a body, the left leg upwards and bent by `bent` degrees towards `azimuth`: 0 to the side, 90 at the camera (-y)."""
    world = np.random.default_rng(3).normal(0, 0.3, (1, N, 3))
    way, half = np.array([np.cos(np.radians(azimuth)), -np.sin(np.radians(azimuth)), 0.0]), np.radians(bent / 2)
    up = np.array([0.0, 0.0, 1.0])
    knee = np.array([0.1, 0.0, 0.8])
    world[0, INDEX["left_knee"]] = knee
    world[0, INDEX["left_hip"]] = knee - 0.4 * (np.cos(half) * up + np.sin(half) * way)
    world[0, INDEX["left_ankle"]] = knee + 0.4 * (np.cos(half) * up - np.sin(half) * way)
    return world


def picture(world: np.ndarray, turned: float = 0.0) -> np.ndarray:
    """(n, 33, 2) pixels of a camera far away that looks along y, turned about the vertical."""
    a = np.radians(turned)
    across = np.array([np.cos(a), np.sin(a), 0.0])
    return np.stack([500 + 300 * world @ across, 400 - 300 * world[..., 2]], axis=-1)


@pytest.mark.parametrize(("azimuth", "toward"), [(0.0, 0.0), (90.0, 40.0), (45.0, 40 * np.sqrt(0.5)), (-90.0, 40.0)])
def test_the_part_of_a_bend_along_the_view(azimuth: float, toward: float) -> None:
    world = leg(40.0, azimuth)
    bent, along = bend_toward(picture(world), world, "left")
    assert bent == pytest.approx([40.0], abs=1e-6) and along == pytest.approx([toward], abs=1e-3)


def test_another_view_sees_another_part() -> None:
    world = leg(40.0, 0.0)
    np.testing.assert_allclose(np.abs(view_directions(picture(world, 30.0), world)), [[0.5, np.sqrt(0.75), 0.0]], atol=1e-6)
    assert bend_toward(picture(world, 30.0), world, "left")[1] == pytest.approx([20.0], abs=1e-3)


def test_the_most_bent_moment_of_the_window_counts(tmp_path) -> None:
    """Three frames: bent sideways by 30, at the camera by 40, and, outside the window, sideways by 60."""
    world = np.concatenate([leg(30.0, 0.0), leg(40.0, 90.0), leg(60.0, 0.0)])
    xy = picture(world)
    columns = {"t": [0.0, 0.1, 0.2]}
    for name in NAMES:
        i = INDEX[name]
        columns |= {
            f"{name}_x": xy[:, i, 0],
            f"{name}_y": xy[:, i, 1],
            f"{name}_wx": world[:, i, 0],
            f"{name}_wy": world[:, i, 1],
            f"{name}_wz": world[:, i, 2],
        }
    (tmp_path / "truth").mkdir()
    pd.DataFrame(columns).to_csv(tmp_path / "truth" / "one.csv", index=False)
    row = {"clip": "one", "skill": "cartwheel", "side": "left", "key_start_s": 0.0, "key_end_s": 0.1}
    told = with_toward(
        pd.DataFrame([{**row, "detail": "knee_angle"}, {**row, "detail": "toe_point"}, {**row, "clip": "none", "detail": "knee_angle"}]),
        tmp_path,
    )
    assert told[COLUMN].iloc[0] == pytest.approx(40.0, abs=1e-2) and told[COLUMN].iloc[1:].isna().all()
    assert in_plane(told[COLUMN]).tolist() == [False, True, True]


def test_what_is_printed_parts_the_two() -> None:
    row = {"skill": "cartwheel", "detail": "knee_angle", "true": 170.0, "low": 160.0, "high": 180.0}
    rows = pd.DataFrame(
        [
            {**row, "reading": 172.0, COLUMN: 2.0},
            {**row, "reading": 166.0, COLUMN: 10.0},
            {**row, "reading": 175.0, "true": 150.0, COLUMN: 25.0},
        ]
    )
    said = knees_in_plane(rows)
    assert "2 legs, mean error 3.0 degrees, bias -1.0" in said and "1 legs, mean error 25.0 degrees, bias +25.0" in said
    assert "held 100 %" in said and "held 0 %" in said
    assert "none was read" in knees_in_plane(rows.assign(reading=np.nan))
