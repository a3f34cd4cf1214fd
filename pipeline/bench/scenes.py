"""The benchmark's scenes: far wider than the sample clips, drawn from seeds, in a part to tune on and a part only to report on.

The parts share no body, no hall, no clothes' colours and no seed. Scene i of a part is always the same scene, and any prefix of a part is
balanced over the kinds (see KINDS; one in twelve is a whole routine). From the numbers in MORE on, scenes show other and many more
bodies. Ranges: bodies of 5-11 years and two adults; 0-30 degrees off square; phone 0.5-1.5 m high; athlete up to 80 % of the picture's height; portrait and landscape; hand-held; both directions and lead
sides; others in the picture in half of them. The athlete stays in the picture but in the few scenes of which `leaves` is true.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from zlib import crc32

import numpy as np

from pipeline.bench.styles import BLEND_S, Teller
from pipeline.stage.bodies import Shape
from pipeline.stage.camera import Shot
from pipeline.stage.clothes import Outfit
from pipeline.stage.hall import BRICK, MAT, PANEL, PLAIN, WOOD, Hall
from pipeline.stage.phone import Phone
from pipeline.stage.scene import Extra, Scene, Style

PARTS = ("tune", "report")
KINDS = ("lunge", "stand", "roll", "cartwheel", "loaded", "stand", "roll", "cartwheel", "routine", "stand", "roll", "cartwheel")
BODIES = {
    "tune": (
        Shape(5.2, weight=0.45, proportions=0.5), Shape(6.6, weight=0.35, muscle=0.4), Shape(7.6, girl=0.0, weight=0.5),
        Shape(8.4, weight=0.3, proportions=0.7), Shape(9.6, weight=0.6, muscle=0.6), Shape(10.6, girl=0.2, height=0.6), Shape(26, weight=0.4),
    ),
    "report": (
        Shape(5.6, weight=0.4, girl=0.0), Shape(6.2, weight=0.55, proportions=0.4), Shape(7.2, weight=0.32, height=0.6),
        Shape(8.8, weight=0.48, muscle=0.55), Shape(9.2, girl=0.1, weight=0.36), Shape(10.2, weight=0.5, height=0.4), Shape(11.0, weight=0.38),
        Shape(32, girl=0.0, weight=0.5),
    ),
}  # fmt: skip
TAUGHT = 2000  # scenes of "tune" from here on teach landmark models, and nothing else is learnt or judged on them
FRESH = 600  # scenes of "report" from here on were drawn when all else was settled, with bodies that nobody had seen
# from that scene on so many bodies of their own
MORE = {"tune": ((240, 24), (600, 24), (TAUGHT, 60)), "report": ((240, 16), (360, 16), (480, 16), (FRESH, 24))}
SCALES = {"girl": (0.0, 1.0), "weight": (0.25, 0.65), "muscle": (0.35, 0.65), "height": (0.3, 0.7), "proportions": (0.35, 0.8)}
WALLS = {"tune": (BRICK, PLAIN), "report": (PANEL, PLAIN)}
FLOORS = {"tune": (WOOD, MAT), "report": (PLAIN, WOOD)}
HUES = {"tune": 0.0, "report": 0.5}  # where a part's half of the colour circle begins
SIZES = ((640, 480), (720, 540), (854, 480), (960, 540), (960, 540), (540, 960), (480, 854), (1280, 720))
SKINS = ("porcelain", "light", "olive", "tan", "brown", "dark")
HAIRS = ("black", "brown", "fair", "red")
CLOTHES = ("leotard", "long leotard", "tee and shorts", "leggings")


def kind(index: int) -> str:
    """What scene number `index` of either part shows, one of KINDS; "loaded" is a loaded lunge alone or out of a straight one."""
    return KINDS[index % len(KINDS)]


def leaves(index: int) -> bool:
    """Whether the athlete may leave the picture in scene number `index`."""
    return index % 17 == 11 and kind(index) != "routine"


def body_of(clip: str) -> str:
    """Whose body a benchmark clip of that name shows: the part's letter and the number in BODIES; another clip's own name."""
    named = re.match(r"([A-Z])\d-(\d+)_", clip)
    part = next((p for p in PARTS if named and p[0].upper() == named[1]), None)
    if not named or not part:
        return clip
    index = int(named[2])
    group = ("", " more", " third", " fourth", " fifth")[_group(part, index)]
    return f"{named[1]}{group} {_who(len(bodies(part, index)), _random(part, index))}"


def bodies(part: str, index: int) -> tuple[Shape, ...]:
    """All bodies that may be in scene number `index` of a part; the last one is grown up."""
    group = _group(part, index)
    return _drawn_bodies(part, group) if group else BODIES[part]


def _group(part: str, index: int) -> int:
    """Which group of bodies a scene shows: 0 is BODIES, then those of MORE."""
    return sum(index >= first for first, _ in MORE[part])


@lru_cache
def _drawn_bodies(part: str, group: int) -> tuple[Shape, ...]:
    """Bodies drawn from all of the scales: children of 5 to 11.5 years, then one grown-up."""
    rng = np.random.default_rng([PARTS.index(part), 3, *((group,) if group > 1 else ())])
    return tuple(
        Shape(round(float(years), 2), **{k: round(float(rng.uniform(*v)), 2) for k, v in SCALES.items()})
        for years in (*rng.uniform(5, 11.5, MORE[part][group - 1][1] - 1), rng.uniform(20, 45))
    )


def fifth_of(body: str) -> int:
    """1 to 5: the fifth of the bodies that one belongs to, for learning without it."""
    return 1 + crc32(body.encode()) % 5


def _random(part: str, index: int) -> np.random.Generator:
    return np.random.default_rng([PARTS.index(part), 2, index])


def _who(n: int, rng: np.random.Generator) -> int:
    """Number of the scene's body among n, the first thing drawn; the last one, a grown-up, a third as often."""
    return int(rng.integers(n * 3 - 2)) % n


