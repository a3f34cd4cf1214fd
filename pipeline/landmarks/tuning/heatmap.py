"""Regressed points + heatmaps -> refined points, as the model family expects, differentiable in the heatmaps (torch)."""

from __future__ import annotations

import torch

WINDOW, LEAST = 7, 0.5


def refine(points: torch.Tensor, heatmap: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Move each point to the weighted middle of its heatmap in a 7 x 7 window, where that reaches a confidence of 0.5.

    points : (b, k, >= 2) crop pixels; heatmap : (b, h, w, k) logits.
    Returns refined (b, k, 2), whether refined (b, k) bool, and the window's highest confidence (b, k).
    """
    batch, height, width, count = heatmap.shape
    at = points[..., :2].detach() / 256.0
    column, row = torch.trunc(at[..., 0] * width), torch.trunc(at[..., 1] * height)
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    steps = torch.arange(-(WINDOW // 2), WINDOW // 2 + 1, device=heatmap.device)
    columns, rows = column.long()[..., None] + steps, row.long()[..., None] + steps
    ok_columns, ok_rows = (columns >= 0) & (columns < width), (rows >= 0) & (rows < height)
    flat = rows.clamp(0, height - 1)[..., :, None] * width + columns.clamp(0, width - 1)[..., None, :]
    planes = heatmap.permute(0, 3, 1, 2).reshape(batch, count, height * width)
    seen = torch.sigmoid(torch.gather(planes, 2, flat.reshape(batch, count, -1))).reshape(batch, count, WINDOW, WINDOW)
    seen = seen * (ok_rows[..., :, None] & ok_columns[..., None, :])
    total, highest = seen.sum((2, 3)), seen.amax((2, 3))
    x = (seen.sum(2) * columns).sum(-1) / total.clamp(min=1e-6) * (256 / width)
    y = (seen.sum(3) * rows).sum(-1) / total.clamp(min=1e-6) * (256 / height)
    use = inside & (highest >= LEAST) & (total > 0)
    return torch.stack([torch.where(use, x, points[..., 0]), torch.where(use, y, points[..., 1])], -1), use, highest
