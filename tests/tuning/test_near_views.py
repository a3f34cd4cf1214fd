"""Near views show what they are asked for, and angles of holds come out of labels as the stage's truth has them."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.landmarks import near_angles  # noqa: E402
from pipeline.landmarks.near_angles import ANGLES as NAMES  # noqa: E402
from pipeline.landmarks.near_angles import HIPS as HIPS_ROUND  # noqa: E402
from pipeline.landmarks.tuning.labels import SIZE  # noqa: E402
from pipeline.landmarks.tuning.near_angles import in_crop, other_side, seen_angles, true_angles, turned  # noqa: E402
from pipeline.landmarks.tuning.near_views import OFF, ZOOM, near_view  # noqa: E402
from pipeline.landmarks.tuning.views import MIRRORED, carried  # noqa: E402
from pipeline.stage.truths.geometry import angle, directed  # noqa: E402


def people(b: int, seed: int = 0) -> torch.Tensor:
    """(b, 33, 2) points round the middle of a crop, trunks of 40 to 70 pixels at any turn."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(70, 186, (b, 33, 2))
    turn = rng.uniform(-np.pi, np.pi, b)
    up = np.stack([np.sin(turn), -np.cos(turn)], 1) * rng.uniform(40, 70, b)[:, None]
    aside = np.stack([-up[:, 1], up[:, 0]], 1) * 0.15
    hips = np.full((b, 2), 128.0)
    xy[:, 23], xy[:, 24], xy[:, 11], xy[:, 12] = hips + aside, hips - aside, hips + up + aside, hips + up - aside
    return torch.tensor(xy, dtype=torch.float32)


def middle(xy: torch.Tensor, pair: tuple[int, int]) -> torch.Tensor:
    return xy[:, list(pair)].mean(1)


HIPS, SHOULDERS = (23, 24), (11, 12)


@pytest.mark.parametrize("wide", [3.0, 4.0])
def test_a_near_view_has_the_hips_in_the_middle_and_the_trunk_upright_and_as_long_as_asked(wide):
    torch.manual_seed(0)
    xy = people(40)
    view = near_view(xy, wide, degrees=0.0, loose=0.0)
    moved = view.points(xy)
    shown = view.sides(moved)
    assert view.flipped.any() and not view.flipped.all()
    torch.testing.assert_close(middle(moved, HIPS), torch.full((40, 2), SIZE / 2), rtol=0, atol=0.01)
    up = middle(shown, SHOULDERS) - middle(shown, HIPS)
    torch.testing.assert_close(up, torch.tensor([[0.0, -SIZE / wide]]).expand(40, 2), rtol=0, atol=0.02)
    assert not near_view(xy, wide, flip=False).flipped.any()


def test_views_are_off_by_as_much_as_allowed():
    torch.manual_seed(1)
    xy = people(4000)
    for loose in (1.0, 0.5):
        moved = near_view(xy, 4.0, degrees=6.0 * loose, loose=loose).points(xy)
        away = middle(moved, HIPS) - SIZE / 2
        assert float(away.mean(0).abs().max()) < 0.4 and away.std(0).tolist() == pytest.approx([OFF * loose] * 2, rel=0.08)
        up = middle(moved, SHOULDERS) - middle(moved, HIPS)
        tilt = torch.rad2deg(torch.atan2(up[:, 0], -up[:, 1])).abs()
        assert float(tilt.max()) == pytest.approx(6.0 * loose, abs=0.1)
        scale = up.norm(dim=-1) / (SIZE / 4)
        for most, sign in ((scale.max(), 1), (scale.min(), -1)):
            assert float(most) == pytest.approx(np.exp(sign * ZOOM * loose), abs=0.01)


def test_a_finer_picture_shows_a_spot_where_its_point_moves():
    torch.manual_seed(2)
    xy, times = people(6), 1.75
    view = near_view(xy, 3.0)
    at = (torch.arange(round(SIZE * times)) + 0.5) / times
    spot = xy[:, 25]
    fine = torch.exp(-((at[None, None] - spot[:, :1, None]) ** 2 + (at[None, :, None] - spot[:, 1:, None]) ** 2) / 18)[:, None]
    shown, where = view.of_finer(times).picture(fine)[:, 0], view.points(xy)[:, 25]
    for k in range(6):
        if ((where[k] > 20) & (where[k] < SIZE - 20)).all():
            row, column = divmod(int(shown[k].argmax()), SIZE)
            assert abs(column + 0.5 - float(where[k, 0])) < 1.1 and abs(row + 0.5 - float(where[k, 1])) < 1.1


def joints(b: int) -> tuple[dict[str, np.ndarray], torch.Tensor]:
    """Random bodies as the stage names them, x right, y down, z ahead, and as (b, 33, 3)."""
    from pipeline.landmarks.track import NAMES as POINTS

    world = np.random.default_rng(4).normal(0, 0.3, (b, 33, 3))
    return {name: world[:, k] for k, name in enumerate(POINTS)}, torch.tensor(world)


def test_true_angles_are_those_of_the_stage_counted_as_the_picture_shows_them():
    j, world = joints(60)
    xy = world[:, :, :2] * 100 + SIZE / 2
    got, other_way = true_angles(world, xy)
    assert other_way.any() and not other_way.all()
    for k, side in enumerate(("left", "right")):
        s, e, h, n, f = (j[f"{side}_{part}"] for part in ("shoulder", "elbow", "hip", "knee", "ankle"))
        hips = np.stack([directed(j, s, h, f), directed(j, s, h, n)], 1)
        opened = directed(j, e, s, h)
        want = np.concatenate(
            [np.where(other_way[:, None], 360 - hips, hips), np.stack([angle(h, n, f), np.minimum(opened, 360 - opened)], 1)], 1
        )
        off = turned(got[:, 4 * k : 4 * k + 4] - torch.deg2rad(torch.tensor(want)))
        assert float(torch.rad2deg(off).abs().max()) < 0.01


