"""Reading points from heatmaps whose centre is known, and against the loop they replace."""

import numpy as np
from numpy.testing import assert_allclose

from pipeline.landmarks.heatmaps import refine


def logit(p):
    return np.log(p) - np.log1p(-p)


def drawn(cx, cy, n=64, sigma=1.2):
    y, x = np.mgrid[:n, :n]
    return logit(np.clip(0.95 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * sigma**2)), 1e-9, 1 - 1e-9))


def test_a_symmetric_blob_gives_its_middle_from_a_point_a_cell_away():
    heatmaps = np.stack([drawn(20, 41), drawn(33, 12)], axis=2)
    start = np.array([[20 * 4 + 3.9, 41 * 4 + 0.1], [33 * 4 + 1.0, 12 * 4 + 2.0]])
    points, peak = refine(start, heatmaps)
    assert_allclose(points, [[80, 164], [132, 48]], atol=0.02)
    assert_allclose(peak, 0.95, atol=1e-6)


def test_centre_of_mass_of_two_cells_is_exact():
    heatmap = np.full((64, 64, 1), -60.0)
    heatmap[30, 30, 0], heatmap[30, 31, 0] = logit(0.9), logit(0.6)  # rows first
    points, _ = refine(np.array([[30 * 4.0 + 1, 30 * 4.0 + 1]]), heatmap)
    assert_allclose(points[0], [4 * (30 * 0.9 + 31 * 0.6) / 1.5, 4 * 30], atol=1e-9)


def test_a_faint_heatmap_or_a_point_outside_leaves_the_point():
    heatmaps = np.stack([np.full((64, 64), logit(0.3)), drawn(5, 5)], axis=2)
    start = np.array([[100.0, 50.0], [-3.0, 300.0]])
    points, peak = refine(start, heatmaps)
    assert_allclose(points, start)
    assert peak[1] == 0


def test_the_edge_of_the_map_cuts_the_window():
    rng = np.random.default_rng(3)
    heatmaps, points = rng.normal(size=(64, 64, 30)) * 3, rng.uniform(0, 255.9, (30, 2))
    points[:4] = [[0, 0], [255.9, 255.9], [3, 130], [251, 2]]
    got, _ = refine(points, heatmaps)
    for k, (x, y) in enumerate(points):  # the plain loop
        cx, cy = int(x / 4), int(y / 4)
        x0, x1, y0, y1 = max(cx - 3, 0), min(cx + 4, 64), max(cy - 3, 0), min(cy + 4, 64)
        c = 1 / (1 + np.exp(-heatmaps[y0:y1, x0:x1, k]))
        want = [4 * (c.sum(0) * np.arange(x0, x1)).sum() / c.sum(), 4 * (c.sum(1) * np.arange(y0, y1)).sum() / c.sum()]
        assert_allclose(got[k], want if c.max() >= 0.5 else [x, y], atol=1e-9)
