"""The file that ships, and the network rebuilt from it."""

import hashlib
import re
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import MatsideError
from pipeline.landmarks import models
from pipeline.landmarks.net import LandmarkNet as Runner
from pipeline.landmarks.tuning import package as packing
from pipeline.landmarks.tuning.__main__ import main as command
from pipeline.landmarks.tuning.package import (
    ANGLES,
    ANGLES_MADE,
    CARD,
    CARDS,
    CARTWHEELS,
    FULL,
    MODELS,
    MOST_BYTES,
    MOST_BYTES_OF,
    NEAR,
    SECOND,
    card_hash,
    checked_hash,
    package,
)

SHIPPED = MODELS / "matside_full.tflite"


def picture() -> np.ndarray:
    """A figure on a mottled wall: (256, 256, 3) uint8."""
    import cv2

    image = cv2.resize(np.random.default_rng(0).integers(60, 200, (8, 8, 3)).astype(np.uint8), (256, 256), interpolation=cv2.INTER_CUBIC)
    for a, b, wide in (
        ((128, 60), (128, 120), 34),
        ((120, 120), (112, 190), 16),
        ((136, 120), (144, 190), 16),
        ((112, 66), (90, 120), 10),
        ((144, 66), (166, 120), 10),
    ):
        cv2.line(image, a, b, (40, 60, 160), wide)
    cv2.circle(image, (128, 38), 16, (200, 160, 140), -1)
    return image


@pytest.mark.parametrize("name", list(CARDS))
def test_the_shipped_file_is_the_one_on_the_card_small_enough_and_runs(name):
    shipped = MODELS / name
    assert hashlib.sha256(shipped.read_bytes()).hexdigest() == card_hash(MODELS / CARDS[name])
    assert checked_hash(shipped, most_bytes=MOST_BYTES_OF[name]) == card_hash(MODELS / CARDS[name])
    assert shipped.stat().st_size <= MOST_BYTES_OF[name]
    points, presence, heatmaps = Runner(shipped).raw(picture())
    assert points.shape == (39, 5) and heatmaps.shape == (64, 64, 39) and 0 <= presence <= 1


def test_the_two_shipped_models_are_two_opinions():
    """Another training of one network: points differ by pixels on a figure, and neither file is the other's copy."""
    first, second = (Runner(MODELS / name).raw(picture()) for name in (FULL, SECOND))
    apart = np.abs(first[0][:33, :2] - second[0][:33, :2])
    assert 0.1 < np.median(apart) < 25


def test_packaging_writes_file_and_hash_and_refuses_what_is_no_model(tmp_path):
    (tmp_path / CARD.name).write_text(CARD.read_text(encoding="utf-8").replace(card_hash(), "0" * 64), encoding="utf-8")
    stamp = package(SHIPPED, folder=tmp_path)
    assert card_hash(tmp_path / CARD.name) == stamp == card_hash() and (tmp_path / SHIPPED.name).read_bytes() == SHIPPED.read_bytes()
    (tmp_path / "text.tflite").write_text("not a model")
    with pytest.raises(MatsideError, match=r"text\.tflite"):
        package(tmp_path / "text.tflite", folder=tmp_path)
    large = tmp_path / "large.tflite"
    large.write_bytes(b"\0" * (MOST_BYTES + 1))
    with pytest.raises(MatsideError, match="at most 10 MB"):
        package(large, folder=tmp_path)


def angles_on(card: Path) -> list[str]:
    """The hashes of heads that a card tells."""
    return re.findall(r"^sha256 of its angles: `([0-9a-f]{64})`$", card.read_text(encoding="utf-8"), re.MULTILINE)


@pytest.mark.parametrize("name", list(ANGLES))
def test_the_shipped_angle_head_is_the_one_on_its_near_look_s_card(name):
    assert angles_on(MODELS / CARDS[name]) == [hashlib.sha256((MODELS / ANGLES[name]).read_bytes()).hexdigest()]


def test_near_looks_are_packed_by_the_names_that_they_are_looked_for_by():
    assert {models.NEAR: models.NEAR_ANGLES, models.CARTWHEELS: models.CARTWHEELS_ANGLES} == ANGLES
    assert (NEAR, CARTWHEELS) == (models.NEAR, models.CARTWHEELS) and len({NEAR, CARTWHEELS, *ANGLES.values()}) == 4


def test_packaging_the_near_look_takes_the_head_beside_it_and_both_hashes_along(tmp_path):
    made, folder = tmp_path / "made", tmp_path / "models"
    made.mkdir(), folder.mkdir()
    card, other = folder / CARDS[NEAR], MODELS / CARDS[NEAR]
    words = other.read_text(encoding="utf-8")
    card.write_text(words.replace(card_hash(other), "0" * 64).replace(*angles_on(other), "1" * 64), encoding="utf-8")
    before = card.read_text(encoding="utf-8")
    (made / "near.tflite").write_bytes((MODELS / NEAR).read_bytes())
    for content, says in ((None, ANGLES_MADE), (b"no head", ANGLES_MADE)):
        if content:
            (made / ANGLES_MADE).write_bytes(content)
        with pytest.raises(MatsideError, match=says):
            package(made / "near.tflite", name=NEAR, folder=folder)
        assert card.read_text(encoding="utf-8") == before and list(folder.iterdir()) == [card], "nothing is put in place without it"
    (made / ANGLES_MADE).write_bytes((MODELS / ANGLES[NEAR]).read_bytes())
    stamp = package(made / "near.tflite", name=NEAR, folder=folder)
    assert stamp == card_hash(card) == card_hash(other) and angles_on(card) == angles_on(other)
    assert card.read_text(encoding="utf-8") == words
    for name in (NEAR, ANGLES[NEAR]):
        assert (folder / name).read_bytes() == (MODELS / name).read_bytes()


