"""The world output: angles in space by hand, and a last layer fitted alone that leaves all else as it was."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.landmarks.tuning.labels import split  # noqa: E402
from pipeline.landmarks.tuning.network import WORLD, LandmarkNet  # noqa: E402
from pipeline.landmarks.tuning.package import MODELS  # noqa: E402
from pipeline.landmarks.tuning.pool import Pool  # noqa: E402
from pipeline.landmarks.tuning.world import fit_world, included, last_layer, metres, shape_loss, with_layer, world_figures  # noqa: E402
from tests.tuning.test_train import filled_pool  # noqa: E402

BASE = MODELS / "matside_full.tflite"


def leg(degrees: float) -> torch.Tensor:
    """(1, 33, 3): both thighs straight down, the shanks bent toward the camera so that the knee measures `degrees`: unseen in the picture."""
    out, a = torch.zeros(1, 33, 3), np.radians(180 - degrees)
    for hip, knee, ankle, x in ((23, 25, 27, 0.1), (24, 26, 28, -0.1)):
        out[0, hip], out[0, knee] = torch.tensor([x, 0.0, 0.0]), torch.tensor([x, 0.4, 0.0])
        out[0, ankle] = out[0, knee] + 0.4 * torch.tensor([0.0, np.cos(a), -np.sin(a)])
    return out


@pytest.mark.parametrize("degrees", [180.0, 150.0, 90.0, 35.0])
def test_an_angle_toward_the_camera_is_read_from_depth(degrees):
    assert float(torch.rad2deg(included(leg(degrees), (23, 25, 27)))) == pytest.approx(degrees, abs=0.1)


def test_the_shape_loss_is_nothing_on_the_truth_grows_with_the_error_and_has_a_slope_at_straight_limbs():
    weight = torch.zeros(1, 33)
    weight[:, 23:29] = 1.0
    loss = [float(sum(shape_loss(leg(180.0 - off), leg(180.0), weight).values())) for off in (0.0, 10.0, 40.0)]
    assert loss[0] < 1e-3 < loss[1] < loss[2]
    straight = leg(180.0).requires_grad_(True)
    sum(shape_loss(straight, leg(120.0), weight).values()).backward()
    assert torch.isfinite(straight.grad).all()
    assert float(sum(shape_loss(leg(90.0), leg(180.0), torch.zeros(1, 33)).values())) == 0.0  # what is out of the crop asks nothing


def test_figures_tell_knees_bent_in_depth_from_the_picture():
    known = {
        "world": leg(120.0).numpy(), "xy": leg(120.0).numpy()[..., :2] * 100 + 128, "seen": np.ones((1, 33)), "framed": np.ones((1, 33)),
        "person": np.ones((1, 1)),
    }  # fmt: skip
    told = world_figures(leg(130.0).numpy(), known)
    assert told["knee MAE"] == pytest.approx(10, abs=0.2) and told["by the picture"] == pytest.approx(60, abs=0.2)
    assert told["bent in depth, n"] == 2 and told["MAE there"] == pytest.approx(10, abs=0.2)


def test_the_last_layer_is_fitted_alone(tmp_path, bodies, compiler):
    filled_pool(tmp_path / "pool", bodies)
    pool = Pool(tmp_path / "pool", tmp_path / "none", slots=12, workers=1, check=6, seed=1, fill=False)
    layer, figures = fit_world(BASE, pool, crops=60, steps=60, rate=3e-3)
    assert set(layer) == set(last_layer(LandmarkNet(BASE))[:2]) and set(figures) == {"before", "after"}
    (tmp_path / "fitted.tflite").write_bytes(with_layer(BASE, layer))
    before, after = LandmarkNet(BASE), LandmarkNet(tmp_path / "fitted.tflite")
    shown = np.memmap(tmp_path / "pool" / "pool.pictures", np.uint8, "r").reshape(-1, 256, 256, 3)
    known = split(torch.from_numpy(np.fromfile(tmp_path / "pool" / "pool.labels", np.float32).reshape(len(shown), -1)))
    with torch.no_grad():
        x = torch.from_numpy(np.array(shown)).permute(0, 3, 1, 2).float() / 255
        old, new = before(x), after(x)
    for k, (a, b) in enumerate(zip(old, new, strict=True)):
        assert torch.equal(a, b) is (k != WORLD)  # points, presence, mask and heatmaps to the bit
    off = [(w.reshape(-1, 39, 3)[:, :33] - metres(known)).abs().mean() for w in (old[WORLD], new[WORLD])]
    assert off[1] < 0.9 * off[0]
