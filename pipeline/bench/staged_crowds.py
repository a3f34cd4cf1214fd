"""Draw crowded crops of people at skills for tuning a landmark model (needs the extra `render`):

    python -m pipeline.bench staged-crowds --out FOLDER [--count 5000] [--workers 14]

As staged-crops, but somebody stands, kneels or walks close to the athlete in each, half of the moments are any of the clip, waiting
included, and each scene is played once and filmed twice, in other clothes, halls and company of the tuning part's kinds. Bodies are those of
staged-holds that are not only checked on. One file a scene; what is there already is left as it is.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from pipeline.bench.scenes import HUES, TAUGHT, any_hall, any_others, any_outfit, any_shot, any_styles, scene
from pipeline.bench.staged_crops import KIND, all_cut, drawn_once
from pipeline.bench.staged_holds import GROWN_UP, PART, hold_bodies, is_checked
from pipeline.landmarks.tuning.labels import LABEL
from pipeline.landmarks.tuning.poses import Kind
from pipeline.stage.bodies import Shape
from pipeline.stage.phone import Phone
from pipeline.stage.scene import Acted, Extra, Scene, act, refilmed

SKILLS = ("lunge", "roll", "stand", "cartwheel", "loaded", "stand", "lunge", "roll")  # by a scene's number
FILMS, EACH, CHILDREN = 2, 8, 5  # of a scene, crops a film, others there may be
SPOTTER, USUAL, BEFORE = 0.7, 0.15, 0.05  # shares with somebody close behind, with others as the benchmark has them, and of others in front
NEAR = (0.4, 1.0)  # metres behind the athlete


def company(children: list[Shape], grown_up: Shape, hue: float, rng: np.random.Generator) -> tuple[Extra, ...]:
    """Others near the athlete, at least one: mostly a spotter close behind, and up to three children."""
    if rng.random() < USUAL:
        return any_others((children[0], *children[1:], grown_up), 0, hue, rng)
    out = []
    if rng.random() < SPOTTER:
        kit = any_outfit(rng, hue)
        if rng.random() < 0.6:
            kit = replace(kit, kind="tracksuit")
        who, what = grown_up if rng.random() < 0.7 else children[1], str(rng.choice(["spot", "kneel", "kneel", "stand"]))
        place = (rng.uniform(-0.6, 0.6), rng.uniform(*NEAR))
        out.append(Extra(who, kit, what, place, rng.uniform(150, 210) if rng.random() < 0.6 else rng.uniform(-180, 180)))
    for _ in range(int(rng.integers(0 if out else 1, 4))):
        what = str(rng.choice(["stand", "hips", "squat", "arms up", "walk", "kneel"]))
        place, yaw = (rng.uniform(-1.6, 1.6), rng.uniform(0.6, 1.9)), rng.uniform(-180, 180)
        if rng.random() < BEFORE:
            place = (place[0], -rng.uniform(0.5, 0.9))
        if what == "walk":
            to_right = rng.random() < 0.5
            place, yaw = (rng.uniform(0.5, 3.0) * (-1 if to_right else 1), place[1]), (0 if to_right else 180) + rng.uniform(-6, 6)
        out.append(Extra(children[1 + int(rng.integers(len(children) - 1))], any_outfit(rng, hue), what, place, yaw))
    return tuple(out)


def crowd_scene(number: int) -> tuple[Scene, str, int, np.random.Generator]:
    """Scene number `number`, what it shows (one of SKILLS), whose body (in `hold_bodies`), and the randomness that its films go on with."""
    rng = np.random.default_rng([number, 93])
    known = hold_bodies()
    who, what = int(rng.integers(len(known))), SKILLS[number % len(SKILLS)]
    one = replace(scene(PART, TAUGHT + number), name=f"B{number}", shape=known[who], styles=any_styles(what, rng), faces=int(rng.choice([-1, 1])),
                  extras=(), stays=True, variable=False, fps=30, seed=int(rng.integers(1 << 31)))  # fmt: skip
    return one, what, who, rng


def film(one: Scene, what: str, rng: np.random.Generator) -> Scene:
    """A scene of `crowd_scene` filmed in other clothes, company, hall and light."""
    known, hue = hold_bodies(), HUES[PART]
    children = [known[int(i)] for i in rng.integers(0, len(known) - GROWN_UP, CHILDREN)]
    grown_up = known[int(rng.integers(len(known) - GROWN_UP, len(known)))]
    return replace(
        one, extras=company(children, grown_up, hue, rng), outfit=any_outfit(rng, hue), hall=any_hall(PART, rng, hue), shot=any_shot(what, rng, False),
        phone=Phone(rng.uniform(0.95, 1.5), rng.uniform(-0.07, 0.07), rng.uniform(0.3, 1.3), rng.uniform(0.5, 4.5), rng.uniform(0.85, 1.15),
                    int(rng.choice([1, 1, 1, 3]))),
        seed=int(rng.integers(1 << 31)),
    )  # fmt: skip


def crops(number: int) -> tuple[list[np.ndarray], np.ndarray]:
    """Up to FILMS * EACH crops (256, 256, 3) uint8 RGB of a scene and their LABEL rows; none of a body that is only checked on."""
    one, what, who, rng = crowd_scene(number)
    made, rows = [], []
    if is_checked(who):
        return made, np.array(rows, LABEL)
    played = act(one)
    for _ in range(FILMS):
        filmed = film(one, what, rng)
        acted = refilmed(filmed, played.body, played.movement, played.joints, played.low, np.random.default_rng(filmed.seed))
        kinds = _moments(acted, rng)
        acted.frames = np.array(sorted(kinds))
        pixels, labels = all_cut(filmed, acted, kinds, rng)
        made += pixels
        rows += list(labels)
    return made, np.array(rows, LABEL)


def _moments(acted: Acted, rng: np.random.Generator) -> dict[int, Kind]:
    """Frames of a film, and what is done in it: half of any time, a quarter from key windows, a quarter from attempts."""
    t, found = acted.movement.t, {}
    for k in range(EACH):
        attempt = acted.attempts[int(rng.integers(len(acted.attempts)))]
        first, last = (t[0], t[-1]) if k % 2 == 0 else attempt.key if k % 4 == 1 else (attempt.span.start_s, attempt.span.end_s)
        found[int(np.argmin(np.abs(t - rng.uniform(first, last))))] = KIND[attempt.span.skill]
    return found


def draw(number: int, out: Path) -> int:
    """Draw one scene's crops into `out`, or leave them; how many there are."""
    return drawn_once(out / f"crowd{number:05d}.npz", lambda: crops(number))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=5000, help="scenes")
    parser.add_argument("--first", type=int, default=0, help="of them")
    parser.add_argument("--workers", type=int, default=1)
    told = parser.parse_args()
    told.out.mkdir(parents=True, exist_ok=True)
    numbers = range(told.first, told.first + told.count)
    with ProcessPoolExecutor(told.workers) as pool:
        done = sum(pool.map(draw, numbers, [told.out] * len(numbers)))
    print(f"{told.out}: {done} crops of {told.count} scenes")
    return 0
