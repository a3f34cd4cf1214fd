"""Following everybody: who is hidden before somebody else, and found by no finder, is followed once there is something to see."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pipeline.landmarks import follow
from pipeline.landmarks.crops import between
from pipeline.landmarks.detector import Found
from pipeline.landmarks.net import Guess
from pipeline.landmarks.paths import CORE, Path, limbs_apart
from pipeline.landmarks.spool import Spool
from pipeline.landmarks.track import N
from tests.landmarks.stickman import body

FRAMES, SIZE, SPOTTER = 61, 40.0, 160.0
OUT = slice(20, 42)  # frames in which she stands a torso and a half beside the spotter; before and after she is hidden right before him


class Pictures(Spool):
    """Pictures that hold nothing but their number."""

    def __getitem__(self, number: int) -> np.ndarray:
        return np.full((300, 300, 3), number, np.uint8)


def hers(way: float = -60.0, out: slice = OUT) -> np.ndarray:
    """(n, 33, 2) the one whom no finder sees: she walks out and back in, five frames each."""
    x = np.zeros(FRAMES)
    x[out] = way
    x = np.convolve(np.pad(x, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    return np.stack([body(SPOTTER + dx, 150.0, SIZE) for dx in x])


class World:
    """What a landmark model sees: the body nearest to the crop's middle of those that are not painted out."""

    def __init__(self, *people: np.ndarray) -> None:
        self.people, self.glances = people, 0

    def glance(self, net, image, crop, others, own) -> Guess:
        self.glances += 1
        number = int(image[0, 0, 0])
        seen = [p[number] for p in self.people if all(limbs_apart(p[number], o, SIZE) > 0.5 for o in others)]
        seen = [xy for xy in seen if np.hypot(*(xy[CORE[2:]].mean(0) - (crop.x, crop.y))) < 0.5 * crop.side]
        full, there = np.ones(N), bool(seen)
        xy = min(seen, key=lambda xy: np.hypot(*(xy[CORE[2:]].mean(0) - (crop.x, crop.y)))) if there else body(crop.x, crop.y, SIZE)
        hips, shoulders = xy[CORE[2:]].mean(0), xy[CORE[:2]].mean(0)
        return Guess(xy, 0 * full, full, 0.9 * full * there, float(there), hips, hips + 1.8 * (shoulders - hips))


def followed(monkeypatch: pytest.MonkeyPatch, world: World) -> tuple[list[Path], list[Path]]:
    """Passes of either direction of a stretch in which the finder sees the spotter alone."""
    monkeypatch.setattr(follow, "_glance", world.glance)
    spool = Pictures(0, [i / 30 for i in range(FRAMES)], (300, 300))
    x, y = SPOTTER, 150.0
    spotter = Found(0.9, (x - 10, y - 70, x + 10, y - 40), np.array([x, y]), np.array([x, y - 2 * SIZE]), np.array([x, y - SIZE]))
    found = {number: [spotter] for number in (0, 8, 15, 23, 30, 38, 45, 53, 60)}
    ahead = follow.follow_everyone(None, spool, found, 1)
    return ahead, follow.follow_everyone(None, spool, found, -1, other_way=ahead)


def on_her(paths: list[Path], her: np.ndarray) -> np.ndarray:
    """(n,) bool: a pass is on her."""
    rows = [p.valid & (np.nan_to_num(limbs_apart(p.xy, her, SIZE), nan=9.0) < 0.4) for p in paths]
    return np.any(rows, axis=0)


def standing() -> np.ndarray:
    return np.tile(body(SPOTTER, 150.0, SIZE), (FRAMES, 1, 1))


@pytest.mark.parametrize("out", [slice(12, 27), OUT, slice(35, 55)])
def test_who_steps_out_from_before_somebody_is_followed_though_no_finder_saw_her(monkeypatch, out) -> None:
    """Early, in the middle or late: it is looked for her at several moments, and in the middle of a stretch the spotter, who stands still,
    would not have been looked at in that very frame."""
    her = hers(out=out)
    ahead, back = followed(monkeypatch, World(standing(), her))
    there = on_her(ahead + back, her)
    assert there[out][4:-4].all(), np.flatnonzero(~there[out])


def test_whom_one_direction_began_with_is_followed_the_other_way_too(monkeypatch) -> None:
    her = hers()
    ahead, back = followed(monkeypatch, World(standing(), her))
    first = np.flatnonzero(on_her(ahead, her) & (np.abs(her[:, CORE[2], 0] - standing()[:, CORE[2], 0]) > 1.4 * SIZE))[0]
    before = np.flatnonzero(np.abs(her[:, CORE[2], 0] - standing()[:, CORE[2], 0]) > 1.4 * SIZE)
    assert before[0] < first, "nothing is left for the other direction"
    assert on_her(back, her)[before[0] : first + 1].all()


