"""The angles that holds are measured by, from points in the picture and from joints in space (torch); all in radians.

Eight of them: for the left and then the right side hip to ankle and hip to knee (from the trunk round to the leg, 0..2 pi), knee and
shoulder (0..pi). The truth of a hip or shoulder is taken in the body's side plane, as `stage.truth` and a goniometer take it; the picture
tells which way round it is counted.
"""

from __future__ import annotations

import math

import torch

from pipeline.landmarks.near_angles import HIPS, SIDES

from .world import included


def turned(angle: torch.Tensor) -> torch.Tensor:
    """The same angle between -pi and pi."""
    return torch.remainder(angle + math.pi, 2 * math.pi) - math.pi


def _signed(u: torch.Tensor, v: torch.Tensor) -> torch.Tensor:
    return torch.atan2(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0], (u * v).sum(-1))


def seen_angles(xy: torch.Tensor) -> torch.Tensor:
    """(b, 8) of points (b, >= 33, 2) in the picture; the trunk runs between the middles of hips and shoulders."""
    trunk = (xy[:, 11] + xy[:, 12] - xy[:, 23] - xy[:, 24]) / 2
    out = []
    for shoulder, elbow, hip, knee, ankle in SIDES:
        out += [torch.remainder(_signed(trunk, xy[:, end] - xy[:, hip]), 2 * math.pi) for end in (ankle, knee)]
        out.append(_signed(xy[:, hip] - xy[:, knee], xy[:, ankle] - xy[:, knee]).abs())
        out.append(_signed(xy[:, elbow] - xy[:, shoulder], xy[:, hip] - xy[:, shoulder]).abs())
    return torch.stack(out, 1)


def other_side(angles: torch.Tensor, *, added: bool = False) -> torch.Tensor:
    """Angles (b, 8) of a mirrored body as those of the body itself; added: what is added to angles."""
    left, right = angles[:, :4], angles[:, 4:]
    out = torch.cat([right, left], 1)
    out[:, HIPS] = (0 if added else 2 * math.pi) - out[:, HIPS]
    return out


def true_angles(world: torch.Tensor, xy: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """(b, 8) of joints (b, 33, 3) in the crop's axes, and (b,) whether hips are counted the other way than round the body's front.

    xy: (b, 33, 2) where the joints lie in the crop. A hip counts round as it does there.
    """
    across = world[:, 23] - world[:, 24]
    across = across / across.norm(dim=-1, keepdim=True)

    def directed(u: torch.Tensor, v: torch.Tensor) -> torch.Tensor:
        u, v = (w - across * (w * across).sum(-1, keepdim=True) for w in (u, v))
        return torch.remainder(torch.atan2((torch.linalg.cross(u, v) * across).sum(-1), (u * v).sum(-1)), 2 * math.pi)

    out = []
    for shoulder, elbow, hip, knee, ankle in SIDES:
        out += [directed(world[:, shoulder] - world[:, hip], world[:, end] - world[:, hip]) for end in (ankle, knee)]
        out.append(included(world, (hip, knee, ankle)))
        opened = directed(world[:, elbow] - world[:, shoulder], world[:, hip] - world[:, shoulder])
        out.append(torch.minimum(opened, 2 * math.pi - opened))
    angles, seen = torch.stack(out, 1), seen_angles(xy)[:, HIPS]
    off = lambda hips: turned(hips - seen).abs().sum(1)  # noqa: E731
    hips = angles[:, HIPS]
    other = off(2 * math.pi - hips) < off(hips)
    angles[:, HIPS] = torch.where(other[:, None], 2 * math.pi - hips, hips)
    return angles, other


def in_crop(within: torch.Tensor) -> torch.Tensor:
    """(b, 8) 1 where every point that an angle is seen by lies in the crop. within: (b, 33) 1 or 0."""
    all_of = lambda *points: within[:, list(points)].amin(1)  # noqa: E731
    out = []
    for shoulder, elbow, hip, knee, ankle in SIDES:
        out += [all_of(11, 12, hip, ankle), all_of(11, 12, hip, knee), all_of(hip, knee, ankle), all_of(elbow, shoulder, hip)]
    return torch.stack(out, 1)
