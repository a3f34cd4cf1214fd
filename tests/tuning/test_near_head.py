"""The near look's head in training and in the product: the same network, the same features and the same degrees."""

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.landmarks import models, near_angles  # noqa: E402
from pipeline.landmarks.crops import SIZE, Crop, cut  # noqa: E402
from pipeline.landmarks.near import Near, in_mirror, near_crop, seen_near  # noqa: E402
from pipeline.landmarks.net import FEATURES, JOINTS, LandmarkNet  # noqa: E402
from pipeline.landmarks.tuning import near_angles as taught  # noqa: E402
from pipeline.landmarks.tuning import near_net  # noqa: E402
from pipeline.landmarks.tuning.near_net import AngleHead, NearNet  # noqa: E402
from tests.landmarks.test_near import held_in  # noqa: E402
from tests.tuning.test_models import picture  # noqa: E402

WHOLE = Crop((SIZE - 1) / 2, (SIZE - 1) / 2, SIZE, 0.0)  # the picture as it is


@pytest.fixture
def model(tmp_path, monkeypatch) -> models.LandmarkModel:
    monkeypatch.setenv("MATSIDE_CACHE", str(tmp_path))
    return models.near_model(models.landmark_model("tuned"), True)


def looked(model: models.LandmarkModel, pixels: np.ndarray) -> near_net.Look:
    with torch.no_grad():
        return NearNet(model.path, "cpu").look(torch.from_numpy(pixels.copy())[None].permute(0, 3, 1, 2).float() / 255)


def in_torch(path: Path) -> AngleHead:
    """A head's file as the module that it was made from."""
    with np.load(path) as kept:
        head = AngleHead(torch.zeros(2, len(kept["mean"])))
        state = {name: kept[name] for name in ("mean", "deviation")}
        linear = [k for k, layer in enumerate(head.layers) if isinstance(layer, torch.nn.Linear)]
        state |= {f"layers.{at}.{part}": kept[f"{part}_{k}"] for k, at in enumerate(linear) for part in ("weight", "bias")}
    head.load_state_dict({name: torch.from_numpy(value) for name, value in state.items()})
    return head.eval()


def test_a_head_written_by_training_tells_the_product_the_same_degrees(tmp_path):
    """Any head, any features, those beyond what counts among them."""
    torch.manual_seed(0)
    width = FEATURES + 2 * len(JOINTS)
    like = torch.randn(50, width) * torch.rand(width) * 3 + torch.randn(width)
    like[:, 5] = 1.0  # one that never changes: its deviation is held up
    head = AngleHead(like).eval()
    features = like[:20] * torch.tensor([1.0, 4.0, -20.0, 0.0])[torch.arange(20) % 4, None]
    with torch.no_grad():
        assert (head(features) == 0).all(), "nothing at first"
        for p in head.parameters():
            p.copy_(torch.randn_like(p) / p.shape[-1] ** 0.5)
        wanted = head(features).numpy() * near_net.STEP
    np.savez(tmp_path / "head.npz", **head.arrays())
    there = near_angles.AngleHead(tmp_path / "head.npz")
    got = np.array([there(row) for row in features.numpy()])
    assert np.ptp(wanted) > 5 and np.abs(got - wanted).max() < 1e-3
    assert all(value.dtype == np.float32 for value in head.arrays().values())
    assert (near_net.STEP, near_net.BEYOND, near_net.AT) == (near_angles.STEP, near_angles.BEYOND, JOINTS)


@pytest.mark.parametrize("mirrored", [False, True], ids=["plain", "mirrored"])
def test_the_product_gives_the_head_what_training_gives_it_and_tells_the_same_degrees(model, mirrored):
    net, head, pixels = LandmarkNet(models.inner_file(model)), near_angles.angle_head(model.head.path), picture()
    seen = net.read(pixels, WHOLE, mirrored=mirrored).xy
    points, given = in_mirror(seen) if mirrored else seen, []
    told = near_angles.told_angles(lambda x: given.append(x) or head(x), points, net.features(), mirrored=mirrored)
    look = looked(model, pixels[:, ::-1] if mirrored else pixels)
    wanted = look.features()[0].numpy()
    assert len(wanted) == len(given[0]) == FEATURES + 2 * len(JOINTS)
    for part in (slice(0, FEATURES - 117), slice(FEATURES - 117, FEATURES), slice(FEATURES, None)):  # the layer, points in space, the shape
        assert np.abs(given[0][part] - wanted[part]).max() < 1e-2 * np.abs(wanted[part]).max()
    with torch.no_grad():
        degrees = torch.rad2deg(taught.seen_angles(look.refined)) + in_torch(model.head.path)(look.features()) * near_net.STEP
        degrees = torch.rad2deg(taught.other_side(torch.deg2rad(degrees))) if mirrored else degrees
    assert np.abs((told - degrees[0].numpy() + 180) % 360 - 180).max() < 0.1
    assert np.abs(head(given[0])).max() > 0.5, "it adds something"


def test_a_look_from_near_by_tells_the_mean_of_what_training_tells_of_both_looks(model):
    """Through the whole of it, of a drawn hold."""
    image, body = held_in("OT-02_2026-03-09_1")
    pixels, each = cut(image, near_crop(body)), []
    for mirrored in (False, True):
        look = looked(model, pixels[:, ::-1] if mirrored else pixels)
        with torch.no_grad():
            angles = taught.seen_angles(look.refined) + torch.deg2rad(in_torch(model.head.path)(look.features()) * near_net.STEP)
        each.append(torch.rad2deg(taught.other_side(angles) if mirrored else angles)[0].numpy())
    told = seen_near(Near.load(model), image, body).angles
    off = (told - near_angles.middle_angles(np.array(each)) + 180) % 360 - 180
    assert np.isfinite(off).sum() >= 6 and np.nanmax(np.abs(off)) < 0.1
