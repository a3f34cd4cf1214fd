"""Turned and mirrored crops carry their points along; joint centres; real people in front of drawn ones; borrowed light."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.landmarks.tuning.convention import offsets, to_joint_centres  # noqa: E402
from pipeline.landmarks.tuning.labels import SIZE  # noqa: E402
from pipeline.landmarks.tuning.views import MIRRORED, View, borrow_light, scrambled, stand_in_front  # noqa: E402


def brightest(x: torch.Tensor) -> np.ndarray:
    """(b, 2) middle of the light in each crop, pixels, the first pixel's middle at 0.5."""
    at = torch.arange(x.shape[-1]) + 0.5
    plane = x.mean(1)
    total = plane.sum((1, 2))
    return torch.stack([(plane.sum(1) * at).sum(1) / total, (plane.sum(2) * at).sum(1) / total], 1).numpy()


@pytest.mark.parametrize("room", [0, 64])
def test_a_spot_moves_to_where_its_point_moves_also_from_a_wider_picture(room):
    torch.manual_seed(0)
    b, size = 12, SIZE + 2 * room
    view = View.random(b, "cpu", degrees=30, zoom=0.2, shift=8, any_turn=0.3)
    spots = 100 + 56 * torch.rand(b, 1, 2)
    y, x = torch.meshgrid(torch.arange(size) + 0.5 - room, torch.arange(size) + 0.5 - room, indexing="ij")
    image = torch.exp(-((x - spots[..., :1]) ** 2 + (y - spots[..., 1:]) ** 2) / 18)[:, None].expand(-1, 3, -1, -1)
    moved = view.points(spots)
    np.testing.assert_allclose(brightest(view.picture(image)), moved[:, 0].numpy(), atol=0.05)
    torch.testing.assert_close(view.unpoints(moved), spots, rtol=1e-4, atol=1e-3)


def test_mirroring_exchanges_sides_twice_is_nothing():
    torch.manual_seed(1)
    view, values = View.random(8, "cpu", degrees=5, zoom=0.1, shift=2), torch.rand(8, 33, 2)
    assert view.flipped.any() and not view.flipped.all()
    torch.testing.assert_close(view.sides(view.sides(values)), values)
    flipped = int(view.flipped.nonzero()[0])
    torch.testing.assert_close(view.sides(values)[flipped, 11], values[flipped, 12])
    assert MIRRORED[23] == 24 and MIRRORED[0] == 0


def test_scrambled_crops_keep_their_pixels_but_not_their_places():
    torch.manual_seed(2)
    x = torch.rand(1, 3, SIZE, SIZE)
    while True:  # the blend is left out seven times in ten
        out = scrambled(x, 4)
        if torch.equal(out.sort().values.sum(), x.sort().values.sum()) or abs(float(out.std() - x.std())) < 1e-6:
            break
    assert not torch.equal(out, x)
    torch.testing.assert_close(out.flatten().sort().values, x.flatten().sort().values)


def test_family_points_of_a_known_body_move_to_its_joint_centres():
    """A body facing the camera, trunk upright: up is known exactly, so shoulders and hips must come back."""
    rng, scale = np.random.default_rng(0), 120.0  # pixels a metre
    world = rng.normal(0, 0.2, (33, 3))
    world[[11, 12, 23, 24]] = [[0.15, -0.45, 0], [-0.15, -0.45, 0], [0.1, 0, 0], [-0.1, 0, 0]]  # y down
    centres = world[:, :2] * scale + SIZE / 2
    family = centres.copy()
    for j in (11, 12, 23, 24):  # outward is to the body's left: +x here; up is -y; back is into the picture
        outward, _, up = offsets()[j] * 1.65 / 1.6
        family[j] += np.array([outward, -up]) * scale
    got = to_joint_centres(torch.tensor(family[None], dtype=torch.float32), torch.tensor(world[None], dtype=torch.float32))[0].numpy()
    assert np.abs(family[[11, 12]] - centres[[11, 12]]).max() > 3
    np.testing.assert_allclose(got[[11, 12, 23, 24]], centres[[11, 12, 23, 24]], atol=0.6)
    np.testing.assert_allclose(got[0], family[0])


def test_a_view_and_its_inverse_leave_points_picture_and_world_as_they_were():
    torch.manual_seed(4)
    view = View.random(6, "cpu", degrees=40, zoom=0.2, shift=10)
    back, points, world = view.inverse(), 60 + 130 * torch.rand(6, 33, 2), torch.randn(6, 33, 3)
    torch.testing.assert_close(back.points(view.points(points)), points, rtol=1e-4, atol=1e-2)
    torch.testing.assert_close(back.world(view.world(world)), world, rtol=1e-4, atol=1e-4)
    y, x = torch.meshgrid(torch.arange(SIZE) + 0.5, torch.arange(SIZE) + 0.5, indexing="ij")
    smooth = torch.exp(-((x - 140) ** 2 + (y - 110) ** 2) / 800)[None, None].expand(6, 3, -1, -1)
    assert (back.picture(view.picture(smooth)) - smooth).abs().max() < 0.02


def _known(b: int, at: float) -> dict:
    return {"xy": torch.full((b, 33, 2), at), "seen": torch.ones(b, 33), "person": torch.ones(b)}


def test_someone_in_front_hides_what_he_covers_and_never_most_of_the_athlete():
    torch.manual_seed(5)
    b = 40
    x, wide = torch.zeros(b, 3, SIZE, SIZE), torch.ones(b, 3, 384, 384)
    mask = torch.zeros(b, 1, SIZE, SIZE)
    mask[:, :, 40:216, 100:156] = 1
    known = _known(b, 128.0)
    known["xy"][:, 31] = 20.0  # a toe near the edge
    out, told = stand_in_front(x, known, wide, mask, 1.0)
    added = out.flatten(1).amax(1) > 0.5
    assert added.any()
    for k in range(b):
        for j in (11, 31):
            column, row = known["xy"][k, j].long().tolist()
            covered = float(out[k, 0, row, column]) > 0.6
            assert covered <= (told["seen"][k, j] == 0)  # whatever he covers is hidden from then on
    assert (told["seen"][:, 11] == 1).all()  # twelve joints in one place: he would cover all of them, so he stays away
    nobody = dict(known, person=torch.zeros(b))
    assert torch.equal(stand_in_front(x, nobody, wide, mask, 1.0)[0], x)


def test_borrowed_light_changes_slow_colours_and_keeps_edges():
    torch.manual_seed(6)
    x = torch.zeros(8, 3, SIZE, SIZE) + 0.4
    x[:, :, ::2] += 0.1  # the finest stripes there are
    red = torch.zeros(3, 3, SIZE, SIZE)
    red[:, 0] = 0.9
    out = borrow_light(x, red, 1.0)
    assert (out[:, 0].mean((1, 2)) > out[:, 2].mean((1, 2)) + 0.01).all()
    stripes = (out[:, :, ::2] - out[:, :, 1::2])[:, :, 20:-20, 20:-20]
    torch.testing.assert_close(stripes, torch.full_like(stripes, 0.1), rtol=0, atol=0.02)
    torch.testing.assert_close(borrow_light(x, red, 0.0), x, rtol=0, atol=1e-5)