def scene(part: str, index: int) -> Scene:
    """Scene number `index` of a part."""
    rng = _random(part, index)
    what = kind(index)
    hue = HUES[part]
    shapes = bodies(part, index)
    who = _who(len(shapes), rng)
    extras = any_others(shapes, who, hue, rng) if rng.random() < 0.5 else ()
    return Scene(
        f"{part[0].upper()}{index % 4 + 1}-{index:03d}_2026-02-{1 + index % 28:02d}_1",
        shapes[who],
        any_outfit(rng, hue),
        any_styles(what, rng),
        faces=int(rng.choice([-1, 1])),
        extras=extras,
        hall=any_hall(part, rng, hue),
        shot=any_shot(what, rng, leaves(index)),
        phone=Phone(rng.uniform(0.95, 1.5), rng.uniform(-0.07, 0.07), rng.uniform(0.3, 1.3), rng.uniform(0.5, 4.5), rng.uniform(0.85, 1.15),
                    int(rng.choice([1, 1, 3, 5]))),
        fps=int(rng.choice([24, 30, 30, 60])) if what == "cartwheel" else int(rng.choice([24, 30])),
        variable=bool(rng.random() < 0.2),
        stays=not leaves(index),
        blend=BLEND_S if what == "routine" else 0.0,
        crf=int(rng.integers(25, 34)),
        seed=int(rng.integers(1 << 31)),
    )  # fmt: skip


def any_styles(what: str, rng: np.random.Generator) -> tuple[Style, ...]:
    """How a scene of that kind (one of KINDS) is done, drawn anew."""
    tell = Teller(rng)
    if what == "routine":
        return tell.routine()
    if what == "loaded":
        return (tell.lunge(then=tell.loaded()),) if tell.chance(0.5) else (tell.loaded(),)
    return ({"lunge": tell.lunge, "stand": tell.stand, "roll": tell.roll, "cartwheel": tell.cartwheel}[what](),)