def test_somebody_alone_is_followed_once(monkeypatch) -> None:
    world = World(standing())
    ahead, back = followed(monkeypatch, world)
    assert len(ahead) == len(back) == 1 and ahead[0].valid.all() and back[0].valid.all()


def test_a_look_beside_somebody_that_shows_nobody_is_not_repeated(monkeypatch) -> None:
    """One look on either side of the one followed, and one head down; no second one where the first saw nothing."""
    world = World(standing())
    monkeypatch.setattr(follow, "_glance", world.glance)
    spool = Pictures(0, [0.0], (300, 300))
    one = body(SPOTTER, 150.0, SIZE)
    hips = one[CORE[2:]].mean(0)
    crop = between(hips, hips - (0.0, 1.8 * SIZE))
    live = [follow._Followed(Path.empty(0, 1, 1), crop, one, crop, 0.0)]
    assert follow._unfound(None, spool, 0, 1, live, []) == []
    assert world.glances == 4


def test_who_is_head_down_beside_somebody_is_seen_too(monkeypatch) -> None:
    """The model knows a body that is upside down in its crop only where the crop is turned as well."""
    her = np.stack([body(SPOTTER - 50.0, 185.0, SIZE, 180.0)] * FRAMES)
    world = World(standing(), her)

    def upright_in_the_crop(net, image, crop, others, own) -> Guess:
        guess = world.glance(net, image, crop, others, own)
        up = guess.top - guess.centre
        turned = abs((np.arctan2(up[0], -up[1]) - crop.angle + np.pi) % (2 * np.pi) - np.pi)
        return guess if turned < np.pi / 2 else dataclasses.replace(guess, presence=0.0)

    monkeypatch.setattr(follow, "_glance", upright_in_the_crop)
    spool = Pictures(0, [0.0], (300, 300))
    one = standing()[0]
    hips = one[CORE[2:]].mean(0)
    crop = between(hips, hips - (0.0, 1.8 * SIZE))
    live = [follow._Followed(Path.empty(0, 1, 1), crop, one, crop, 0.0)]
    (begun,) = follow._unfound(None, spool, 0, 1, live, [])
    assert limbs_apart(begun.body, her[0], SIZE) < 0.01


def test_nobody_is_looked_for_beside_who_stands_far_behind(monkeypatch) -> None:
    world = World(standing())
    monkeypatch.setattr(follow, "_glance", world.glance)
    spool = Pictures(0, [0.0], (300, 300))
    near, behind = body(SPOTTER, 150.0, SIZE), body(60.0, 100.0, 0.4 * SIZE)
    live = []
    for one in (near, behind):
        hips = one[CORE[2:]].mean(0)
        crop = between(hips, hips - (0.0, 72.0))
        live.append(follow._Followed(Path.empty(0, 1, 1), crop, one, crop, 0.0))
    assert follow._unfound(None, spool, 0, 1, live, []) == []
    assert world.glances == 4


@pytest.mark.parametrize(("seen", "kept"), [(range(20, 60), 39), (range(20, 26), 5), ([20, 21, 22, 30, 31, 40, 55], 2), ([], 0)])
@pytest.mark.parametrize("step", [1, -1])
def test_a_pass_is_proven_by_how_long_it_kept_whom_it_began_with(seen, kept, step) -> None:
    """What is seen here and there, with breaks, is nobody: seconds count from where the pass began to its first break."""
    path = Path.empty(0, FRAMES, step)
    rows = [row if step > 0 else FRAMES - 1 - row for row in seen]
    path.xy[rows] = body(SPOTTER, 150.0, SIZE)
    assert follow._kept_s(path, np.arange(FRAMES) / 30) == pytest.approx(kept / 30)


def test_whom_one_direction_lost_at_once_is_not_followed_the_other_way(monkeypatch) -> None:
    ahead = [Path.empty(0, FRAMES, 1), Path.empty(0, FRAMES, 1)]
    for path, last in zip(ahead, (34, 50), strict=True):
        full, there = np.ones(N), body(60.0 if last == 34 else 240.0, 150.0, SIZE)
        hips = there[CORE[2:]].mean(0)
        for number in range(30, last):
            path.put(number, Guess(there, 0 * full, full, full, 1.0, hips, hips - (0.0, 1.8 * SIZE)))
    monkeypatch.setattr(
        follow, "_glance", World(np.stack([body(240.0, 150.0, SIZE)] * FRAMES), np.stack([body(60.0, 150.0, SIZE)] * FRAMES)).glance
    )
    (back,) = follow.follow_everyone(None, Pictures(0, [i / 30 for i in range(FRAMES)], (300, 300)), {}, -1, other_way=ahead)
    assert back.valid[:31].all() and limbs_apart(back.xy[0], body(240.0, 150.0, SIZE), SIZE) < 0.1
