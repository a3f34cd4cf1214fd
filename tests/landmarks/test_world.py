"""World points in space come out in the picture's axes, whatever way the crop was turned or mirrored, and last through cache and cleaning."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from pipeline.landmarks.cache import read_track, write_track
from pipeline.landmarks.crops import SIZE, Crop
from pipeline.landmarks.join import Person
from pipeline.landmarks.net import MIRROR, POINTS, Guess, LandmarkNet, upright
from pipeline.landmarks.refine import mix
from pipeline.landmarks.track import INDEX, N, Track

PIXELS_A_METRE = 120.0


def body() -> np.ndarray:
    """(33, 3) metres from the middle of the hips, picture axes: a body of random points, hips and shoulders where they belong."""
    space = np.random.default_rng(4).uniform(-0.7, 0.7, (N, 3))
    for name, at in (("left_hip", (0.1, 0, 0.02)), ("right_hip", (-0.1, 0, -0.02)), ("left_shoulder", (0.15, -0.45, 0)), ("right_shoulder", (-0.15, -0.45, 0))):  # fmt: skip
        space[INDEX[name]] = at
    return space


class _Output:
    """Stands for the interpreter of a model that sees `body()` from straight ahead without error."""

    def __init__(self, crop: Crop, mirrored: bool) -> None:
        self.crop, self.mirrored = crop, mirrored

    def get_tensor(self, _: int) -> np.ndarray:
        """(1, 117) as the model gives it: axes of the crop it was shown, sides named as they look there."""
        turn = self.crop.matrix[:, :2] * (SIZE / self.crop.side)  # crop axes -> picture axes
        space = body().copy()
        space[:, :2] = space[:, :2] @ turn  # the inverse of a turn is its transpose
        if self.mirrored:
            space[:, 0] *= -1
            space = space[MIRROR]
        return np.concatenate([space, np.zeros((POINTS - N, 3))])[None].reshape(1, -1)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("degrees", [0.0, 37.0, 90.0, 180.0, -120.0])
def test_the_crop_s_turn_and_mirror_are_undone(degrees: float, mirrored: bool) -> None:
    crop = Crop(300.0, 200.0, 340.0, float(np.radians(degrees)))
    seen = _Output(crop, mirrored).get_tensor(0).reshape(POINTS, 3)[:N]
    assert upright(seen, crop, mirrored=mirrored) == pytest.approx(body())


@pytest.mark.parametrize("mirrored", [False, True])
def test_points_and_world_of_a_turned_crop_tell_of_one_body(mirrored: bool) -> None:
    """Read as the network's outputs are read: where the picture shows the body upright, its points lie where the world points say."""
    crop = Crop(300.0, 200.0, 340.0, float(np.radians(65.0)))
    flat = body()[:, :2] * PIXELS_A_METRE + [300.0, 200.0]
    in_crop = crop.to_crop(flat)
    if mirrored:
        in_crop[:, 0] = 255 - in_crop[:, 0]
        in_crop = in_crop[MIRROR]
    raw = np.zeros((POINTS, 5))
    raw[:N, :2] = in_crop + 0.5
    net = LandmarkNet.__new__(LandmarkNet)
    net._net, net._world = _Output(crop, mirrored), 0
    net.raw = lambda _: (raw, 1.0, np.full((64, 64, POINTS), -9.0))  # type: ignore[method-assign]
    guess = net.read(np.zeros((SIZE, SIZE, 3), np.uint8), crop, mirrored=mirrored)
    assert guess.xy == pytest.approx(flat)
    assert guess.world is not None and guess.world[:, :2] * PIXELS_A_METRE + [300.0, 200.0] == pytest.approx(guess.xy)
    assert guess.world[:, 2] == pytest.approx(body()[:, 2])


def test_the_second_look_fills_the_world_except_where_the_looks_differ() -> None:
    flat, one = body()[:, :2] * PIXELS_A_METRE, np.zeros((2, N))
    person = Person(
        0, np.stack([flat, flat]), one.copy(), one.copy(), one.copy(), np.ones(2), np.full((2, N), np.nan), np.zeros(2, int), world=np.full((2, N, 3), np.nan)
    )  # fmt: skip
    seen = flat.copy()
    seen[INDEX["left_wrist"]] += 80.0
    mix(person, 1, Guess(seen, np.zeros(N), np.ones(N), np.ones(N), 1.0, np.zeros(2), np.zeros(2), body()), 60.0)
    assert np.isnan(person.world[0]).all()
    assert np.isnan(person.world[1, INDEX["left_wrist"]]).all()
    others = np.arange(N) != INDEX["left_wrist"]
    assert person.world[1, others] == pytest.approx(body()[others])
    person.lose(slice(1, 2))
    assert np.isnan(person.world).all()


def test_world_points_last_through_the_cache_and_a_track_without_has_gaps(tmp_path: Path) -> None:
    none = np.zeros((2, N))
    plain = Track(np.array([0.0, 0.1]), np.zeros((2, N, 2)), none, none, np.ones(2), none, (640, 480), "a.mp4")
    assert plain.world.shape == (2, N, 3) and np.isnan(plain.world).all()
    track = Track(plain.t, plain.xy, none, none, plain.presence, none, plain.size, "a.mp4", (), np.stack([body(), np.full((N, 3), np.nan)]))
    write_track(track, tmp_path / "a.parquet")
    again = read_track(tmp_path / "a.parquet")
    assert again.world[0] == pytest.approx(body(), abs=0.00013)
    assert np.isnan(again.world[1]).all()
    narrow = pq.read_table(tmp_path / "a.parquet").select(
        [c for c in pq.read_schema(tmp_path / "a.parquet").names if c[-3:] not in ("_wx", "_wy", "_wz")]
    )
    words = {**(narrow.schema.metadata or {}), b"layout": b"matside-track-1"}
    pq.write_table(narrow.replace_schema_metadata(words), tmp_path / "before.parquet")
    assert np.isnan(read_track(tmp_path / "before.parquet").world).all()  # written before there were world points
    with pytest.raises(ValueError, match=r"track\.world"):
        Track(plain.t, plain.xy, none, none, plain.presence, none, plain.size, "a.mp4", (), np.zeros((2, N, 2)))
