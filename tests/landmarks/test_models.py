"""Model files: found without importing mediapipe, trimmed without changing a point, refused in one line."""

import subprocess
import sys
import zipfile

import numpy as np
import pytest

from pipeline.errors import MatsideError
from pipeline.landmarks import models
from pipeline.landmarks.locate import _networks
from pipeline.landmarks.net import CHANNELS, FEATURES, JOINTS, LandmarkNet, between_cells


def test_the_wheels_model_is_found_without_running_mediapipe():
    code = "from pipeline.landmarks import models; import sys; m = models.landmark_model(); models.detector_path(); print(m.sha256, 'mediapipe' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert out == [models.landmark_model("wheel").sha256, "False"]


def test_the_trimmed_model_gives_the_same_points_to_the_last_bit(tmp_path, monkeypatch):
    monkeypatch.setenv("MATSIDE_CACHE", str(tmp_path))
    model = models.landmark_model()
    pixels = np.random.default_rng(0).integers(0, 255, (256, 256, 3), dtype=np.uint8)
    whole, trimmed = LandmarkNet(model.path), LandmarkNet(models.fast_file(model))
    for a, b in zip(whole.raw(pixels), trimmed.raw(pixels), strict=True):
        np.testing.assert_array_equal(a, b)
    assert len(list((tmp_path / "models").iterdir())) == 1


def test_the_inner_file_gives_the_same_points_and_what_they_are_made_of(tmp_path, monkeypatch):
    """The heatmap at each cell is made of that cell's channels alone: the features tell a joint's own heatmap, by the same weights."""
    monkeypatch.setenv("MATSIDE_CACHE", str(tmp_path))
    model = models.near_model(models.landmark_model("tuned"), True)
    fast, inner = LandmarkNet(models.fast_file(model)), LandmarkNet(models.inner_file(model))
    layers, maps = [], []
    for seed in range(3):
        pixels = np.random.default_rng(seed).integers(0, 255, (256, 256, 3), dtype=np.uint8)
        for a, b in zip(fast.raw(pixels), inner.raw(pixels), strict=True):
            np.testing.assert_array_equal(a, b)
        assert fast.features() is None
        points, _, heatmaps = inner.raw(pixels)
        features = inner.features()
        assert features.shape == (FEATURES,) and np.isfinite(features).all()
        layers.append(features[: len(JOINTS) * CHANNELS].reshape(-1, CHANNELS))
        maps.append(between_cells(heatmaps, points[list(JOINTS), :2]))
    layers, maps = np.concatenate(layers), np.concatenate(maps)
    assert len(layers) == 30 < CHANNELS, "too few to fit: so the weights come from the whole layer"
    whole = inner._net.get_tensor(inner._inner)[0].reshape(-1, CHANNELS)
    weights = np.linalg.lstsq(np.c_[whole, np.ones(len(whole))], heatmaps.reshape(len(whole), -1), rcond=None)[0]
    np.testing.assert_allclose(np.c_[layers, np.ones(30)] @ weights, maps, atol=0.02 * np.abs(maps).max())


def test_a_layer_is_read_between_its_cells():
    layer = np.arange(16.0).reshape(4, 4, 1)
    at = np.array([[32.0, 32.0], [96.0, 32.0], [64.0, 64.0], [-50.0, 0.0], [400.0, 400.0]])  # of 256 pixels: cells are 64 wide
    assert between_cells(layer, at)[:, 0].tolist() == [0.0, 1.0, 2.5, 0.0, 15.0]


def test_a_bundle_is_built_once_and_holds_both_models(tmp_path, monkeypatch):
    monkeypatch.setenv("MATSIDE_CACHE", str(tmp_path))
    model = models.landmark_model()
    first = models.task_bundle(model)
    stamp = first.stat().st_mtime_ns
    assert models.task_bundle(model).stat().st_mtime_ns == stamp
    with zipfile.ZipFile(first) as bundle:
        assert sorted(bundle.namelist()) == ["pose_detector.tflite", "pose_landmarks_detector.tflite"]
        assert all(i.compress_type == zipfile.ZIP_STORED for i in bundle.infolist())
    from_task = models.landmark_model(str(first))
    assert LandmarkNet(models.fast_file(from_task)).raw(np.zeros((256, 256, 3), np.uint8))[0].shape == (39, 5)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("absent.tflite", None, "there is no such file"),
        ("text.tflite", b"hello", "pose"),
        ("text.task", b"hello", "not a pose-landmarker bundle"),
    ],
)
def test_a_wrong_model_file_is_refused_in_one_line(tmp_path, monkeypatch, name, content, words):
    monkeypatch.setenv("MATSIDE_CACHE", str(tmp_path))
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(MatsideError, match=words) as error:
        LandmarkNet(models.fast_file(models.landmark_model(str(tmp_path / name))))
    assert "\n" not in str(error.value)


