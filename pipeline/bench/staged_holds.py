"""Draw holds or cartwheels for the near looks of the landmark models (needs the extra `render`):

    python -m pipeline.bench staged-holds --out FOLDER [--shown cartwheels] [--crops 21000] [--workers 14] [--minutes 60]

Lunges, loaded lunges and shoulder stands while held, or cartwheels upside down, of 200 bodies, of which every seventh is only ever checked on;
none of them is in scenes that the benchmark learns tables from or judges on. Each scene is played once and filmed several times in other
clothes, halls and light, of the tuning part's kinds and colours. Run again, it goes on where it was; training may read meanwhile.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path

import numpy as np

from pipeline.bench.scenes import HUES, SCALES, TAUGHT, any_hall, any_others, any_outfit, any_shot, any_styles, bodies, scene
from pipeline.bench.staged_crops import KIND, compressed, label
from pipeline.landmarks.crops import SIZE, Crop
from pipeline.landmarks.refine import aligned_crop
from pipeline.landmarks.track import NAMES
from pipeline.landmarks.tuning.near_store import FINE, PIXELS, WIDE, NearStore, as_worker
from pipeline.landmarks.tuning.poses import Kind
from pipeline.stage.bodies import Shape, body
from pipeline.stage.phone import Phone
from pipeline.stage.scene import Acted, Scene, act, pictures, refilmed
from pipeline.vocabulary import Skill

SKILLS = (Skill.LUNGE, Skill.LOADED_LUNGE, Skill.SHOULDER_STAND, Skill.CARTWHEEL)
SHOWN = {"holds": ("lunge", "stand", "loaded", "stand", "lunge"), "cartwheels": ("cartwheel",)}  # by a scene's number
PART = "tune"  # whose halls and colours they are shown in
CHILDREN, GROWN_UP = 130, 10  # bodies beside those of the scenes from TAUGHT on; the grown-ups come last
CHECKED = 7  # one body in so many is never trained on
QUALITIES = (35, 92)  # a video's compression, as a JPEG's
AROUND_S = 0.15  # one moment in three may lie so far outside of the key window
LEAST_TRUNK = 20.0  # pixels of the phone's picture
OFF, OFF_ALL, TURNED, UNEVEN = 0.02, 0.03, 2.0, 0.03  # of a crop: points and all of them, trunks; degrees; logarithm of the side
OTHERS = 0.45  # share of films with somebody else in the picture


@lru_cache
def hold_bodies() -> tuple[Shape, ...]:
    """The 200 bodies: those of the scenes that teach, then more from the same scales; see `is_checked`."""
    rng = np.random.default_rng([77, 9])
    more = (*rng.uniform(5, 11.5, CHILDREN), *rng.uniform(14, 45, GROWN_UP))
    return (
        *bodies(PART, TAUGHT),
        *(Shape(round(float(years), 2), **{k: round(float(rng.uniform(*v)), 2) for k, v in SCALES.items()}) for years in more),
    )


def what_of(number: int, shown: str) -> str:
    """What scene number `number` shows, one of scenes.KINDS."""
    return SHOWN[shown][number % len(SHOWN[shown])]


def is_checked(who: int) -> bool:
    """Whether body number `who` is never trained on."""
    return who % CHECKED == 3


def hold_scene(number: int, shown: str = "holds") -> tuple[Scene, int, np.random.Generator]:
    """Scene number `number`, whose body it shows (in `hold_bodies`), and the randomness that its films go on with."""
    rng = np.random.default_rng([number, 91])
    who = int(rng.integers(len(hold_bodies())))
    styles = any_styles(what_of(number, shown), rng)
    faces, seed = int(rng.choice([-1, 1])), int(rng.integers(1 << 31))
    once = scene(PART, TAUGHT + number)
    return replace(
        once, name=f"H{number}", shape=hold_bodies()[who], styles=styles, faces=faces, stays=True, variable=False, fps=30, seed=seed
    ), who, rng  # fmt: skip


def film(one: Scene, what: str, rng: np.random.Generator) -> Scene:
    """A scene of `what_of` filmed anew: other clothes, people, hall, light and phone."""
    known = hold_bodies()
    children = [known[int(i)] for i in rng.integers(0, len(known) - GROWN_UP, 6)]
    shapes = (*children, known[int(rng.integers(len(known) - GROWN_UP, len(known)))])
    extras = any_others(shapes, 0, HUES[PART], rng) if rng.random() < OTHERS else ()
    return replace(
        one,
        extras=extras,
        outfit=any_outfit(rng, HUES[PART]),
        hall=any_hall(PART, rng, HUES[PART]),
        shot=any_shot("lunge" if what == "loaded" else what, rng, False),
        phone=Phone(rng.uniform(0.95, 1.5), rng.uniform(-0.07, 0.07), rng.uniform(0.3, 1.3), rng.uniform(0.5, 4.5), rng.uniform(0.85, 1.15),
                    int(rng.choice([1, 1, 1, 3]))),
        seed=int(rng.integers(1 << 31)),
    )  # fmt: skip


def crops(number: int, films: int, each: int, shown: str = "holds") -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Up to films * each crops (PIXELS, PIXELS, 3) uint8 RGB of a scene's key windows, with their LABEL scalars in pixels of SIZE."""
    one, _, rng = hold_scene(number, shown)
    played = act(one)
    for _ in range(films):
        filmed = film(one, what_of(number, shown), rng)
        acted = refilmed(filmed, played.body, played.movement, played.joints, played.low, np.random.default_rng(filmed.seed))
        kinds = _moments(acted, each, rng)
        acted.frames = np.array(sorted(kinds))
        for i, picture in zip(acted.frames, pictures(filmed, acted), strict=True):
            picture = compressed(picture, int(rng.integers(*QUALITIES)))
            crop, row = labelled(acted, int(i), (filmed.shot.width, filmed.shot.height), rng)
            row["kind"], row["height"] = list(Kind).index(kinds[int(i)]), acted.body.height
            if crop.side > WIDE * LEAST_TRUNK:
                yield fine_cut(picture, crop), row