def test_packaging_cartwheels_puts_file_head_and_both_hashes_in_place_and_leaves_the_near_look_alone(tmp_path, monkeypatch, capsys):
    made, folder, whole = tmp_path / "made", tmp_path / "models", packing.package
    made.mkdir(), folder.mkdir()
    monkeypatch.setattr(packing, "package", lambda model, *, name: whole(model, name=name, folder=folder))
    monkeypatch.setattr("sys.argv", ["tuning", "package", str(made / "near.tflite"), "--cartwheels"])
    card = "Cartwheels.\n\nsha256: `{}`\nsha256 of its angles: `{}`\n\nEnd.\n"
    (folder / "CARD_CARTWHEELS.md").write_text(card.format("0" * 64, "1" * 64), encoding="utf-8")
    others = (NEAR, ANGLES[NEAR], CARDS[NEAR])
    for name in others:
        (folder / name).write_bytes((MODELS / name).read_bytes())
    before = {file.name: file.read_bytes() for file in folder.iterdir()}

    network, head = ((MODELS / name).read_bytes() for name in (CARTWHEELS, ANGLES[CARTWHEELS]))
    (made / "near.tflite").write_bytes(network)
    with pytest.raises(SystemExit) as end:
        command()
    said = capsys.readouterr().err
    assert end.value.code == 1 and ANGLES_MADE in said and said.count("\n") == 1
    assert {file.name: file.read_bytes() for file in folder.iterdir()} == before, "nothing is put in place without its head"

    (made / ANGLES_MADE).write_bytes(head)
    with pytest.raises(SystemExit) as end:
        command()
    stamps = [hashlib.sha256(content).hexdigest() for content in (network, head)]
    assert not end.value.code and capsys.readouterr().out == f"matside_cartwheels.tflite: sha256 {stamps[0]}\n"
    after = {file.name: file.read_bytes() for file in folder.iterdir()}
    assert after == before | {
        "matside_cartwheels.tflite": network,
        "matside_cartwheels_angles.npz": head,
        "CARD_CARTWHEELS.md": card.format(*stamps).encode(),
    }


def test_the_rebuilt_network_gives_the_same_points_as_the_file_in_litert():
    torch = pytest.importorskip("torch")
    pytest.importorskip("tflite")
    from pipeline.landmarks.heatmaps import refine as plain_refine
    from pipeline.landmarks.tuning.heatmap import refine
    from pipeline.landmarks.tuning.network import HEATMAP, PERSON, POINTS, LandmarkNet

    image, network = picture(), LandmarkNet(SHIPPED)
    with torch.no_grad():
        points, person, heatmap = network(torch.from_numpy(image)[None].permute(0, 3, 1, 2).float() / 255, want=(POINTS, PERSON, HEATMAP))
        refined, _, peak = refine(points.reshape(1, 39, 5), heatmap)
    raw, presence, heatmaps = Runner(SHIPPED).raw(image)
    expected, expected_peak = plain_refine(raw[:, :2], heatmaps)
    assert np.abs(points.reshape(39, 5)[:, :2].numpy() - raw[:, :2]).max() < 0.01  # pixels
    assert np.abs(refined[0].numpy() - expected).max() < 0.01
    assert np.abs(peak[0].numpy() - expected_peak).max() < 1e-4 and abs(float(person[0, 0]) - presence) < 1e-5


def test_weights_go_back_into_the_same_file_and_come_out_again(tmp_path):
    torch = pytest.importorskip("torch")
    pytest.importorskip("tflite")
    from pipeline.landmarks.tuning.network import LandmarkNet, mixed
    from pipeline.landmarks.tuning.package import write_back

    network = LandmarkNet(SHIPPED)
    assert network.written() == network.file  # nothing changed, not a byte
    home = {k: p.detach().clone() for k, p in network.named_parameters()}
    other = {k: p + 0.01 * p.abs().mean() for k, p in home.items()}
    (tmp_path / "other.tflite").write_bytes(network.written(other))
    write_back(SHIPPED, tmp_path / "other.tflite", 0.5, tmp_path / "half.tflite")
    assert (tmp_path / "half.tflite").stat().st_size == SHIPPED.stat().st_size
    back = {k: p.detach() for k, p in LandmarkNet(tmp_path / "half.tflite").named_parameters()}
    for name, weight in mixed(home, {k: v.half().float() for k, v in other.items()}, 0.5).items():
        torch.testing.assert_close(back[name], weight, rtol=2e-3, atol=1e-6)
    with pytest.raises(MatsideError, match="not a TFLite file"):
        LandmarkNet(Path(__file__))


def test_an_unwanted_output_costs_nothing_and_changes_nothing():
    torch = pytest.importorskip("torch")
    pytest.importorskip("tflite")
    from pipeline.landmarks.tuning.network import PERSON, POINTS, LandmarkNet

    network, x = LandmarkNet(SHIPPED), torch.rand(1, 3, 256, 256)
    with torch.no_grad():
        everything, two = network(x), network(x, want=(POINTS, PERSON))
    torch.testing.assert_close(two[0], everything[POINTS])
    torch.testing.assert_close(two[1], everything[PERSON])