def any_shot(what: str, rng: np.random.Generator, leaving: bool) -> Shot:
    """How a scene of that kind is filmed; leaving: the athlete may leave the picture."""
    width, height = SIZES[rng.integers(len(SIZES) - (3 if what == "routine" else 0))]
    tall = height > width
    most = (0.28 if tall else 0.55) if what in ("cartwheel", "routine") else (0.36 if tall else 0.8)
    return Shot(width, height, share=rng.uniform(0.5, 0.9) if leaving else rng.uniform(0.25, most), up=rng.uniform(0.5, 1.5),
                off_square=rng.uniform(-30, 30) if what != "routine" else rng.uniform(-18, 18), field=rng.uniform(45, 68),
                shake=rng.uniform(0.3, 2.2), roll=rng.normal(0, 2), pan=rng.uniform(0.1, 0.4) if leaving else rng.uniform(0.6, 0.95),
                walk=rng.uniform(0.3, 0.9) if what == "routine" else 0.0, zoom=rng.choice([1.0, 1.0, rng.uniform(0.9, 1.1)]))  # fmt: skip


def any_outfit(rng: np.random.Generator, hue: float) -> Outfit:
    """What somebody wears, in colours from `hue` (0..1) on over half of the colour circle."""
    return Outfit(str(rng.choice(CLOTHES)), _colour(rng, hue), _colour(rng, hue), str(rng.choice(SKINS)), str(rng.choice(HAIRS)),
                  str(rng.choice(["bun", "tail", "short"])), float(rng.choice([0, 0, 1, 2])), bool(rng.random() < 0.3))  # fmt: skip


def _colour(rng: np.random.Generator, hue: float) -> tuple[float, float, float]:
    """A cloth's colour from the part's own half of the colour circle."""
    import colorsys

    return colorsys.hsv_to_rgb((hue + 0.5 * rng.random()) % 1.0, rng.uniform(0.05, 0.9), rng.uniform(0.06, 0.9))


def any_hall(part: str, rng: np.random.Generator, hue: float) -> Hall:
    """A hall with a part's kinds of wall and floor, in colours from `hue` on over half of the colour circle."""
    return replace(
        Hall(), floor=_colour(rng, hue), floor_kind=float(rng.choice(FLOORS[part])), mat=_colour(rng, hue), wall=_colour(rng, hue),
        wall_kind=float(rng.choice(WALLS[part])), wall_band=_colour(rng, hue), wall_at=rng.uniform(2.3, 5.0), wall_turn=rng.uniform(-18, 18),
        clutter=int(rng.integers(0, 7)), light_from=(rng.uniform(-0.8, 0.8), rng.uniform(-0.9, 0.1), 1.0),
        light=(rng.uniform(0.35, 0.7),) * 3, ambient=(rng.uniform(0.35, 0.65),) * 3, shadow=rng.uniform(0.2, 0.8),
    )  # fmt: skip


def any_others(shapes: tuple[Shape, ...], athlete: int, hue: float, rng: np.random.Generator) -> tuple[Extra, ...]:
    """A spotter beside the athlete, children behind, or both."""
    others = [s for i, s in enumerate(shapes) if i != athlete]
    out = []
    if rng.random() < 0.6:
        kit = replace(any_outfit(rng, hue), kind="tracksuit")
        out.append(
            Extra(
                shapes[-1],
                kit,
                str(rng.choice(["spot", "kneel", "stand"])),
                (rng.uniform(-0.6, 0.6), rng.uniform(0.7, 1.0)),
                rng.uniform(150, 210),
            )
        )
    for _ in range(int(rng.integers(0 if out else 1, 4))):
        what = str(rng.choice(["stand", "hips", "squat", "arms up", "walk", "walk"]))
        place, yaw = (rng.uniform(-2.2, 2.2), rng.uniform(1.3, 2.2)), rng.uniform(-180, 180)
        if what == "walk":  # across the picture behind the athlete
            to_right = rng.random() < 0.5
            place, yaw = (rng.uniform(0.5, 3.0) * (-1 if to_right else 1), place[1]), (0 if to_right else 180) + rng.uniform(-6, 6)
        out.append(Extra(others[rng.integers(len(others))], any_outfit(rng, hue), what, place, yaw))
    return tuple(out)