def test_of_a_body_square_to_the_camera_seen_and_true_angles_are_the_same_from_either_side():
    """Hips one behind the other, everything in planes across that line: the picture shows each angle as it is."""
    rng = np.random.default_rng(5)
    world = rng.normal(0, 0.3, (30, 33, 3))
    world[:, ::2, 2], world[:, 1::2, 2] = 0.1, -0.1
    world[:, 23, :2] = world[:, 24, :2] = 0  # hips; and shoulders above them, as a trunk has them
    world[:, 11, :2] = world[:, 12, :2] = np.array([0.02, -0.4])
    facing = np.where(np.arange(30) % 2, 1.0, -1.0)[:, None]
    world[..., 2] *= facing
    world = torch.tensor(world)
    xy = world[:, :, :2] * 100 + SIZE / 2
    got, other_way = true_angles(world, xy)
    torch.testing.assert_close(turned(seen_angles(xy) - got), torch.zeros(30, 8, dtype=torch.float64), rtol=0, atol=1e-3)
    assert other_way[::2].float().mean() in (0, 1) and other_way[1::2].float().mean() == 1 - other_way[::2].float().mean()


def test_angles_are_mirrored_with_the_view():
    _, world = joints(20)
    world = world.float()
    xy = world[:, :, :2] * 60 + SIZE / 2
    torch.manual_seed(6)
    view = near_view(xy, 3.0)
    known = {"xy": xy, "world": world, "aux": torch.zeros(20, 2, 2), "z": world[..., 2] * 60, "torso": torch.full((20, 1), 60.0)}
    known |= {name: torch.ones(20, 33) for name in ("seen", "marked", "framed")}
    before, after = true_angles(world, xy)[0], true_angles(*(carried(view, known)[k] for k in ("world", "xy")))[0]
    other = before.reshape(20, 2, 4).flip(1).clone()  # left is right, and hips are counted the other way
    other[..., :2] = 2 * np.pi - other[..., :2]
    torch.testing.assert_close(other_side(before), other.reshape(20, 8), rtol=0, atol=0)
    want = torch.where(view.flipped[:, None], other.reshape(20, 8), before)
    assert view.flipped.any() and float(turned(after - want).abs().max()) < 1e-3
    assert MIRRORED[23] == 24 and len(NAMES) == 4


def test_what_is_added_to_a_mirrored_body_s_angles_is_added_to_the_other_side_s():
    angles, added = torch.rand(5, 8) * np.pi, torch.rand(5, 8) - 0.5
    torch.testing.assert_close(other_side(angles + added), other_side(angles) + other_side(added, added=True))
    assert other_side(torch.arange(8.0)[None], added=True)[0].tolist() == [-4, -5, 6, 7, 0, -1, 2, 3]


def test_angles_by_points_are_the_product_s_to_the_last_degree():
    """What is trained on and what is read: torch in radians here, plain numbers there, of bodies at any turn and their mirror images."""
    xy = people(60, seed=9)
    xy[:10, [27, 28]] = xy[:10, [25, 26]] + (xy[:10, [25, 26]] - xy[:10, [23, 24]])  # straight knees
    for shown in (xy, torch.stack([SIZE - xy[:, MIRRORED, 0], xy[:, MIRRORED, 1]], -1)):
        here = torch.rad2deg(seen_angles(shown)).numpy()
        there = np.array([near_angles.angles_by_points(one) for one in shown.double().numpy()])
        assert np.abs((here - there + 180) % 360 - 180).max() < 0.05  # float32 near a straight knee
        assert there.min() >= 0 and there[:, near_angles.HIPS].max() > 200 and there[:, [2, 3, 6, 7]].max() <= 180
    sides = [
        torch.rad2deg(other_side(torch.deg2rad(torch.tensor(there)))).numpy(),
        np.array([near_angles.as_unmirrored(one) for one in there]),
    ]
    np.testing.assert_allclose(*sides, atol=1e-9)
    assert (NAMES, list(HIPS_ROUND)) == (near_angles.ANGLES, list(near_angles.HIPS))
    within = np.random.default_rng(2).random((40, 33)) < 0.85
    known = np.array([near_angles.known_by(one) for one in within])
    inside = in_crop(torch.tensor(within).float()).numpy() > 0
    inside[:, near_angles.HIPS] &= within[:, list(HIPS)].all(axis=1)[:, None]  # the product asks for the trunk's other hip too
    assert inside.tolist() == known.tolist() and 0.1 < known.mean() < 0.9


def test_an_angle_counts_only_where_all_its_points_lie_in_the_crop():
    within = torch.ones(1, 33)
    within[0, 27] = 0  # left ankle: the left hip by the ankle and the left knee are not seen
    assert in_crop(within)[0].tolist() == [0, 1, 0, 1, 1, 1, 1, 1]
    within[0, 12] = 0  # right shoulder: no trunk, so no hip; and the right shoulder
    assert in_crop(within)[0].tolist() == [0, 0, 0, 1, 0, 0, 1, 0]
