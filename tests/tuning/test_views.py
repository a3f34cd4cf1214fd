"""Turned and mirrored crops carry their points along; joint centres; a few training steps."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.landmarks.tuning.anchors import CREDIT_COLUMNS, Anchors  # noqa: E402
from pipeline.landmarks.tuning.convention import offsets, to_joint_centres  # noqa: E402
from pipeline.landmarks.tuning.labels import SIZE  # noqa: E402
from pipeline.landmarks.tuning.package import MODELS  # noqa: E402
from pipeline.landmarks.tuning.views import MIRRORED, View, scrambled  # noqa: E402


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


def test_two_steps_change_the_weights_and_leave_a_file_that_fits(tmp_path, bodies, compiler):
    import cv2

    from pipeline.landmarks.net import LandmarkNet as Runner
    from pipeline.landmarks.tuning.train import TrainSettings, train

    np.savez(
        tmp_path / "bodies.npz", vertices=bodies.vertices, heads=bodies.heads, faces=bodies.faces, bone_of=bodies.bone_of, weight=bodies.weight,
        bones=np.array(bodies.bones), parents=np.array(bodies.parents),
    )  # fmt: skip
    jpeg = cv2.imencode(".jpg", np.full((384, 384, 3), 120, np.uint8))[1].ravel()
    Anchors([jpeg], [0], [dict.fromkeys(CREDIT_COLUMNS, "a test")]).save(tmp_path / "anchors.npz")
    base = MODELS / "matside_full.tflite"
    report = train(
        TrainSettings(
            base=base, bodies=tmp_path / "bodies.npz", out=tmp_path / "run", pool=tmp_path / "pool", anchors=tmp_path / "anchors.npz", steps=2,
            batch=3, real_batch=1, workers=1, slots=12, first_crops=10, check=6, mixes=(0.5,), device="cpu",
        )
    )  # fmt: skip
    assert report["steps"] == 2 and report["credits"][0]["licence"] == "a test"
    tuned = tmp_path / "run" / "tuned.tflite"
    assert tuned.stat().st_size == base.stat().st_size and tuned.read_bytes() != base.read_bytes()
    assert np.isfinite(Runner(tuned).raw(np.zeros((256, 256, 3), np.uint8))[0]).all()
