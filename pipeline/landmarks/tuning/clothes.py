"""What drawn people wear: skin, hair, cloth by region, loose or tight, with patterns and folds. Colours are 0..1 RGB."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from . import bodies as b
from .bodies import Bodies

# 16 floats, mirrored by `Material` in raster.c.
MATERIAL = np.dtype(
    [("kind", "f4"), ("frequency", "f4"), ("amount", "f4"), ("colour", "f4", 3), ("direction", "f4", 3), ("phase", "f4"), ("gloss", "f4"),
     ("wrinkle", "f4"), ("wrinkle_frequency", "f4"), ("line_spacing", "f4"), ("line_shade", "f4"), ("spare", "f4")]
)  # fmt: skip

_SKIN = np.array(
    [
        (0.96, 0.80, 0.70),
        (0.90, 0.70, 0.58),
        (0.80, 0.60, 0.48),
        (0.66, 0.46, 0.34),
        (0.50, 0.33, 0.23),
        (0.34, 0.22, 0.16),
        (0.24, 0.16, 0.12),
    ]
)
_HAIR = np.array(
    [(0.05, 0.04, 0.04), (0.16, 0.10, 0.07), (0.35, 0.2, 0.1), (0.6, 0.42, 0.2), (0.75, 0.6, 0.35), (0.5, 0.2, 0.08), (0.4, 0.4, 0.42)]
)


def any_colour(rng: np.random.Generator) -> np.ndarray:
    """(3,) often black, white or grey, as clothes and halls are."""
    pick = rng.random()
    if pick < 0.18:
        return np.full(3, rng.uniform(0.02, 0.16))
    if pick < 0.28:
        return np.full(3, rng.uniform(0.75, 0.98))
    if pick < 0.4:
        return np.full(3, rng.uniform(0.2, 0.7)) + rng.normal(0, 0.02, 3)
    hsv = np.array([[[rng.uniform(0, 360), rng.uniform(0.25, 1), rng.uniform(0.15, 0.95)]]], np.float32)
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)[0, 0].astype(float)


def any_material(
    rng: np.random.Generator, shares: tuple[float, ...], frequency: tuple[float, float], coarse: tuple[float, float]
) -> np.ndarray:
    """A MATERIAL scalar; `shares` of plain, mottled, stripes, blots, dots, bands; `coarse` is the frequency of all but mottled."""
    material = np.zeros((), MATERIAL)
    kind = int(rng.choice(len(shares), p=shares))
    direction = rng.normal(size=3)
    material["kind"], material["frequency"] = kind, rng.uniform(*(frequency if kind == 1 else coarse))
    material["amount"], material["colour"], material["phase"] = rng.uniform(0.1, 0.7), any_colour(rng), rng.uniform(0, 50)
    material["direction"] = direction / np.linalg.norm(direction)
    return material


@dataclass(frozen=True)
class Outfit:
    """What a body of v vertices wears."""

    colour: np.ndarray  # (v, 4): RGB and 1 on cloth
    looseness: np.ndarray  # (v,) metres between skin and cloth
    hair: np.ndarray  # (3,)
    material: np.ndarray  # MATERIAL scalar of the cloth


# name: (share, sleeves, trouser legs, may be loose)
_LEGS, _SHORTS, _TIGHT_SHORTS = (b.THIGH, b.SHANK, b.UPPER_THIGH), (b.THIGH, b.UPPER_THIGH), (b.UPPER_THIGH,)
_WARDROBE = (
    ("unitard", 0.12), ("tee_leggings", 0.2), ("tee_shorts", 0.2), ("vest_leggings", 0.12), ("leotard", 0.18), ("long_leotard", 0.08), ("tracksuit", 0.10),
)  # fmt: skip


def dress(bodies: Bodies, body: int, rng: np.random.Generator) -> Outfit:
    """A random outfit for one body."""
    region, v, scale = bodies.region, bodies.vertices[body], bodies.height[body] / 1.6
    skin = np.clip(_SKIN[rng.integers(len(_SKIN))] * rng.uniform(0.88, 1.1) + rng.normal(0, 0.015, 3), 0, 1)
    hair, top, bottom = _HAIR[rng.integers(len(_HAIR))] * rng.uniform(0.7, 1.2), any_colour(rng), any_colour(rng)
    colour, cloth, loose = np.tile(skin, (len(v), 1)), np.zeros(len(v)), np.zeros(len(v))
    names, shares = zip(*_WARDROBE, strict=True)
    wear = str(rng.choice(names, p=np.array(shares) / sum(shares)))
    sleeves: tuple[int, ...] = ()
    legs: tuple[int, ...] = ()
    if wear == "unitard":
        sleeves, legs, bottom = ((b.UPPER_ARM, b.LOWER_ARM) if rng.random() < 0.5 else ()), _LEGS, top
    elif wear == "tee_leggings":
        sleeves, legs = (b.UPPER_ARM,), _LEGS
    elif wear == "tee_shorts":
        sleeves, legs = (b.UPPER_ARM,), _TIGHT_SHORTS if rng.random() < 0.5 else _SHORTS
    elif wear == "vest_leggings":
        legs = _LEGS if rng.random() < 0.7 else _SHORTS
    elif wear == "long_leotard":
        sleeves = (b.UPPER_ARM, b.LOWER_ARM)
    elif wear == "tracksuit":
        sleeves, legs = ((b.UPPER_ARM, b.LOWER_ARM) if rng.random() < 0.6 else (b.UPPER_ARM,)), _LEGS
    if rng.random() < 0.25:
        bottom = top

    def paint(where: np.ndarray, with_colour: np.ndarray, is_cloth: float = 1.0) -> None:
        colour[where], cloth[where] = with_colour, is_cloth

    paint(np.isin(region, (b.TORSO, b.PELVIS, *sleeves)), top)
    if legs:
        paint(np.isin(region, (*legs, b.PELVIS)), bottom)
    if wear == "vest_leggings" and rng.random() < 0.35:  # bare midriff
        waist = bodies.heads[body][bodies.index["spine03"]][2]
        paint((region == b.TORSO) & (abs(v[:, 2] - waist + 0.01) < 0.05), skin, 0.0)
    if wear == "tracksuit" or (wear == "tee_shorts" and rng.random() < 0.7) or (wear == "tee_leggings" and rng.random() < 0.4):
        if wear != "tee_leggings":
            loose[np.isin(region, legs)] = rng.uniform(0.005, 0.03) * scale
        loose[np.isin(region, (b.TORSO, *sleeves))] = rng.uniform(0.004, 0.022) * scale
    pick, foot = rng.random(), region == b.FOOT
    if pick < 0.25:  # shoes
        paint(foot, any_colour(rng))
        loose[foot] = rng.uniform(0, 0.008)
    elif pick < 0.4:  # socks
        paint(foot | ((region == b.SHANK) & (v[:, 2] < bodies.heads[body][bodies.index["foot.L"]][2] + 0.05)), any_colour(rng))
    paint(region == b.HAIR, hair, 0.0)
    paint(region == b.EYE, (0.1, 0.08, 0.07), 0.0)
    material = any_material(rng, (0.3, 0.34, 0.1, 0.1, 0.06, 0.1), (6, 60), (3, 25))
    material["gloss"] = rng.uniform(0, 0.2) if rng.random() < 0.6 else 0.0
    if rng.random() < 0.6:
        material["wrinkle"], material["wrinkle_frequency"] = rng.uniform(0.05, 0.5), rng.uniform(8, 30)
    return Outfit(np.c_[colour, cloth].astype(np.float32), loose.astype(np.float32), hair, material)