def test_the_detector_file_is_not_a_landmark_model():
    with pytest.raises(MatsideError, match="not a landmark model"):
        LandmarkNet(models.detector_path())


def test_the_second_look_is_the_other_model_s_where_it_is_installed(tmp_path, monkeypatch, caplog):
    """Without the optional file the first model looks twice: one line says so, and tracks are kept under another key."""
    tuned = models.landmark_model("tuned")
    (tmp_path / models.SHIPPED["tuned"]).write_bytes(tuned.path.read_bytes())
    monkeypatch.setattr(models, "HERE", tmp_path)
    models._say_once.cache_clear()
    first = models.landmark_model("tuned")
    assert models.second_model(first, "other") == models.second_model(first, "same") == first
    assert models.second_model(first, "other") == first
    assert [r.getMessage() for r in caplog.records if models.SECOND in r.getMessage()] == [
        f"{tmp_path / models.SECOND} is not installed: the tuned model takes the second look too, which is a little less exact."
    ]
    without = models.used("tuned", "other")
    assert without == models.used("tuned", "same") == first.key
    (tmp_path / models.SECOND).write_bytes(b"another model")
    second = models.second_model(first, "other")
    assert second is not None and second.path == tmp_path / models.SECOND and second != first
    assert models.used("tuned", "other") == f"{first.key}-{second.key}"
    assert models.used("tuned", "none") not in (without, models.used("tuned", "other"))
    assert models.second_model(models.landmark_model("wheel"), "other") == models.landmark_model(
        "wheel"
    )  # marks other points: not beside the tuned one


def test_the_network_for_crowds_is_part_of_the_key_where_it_is_installed(tmp_path, monkeypatch, caplog):
    """Without the optional file nobody follows unsure clips again with it: one line says so, and tracks are kept under another key."""
    tuned = models.landmark_model("tuned")
    (tmp_path / models.SHIPPED["tuned"]).write_bytes(tuned.path.read_bytes())
    monkeypatch.setattr(models, "HERE", tmp_path)
    models._say_once.cache_clear()
    first = models.landmark_model("tuned")
    assert models.crowd_model(first) is None and models.crowd_model(first) is None
    said = [r.getMessage() for r in caplog.records if models.CROWDS in r.getMessage()]
    assert said == [f"{tmp_path / models.CROWDS} is not installed: athletes in crowded clips are mixed up with others more often."]
    assert models.used("tuned", "same") == first.key
    (tmp_path / models.CROWDS).write_bytes(b"another model")
    crowds = models.crowd_model(first)
    assert crowds is not None and models.used("tuned", "same") == f"{first.key}-{crowds.key}"
    assert models.crowd_model(models.landmark_model("wheel")) is None  # marks other points
    assert models.second_model(models.landmark_model(str(crowds.path)), "other").path == crowds.path  # looks twice itself


def test_the_near_look_s_key_is_of_network_and_head_and_it_needs_both(tmp_path, monkeypatch, caplog):
    """Readings kept by the key: another head tells other angles. Without either file nobody looks from near by, and one line says so."""
    shipped = {name: (models.HERE / name).read_bytes() for name in (models.SHIPPED["tuned"], models.NEAR, models.NEAR_ANGLES)}
    for name, content in shipped.items():
        (tmp_path / name).write_bytes(content)
    monkeypatch.setattr(models, "HERE", tmp_path)
    near = lambda: models.near_model(models.landmark_model("tuned"), True)  # noqa: E731
    first = near()
    assert first.path == tmp_path / models.NEAR and first.head.path == tmp_path / models.NEAR_ANGLES
    assert first.key == f"{first.sha256[:12]}-{first.head.sha256[:6]}"
    assert models.looked_with("tuned", "same", True).endswith(f"-{first.key}")
    (tmp_path / models.NEAR_ANGLES).write_bytes(b"another head")
    assert near().sha256 == first.sha256 and near().key != first.key
    for lacks in (models.NEAR_ANGLES, models.NEAR):
        (tmp_path / lacks).unlink()
        models._say_once.cache_clear()
        assert near() is None and near() is None
        said = [r.getMessage() for r in caplog.records if f"{tmp_path / lacks} is not installed: nobody looks" in r.getMessage()]
        assert len(said) == 1, lacks


def test_the_next_clip_of_a_process_finds_the_networks_loaded():
    first, second = (models.fast_file(models.landmark_model(name)) for name in ("tuned", "wheel"))
    net, again, detector = _networks(first, first, models.detector_path())
    assert again is net, "the same model looks twice"
    assert _networks(first, first, models.detector_path()) == (net, again, detector)
    other = _networks(first, second, models.detector_path())
    assert other[1] is not None and other[1] is not other[0]
    assert _networks(first, None, models.detector_path())[1] is None