def _moments(acted: Acted, each: int, rng: np.random.Generator) -> dict[int, Kind]:
    """Moments of the scene's key windows, one in three perhaps a little before or after, and what is done there."""
    t, asked, found = acted.movement.t, [a for a in acted.attempts if a.span.skill in SKILLS], {}
    for k in range(each):
        attempt = asked[int(rng.integers(len(asked)))]
        (first, last), around = attempt.key, 0.0 if k % 3 else AROUND_S
        found[int(np.argmin(np.abs(t - rng.uniform(first - around, last + around))))] = KIND[attempt.span.skill]
    return found


def labelled(acted: Acted, i: int, size: tuple[int, int], rng: np.random.Generator) -> tuple[Crop, np.ndarray]:
    """The crop of the athlete at moment i, off by what following is off by, and what is known of it: a LABEL scalar. size: of the picture."""
    world = np.stack([acted.joints[name][i] for name in NAMES])
    flat, _ = acted.camera.project(world, i)
    seen = (world - acted.camera.eye[i]) @ acted.camera.turn[i].T
    body_ = flat - 0.5  # a pixel's middle at whole numbers, as crops are cut
    trunk = float(np.linalg.norm(body_[[11, 12]].mean(0) - body_[[23, 24]].mean(0)))
    aligned = aligned_crop(body_ + rng.normal(0, OFF, body_.shape) * trunk + rng.normal(0, OFF_ALL, 2) * trunk)
    side, angle = WIDE * trunk * np.exp(rng.normal(0, UNEVEN)), aligned.angle + np.deg2rad(rng.normal(0, TURNED))
    crop = Crop(aligned.x, aligned.y, float(side), float(angle))
    return crop, label(seen, flat, crop, float(acted.camera.focal[i]), size)


def fine_cut(image: np.ndarray, crop: Crop) -> np.ndarray:
    """(PIXELS, PIXELS, 3) uint8 of an RGB picture, black beyond its edge; the crop's own pixels are those of SIZE."""
    import cv2

    shrink = crop.side / PIXELS
    if shrink > 1.3:  # or fine lines break up
        image = cv2.GaussianBlur(image, (0, 0), 0.4 * shrink)
    matrix = crop.matrix.copy()
    matrix[:, 2] += matrix[:, :2].sum(1) * (0.5 / FINE - 0.5)  # pixels are counted from their middles
    matrix[:, :2] *= SIZE / PIXELS
    return cv2.warpAffine(image, matrix, (PIXELS, PIXELS), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


def _work(films: int, each: int, shown: str, folder: Path, me: int, ends: float) -> None:
    as_worker()
    store = NearStore.load(folder, "staged-holds")
    while not _enough(store, me, ends):
        number = me + store.workers * store.scenes(me)
        checked = is_checked(hold_scene(number, shown)[1])
        for picture, row in crops(number, films, each, shown):
            if _enough(store, me, ends):
                return
            store.add(me, picture, row, checked=checked)
        store.scenes_told(me, store.scenes(me) + 1)


def _enough(store: NearStore, me: int, ends: float) -> bool:
    return store.drawn(me) >= store.share or time.time() > ends or store.stopped


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True, help="folder, 602 kB a crop")
    parser.add_argument("--shown", choices=SHOWN, default="holds")
    parser.add_argument("--crops", type=int, default=21_000, help="those to check on included")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0, help="stop then, whatever is drawn")
    parser.add_argument("--films", type=int, default=3, help="of a scene")
    parser.add_argument("--each", type=int, default=6, help="crops a film")
    told = parser.parse_args()
    store = NearStore.make(told.out, crops=told.crops, workers=told.workers, shown=told.shown)
    for shape in hold_bodies():
        body(shape)  # made once and kept, before many processes ask for the same one
    print(f"{told.out}: {store.fill(partial(_work, told.films, told.each, told.shown), minutes=told.minutes)} crops")
    return 0
