"""Turning, zooming, mirroring and colouring batches of crops on the GPU, with everything that is known about them (torch).

A view is an affine map of crop pixels about the crop's middle: new = turn @ (old - middle) + middle + shift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
import torch.nn.functional as F

from .convention import mirror_order
from .labels import JOINTS, SIZE

MIRRORED = mirror_order()


@dataclass(frozen=True)
class View:
    """How b crops are seen anew: turned, shifted, zoomed, mirrored about their middle."""

    turn: torch.Tensor  # (b, 2, 2) rotation * zoom * mirror
    shift: torch.Tensor  # (b, 2) pixels
    zoom: torch.Tensor  # (b,)
    flipped: torch.Tensor  # (b,) bool

    @classmethod
    def random(
        cls, batch: int, device: str, *, degrees: float, zoom: float, shift: float, flip: bool = True, any_turn: float = 0.0
    ) -> View:
        """Uniform in +-degrees, zoom exp(+-zoom), +-shift pixels; a share `any_turn` is turned by any angle."""
        u = lambda *shape: torch.rand(*shape, device=device) * 2 - 1  # noqa: E731
        angle = u(batch) * math.radians(degrees)
        angle = torch.where(torch.rand(batch, device=device) < any_turn, u(batch) * math.pi, angle)
        flipped = torch.rand(batch, device=device) < 0.5 if flip else torch.zeros(batch, dtype=torch.bool, device=device)
        c, s, f, z = torch.cos(angle), torch.sin(angle), torch.where(flipped, -1.0, 1.0), torch.exp(u(batch) * zoom)
        turn = torch.stack([torch.stack([c * f, -s], -1), torch.stack([s * f, c], -1)], -2) * z[:, None, None]
        return cls(turn, u(batch, 2) * shift, z, flipped)

    def picture(self, x: torch.Tensor, size: int = SIZE) -> torch.Tensor:
        """x (b, c, s, s), same middle and scale -> (b, c, size, size); black beyond the edge."""
        back = torch.linalg.inv(self.turn)
        map_ = torch.cat([back * (size / x.shape[-1]), -(back @ (self.shift * 2 / x.shape[-1])[:, :, None])], 2)
        grid = F.affine_grid(map_, [len(x), x.shape[1], size, size], align_corners=False)
        return F.grid_sample(x, grid, mode="bilinear", padding_mode="zeros", align_corners=False)

    def points(self, p: torch.Tensor) -> torch.Tensor:
        """(b, k, 2) crop pixels, sides not yet exchanged."""
        return (p - SIZE / 2) @ self.turn.transpose(1, 2) + SIZE / 2 + self.shift[:, None]

    def unpoints(self, p: torch.Tensor) -> torch.Tensor:
        """The inverse of `points`."""
        return (p - SIZE / 2 - self.shift[:, None]) @ torch.linalg.inv(self.turn).transpose(1, 2) + SIZE / 2

    def inverse(self) -> View:
        """The view that undoes this one; sides are exchanged again by `sides`."""
        turn = torch.linalg.inv(self.turn)
        return View(turn, -(turn @ self.shift[:, :, None])[:, :, 0], 1 / self.zoom, self.flipped)

    def of_finer(self, times: float) -> View:
        """For `picture` alone: the same view of pictures that have `times` as many pixels a side of what points are given in."""
        return View(self.turn / times, self.shift, self.zoom, self.flipped)

    def world(self, w: torch.Tensor) -> torch.Tensor:
        """(b, k, 3) metres, turned and mirrored but not zoomed."""
        return torch.cat([w[..., :2] @ (self.turn / self.zoom[:, None, None]).transpose(1, 2), w[..., 2:]], -1)

    def sides(self, values: torch.Tensor) -> torch.Tensor:
        """(b, 33, ...) with left and right exchanged where the view is mirrored."""
        return torch.where(self.flipped.view(-1, *[1] * (values.ndim - 1)), values[:, MIRRORED], values)


def colour(x: torch.Tensor) -> torch.Tensor:
    """Other exposure and white balance; black beyond the edge stays black."""
    b, device = len(x), x.device
    gain = torch.exp(torch.randn(b, 3, 1, 1, device=device) * 0.06 + torch.randn(b, 1, 1, 1, device=device) * 0.15)
    return (x * gain + torch.randn(b, 1, 1, 1, device=device) * 0.03 * (x > 0)).clamp(0, 1)


def restyle(x: torch.Tensor) -> torch.Tensor:
    """Other clothes, light and camera for real crops: hue and saturation turned, gamma, small size, noise, each some of the time."""
    b, device = len(x), x.device
    sometimes = lambda share: (torch.rand(b, 1, 1, 1, device=device) < share).float()  # noqa: E731
    grey = x.mean(1, keepdim=True)
    angle = (torch.rand(b, device=device) * 2 - 1) * math.pi * sometimes(0.4)[:, 0, 0, 0]
    c, s = torch.cos(angle), torch.sin(angle) / math.sqrt(3)
    near, left, right = c + (1 - c) / 3, (1 - c) / 3 - s, (1 - c) / 3 + s  # rotation about the grey axis
    turn = torch.stack([torch.stack(row, -1) for row in ((near, left, right), (right, near, left), (left, right, near))], -2)
    colourful = 1 + (torch.rand(b, 1, 1, 1, device=device) * 1.8 - 1) * sometimes(0.5)
    x = grey + colourful * (torch.einsum("bij,bjhw->bihw", turn, x) - grey)
    x = x.clamp(1e-3, 1) ** torch.exp((torch.rand(b, 1, 1, 1, device=device) * 2 - 1) * 0.5 * sometimes(0.6))
    smaller = F.interpolate(
        F.interpolate(x, scale_factor=float(torch.empty(1).uniform_(0.28, 0.8)), mode="area"), size=x.shape[-2:], mode="bilinear"
    )
    blurred = sometimes(0.35)
    x = smaller * blurred + x * (1 - blurred)
    return x + torch.randn_like(x) * 0.03 * torch.rand(b, 1, 1, 1, device=device) * sometimes(0.6)


def borrow_light(x: torch.Tensor, others: torch.Tensor, share: float) -> torch.Tensor:
    """Some of the crops with the slow changes of brightness and colour of other pictures: the low frequencies' strength, not their phase."""
    b, device = len(x), x.device
    ours, theirs = torch.fft.rfft2(x), torch.fft.rfft2(others[torch.randint(len(others), (b,), device=device)])
    size = x.shape[-1]
    rows = torch.fft.fftfreq(size, 1 / size, device=device).abs()
    far = torch.maximum(rows[:, None], torch.arange(size // 2 + 1, device=device)[None])
    reach = torch.randint(0, 5, (b, 1, 1, 1), device=device)
    much = torch.rand(b, 1, 1, 1, device=device) * 0.7 * (torch.rand(b, 1, 1, 1, device=device) < share)
    gain = theirs.abs() / (ours.abs() + 1e-3)
    return torch.fft.irfft2(
        ours * torch.where(far <= reach, 1 + much * (gain.clamp(0.2, 5) - 1), torch.ones_like(gain)), s=x.shape[-2:]
    ).clamp(0, 1)


def stand_in_front(x: torch.Tensor, known: dict, wide: torch.Tensor, mask: torch.Tensor, share: float) -> tuple[torch.Tensor, dict]:
    """Real people cut out of `wide` (b, 3, 384, 384) by `mask` (b, 1, 256, 256) at the edge of some drawn crops, as spotters and passers-by are.

    Joints they cover are hidden from then on; where they would cover more than a third of the main joints, nobody is added.
    """
    b, device = len(x), x.device
    where = View.random(b, device, degrees=20, zoom=0.35, shift=0)
    around = torch.rand(b, device=device) * 2 * math.pi
    off = (0.3 + 0.4 * torch.rand(b, device=device)) * SIZE
    where = View(where.turn, torch.stack([torch.cos(around), torch.sin(around)], 1) * off[:, None], where.zoom, where.flipped)
    person, shape = where.picture(wide), where.picture(mask)
    at = (known["xy"] / SIZE * 2 - 1)[:, None]
    covered = F.grid_sample(shape, at, align_corners=False)[:, 0, 0] > 0.5
    main = covered[:, list(JOINTS)].float().mean(1)
    fits = (main < 0.34) & (known["person"] > 0) & (torch.rand(b, device=device) < share)
    x = torch.where(fits[:, None, None, None], x * (1 - shape) + person * shape, x)
    return x, dict(known, seen=torch.where(covered & fits[:, None], torch.zeros_like(known["seen"]), known["seen"]))


def carried(view: View, known: dict) -> dict:
    """What is known of crops (as labels.split gives), moved with a view of them; what is seen beyond its edge is said to be seen still."""
    out = dict(known, xy=view.points(known["xy"]), aux=view.points(known["aux"]), world=view.world(known["world"]))
    out["z"], out["torso"] = known["z"] * view.zoom[:, None], known["torso"] * view.zoom
    for name in ("xy", "z", "seen", "marked", "framed", "world"):
        out[name] = view.sides(out[name])
    return out


def look_again(x: torch.Tensor, known: dict) -> tuple[torch.Tensor, dict]:
    """A slightly moved, half the time mirrored, recoloured version of drawn crops and their labels (as labels.split gives)."""
    view = View.random(len(x), x.device, degrees=9, zoom=0.08, shift=4)
    out = carried(view, known)
    beyond = ((out["xy"] < 0) | (out["xy"] >= SIZE)).any(-1)
    out["seen"] = torch.where(beyond, torch.zeros_like(out["seen"]), out["seen"])
    return colour(view.picture(x)), out


def scrambled(x: torch.Tensor, tiles: int) -> torch.Tensor:
    """Crops cut into tiles x tiles squares and shuffled, at times with another blended in: pictures with people's textures, but nobody."""
    n, t = len(x), SIZE // tiles
    order = torch.randperm(tiles * tiles, device=x.device)
    squares = x.reshape(n, 3, tiles, t, tiles, t).permute(0, 2, 4, 1, 3, 5).reshape(n, tiles * tiles, 3, t, t)[:, order]
    out = squares.reshape(n, tiles, tiles, 3, t, t).permute(0, 3, 1, 4, 2, 5).reshape(n, 3, SIZE, SIZE)
    blend = torch.rand(n, 1, 1, 1, device=x.device) < 0.3
    return torch.where(blend, 0.5 * out + 0.5 * out.flip(0).flip(3), out)
