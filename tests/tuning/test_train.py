"""A tiny run on the processor, from drawn crops to a file that ships: the loss falls, and LiteRT reads what torch trained."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.landmarks.net import LandmarkNet as Runner  # noqa: E402
from pipeline.landmarks.tuning.anchors import CREDIT_COLUMNS, Anchors  # noqa: E402
from pipeline.landmarks.tuning.draw import Artist  # noqa: E402
from pipeline.landmarks.tuning.labels import as_matrix, split  # noqa: E402
from pipeline.landmarks.tuning.losses import drawn_loss  # noqa: E402
from pipeline.landmarks.tuning.network import HEATMAP, PERSON, POINTS, LandmarkNet  # noqa: E402
from pipeline.landmarks.tuning.package import MODELS, checked_hash  # noqa: E402
from pipeline.landmarks.tuning.pool import Pool  # noqa: E402
from pipeline.landmarks.tuning.poses import Kind  # noqa: E402
from pipeline.landmarks.tuning.teach import Taught, teach  # noqa: E402
from pipeline.landmarks.tuning.train import TrainSettings, train  # noqa: E402

BASE = MODELS / "matside_full.tflite"


def anchors(bodies) -> Anchors:
    """Two upright figures of capsules with room round them: no person's picture is needed to see that the steps run."""
    import cv2

    artist, jpegs = Artist(bodies, [0, 1], 3), []
    for _ in range(2):
        wide = cv2.copyMakeBorder(artist.draw(Kind.UPRIGHT, gentle=True)[0], 64, 64, 64, 64, cv2.BORDER_REPLICATE)
        jpegs.append(cv2.imencode(".jpg", wide[:, :, ::-1])[1].ravel())
    return Anchors(jpegs, [0, 0], [dict.fromkeys(CREDIT_COLUMNS, "a test")])


def filled_pool(folder, bodies) -> None:
    """A pool as workers leave it: six crops to check and twelve to train on, always the same."""
    folder.mkdir()
    for name, members, count in (("pool", [0, 1, 2, 3, 4], 12), ("check", [5], 6)):
        artist, kinds = Artist(bodies, members, 11), list(Kind)
        crops, labels = zip(*(artist.draw(kinds[k % len(kinds)]) for k in range(count)), strict=True)
        np.stack(crops).tofile(folder / f"{name}.pictures")
        as_matrix(np.stack(labels)).tofile(folder / f"{name}.labels")
    (folder / "checked.0").touch()
    (folder / "drawn.0").write_text("12")


@pytest.fixture(scope="module")
def run(tmp_path_factory, bodies, compiler):
    """(settings, report) of a run on twelve drawn crops."""
    folder = tmp_path_factory.mktemp("tiny")
    filled_pool(folder / "pool", bodies)
    anchors(bodies).save(folder / "anchors.npz")
    settings = TrainSettings(
        base=BASE, bodies=folder / "none", out=folder / "run", pool=folder / "pool", anchors=folder / "anchors.npz", steps=20, batch=6,
        real_batch=1, scrambled=0.0, in_front=0.2, borrowed=0.2, restyled=0.2, workers=1, slots=12, first_crops=12, check=6, most_reuse=1e9,
        average=0.8, rate=3e-3, mixes=(0.5,), device="cpu", seed=3, fill=False,
    )  # fmt: skip
    return settings, train(settings)


def loss(model, pictures: np.ndarray, labels: np.ndarray) -> float:
    with torch.no_grad():
        x = torch.from_numpy(pictures).permute(0, 3, 1, 2).float() / 255
        original = [v.float() for v in LandmarkNet(BASE)(x)]
        return float(sum(drawn_loss(LandmarkNet(model)(x), original, split(torch.from_numpy(labels))).values()))


def test_the_loss_on_what_it_was_shown_falls(run):
    settings, report = run
    shown = np.memmap(settings.pool / "pool.pictures", np.uint8, "r").reshape(-1, 256, 256, 3)
    labels = np.fromfile(settings.pool / "pool.labels", np.float32).reshape(len(shown), -1)
    assert report["steps"] == settings.steps and report["credits"][0]["licence"] == "a test"
    before, after = loss(BASE, np.array(shown), labels), loss(settings.out / "tuned.tflite", np.array(shown), labels)
    assert after < 0.97 * before


def test_litert_reads_what_torch_trained(run):
    settings, _ = run
    tuned = settings.out / "tuned.tflite"
    assert tuned.stat().st_size == BASE.stat().st_size and checked_hash(tuned)
    picture = np.array(np.memmap(settings.pool / "check.pictures", np.uint8, "r").reshape(-1, 256, 256, 3)[0])
    with torch.no_grad():
        points, person = LandmarkNet(tuned)(torch.from_numpy(picture)[None].permute(0, 3, 1, 2).float() / 255, want=(POINTS, PERSON))
    raw, presence, _ = Runner(tuned).raw(picture)
    assert np.abs(points.reshape(39, 5)[:, :2].numpy() - raw[:, :2]).max() < 0.02  # pixels
    assert abs(float(person[0, 0]) - presence) < 1e-4
    before = Runner(BASE).raw(picture)
    assert np.abs(before[0][:, :2] - raw[:, :2]).max() > 0.1  # and it is another model than it was


def test_a_mix_at_no_share_is_the_original(run):
    from pipeline.landmarks.tuning.package import write_back

    settings, _ = run
    out = settings.out / "none.tflite"
    write_back(BASE, settings.out / "tuned.tflite", 0.0, out)
    assert out.read_bytes() == BASE.read_bytes()


def test_teachers_agree_with_the_file_they_are_and_the_answers_come_back_from_a_file(tmp_path, bodies, compiler):
    people = anchors(bodies)
    taught = teach(people, [(BASE, True)], views=3)
    wide = people.pictures()
    middle = wide[0, 64:-64, 64:-64]
    network = LandmarkNet(BASE)
    with torch.no_grad():
        from pipeline.landmarks.tuning.heatmap import refine

        points, heatmap = network(torch.from_numpy(middle.copy())[None].permute(0, 3, 1, 2).float() / 255, want=(POINTS, HEATMAP))
        straight = refine(points.reshape(1, 39, 5), heatmap)[0][0, :33].numpy()
    sure = taught.spread[0] < 3
    assert sure[[11, 12, 23, 24]].all() and np.abs(taught.xy[0] - straight)[sure].max() < 12  # turned, zoomed, mirrored and turned back
    taught.save(tmp_path / "taught.npz")
    again = Taught.load(tmp_path / "taught.npz")
    np.testing.assert_array_equal(again.xy, taught.xy)
    assert again.mask.shape == (2, 128, 128) and again.mask[0, 60].max() > 128  # the figure


def test_presence_moves_by_what_was_asked(tmp_path, bodies, compiler):
    from pipeline.landmarks.tuning.package import write_back

    logit = lambda p: np.log(p / (1 - p))  # noqa: E731
    picture = np.array(anchors(bodies).pictures()[0, 64:-64, 64:-64])
    write_back(BASE, BASE, 1.0, tmp_path / "calm.tflite", presence=-0.5)
    plain, calm = Runner(BASE).raw(picture), Runner(tmp_path / "calm.tflite").raw(picture)
    assert logit(calm[1]) == pytest.approx(logit(plain[1]) - 0.5, abs=0.01)
    np.testing.assert_array_equal(calm[0], plain[0])


def test_a_pool_is_filled_by_its_workers_and_stops_with_them(tmp_path, bodies, compiler):
    np.savez(
        tmp_path / "bodies.npz", vertices=bodies.vertices, heads=bodies.heads, faces=bodies.faces, bone_of=bodies.bone_of, weight=bodies.weight,
        bones=np.array(bodies.bones), parents=np.array(bodies.parents),
    )  # fmt: skip
    with Pool(tmp_path / "pool", tmp_path / "bodies.npz", slots=12, workers=1, check=2, seed=1) as pool:
        pool.wait_for(10)
        pictures, labels = pool.batch(np.random.default_rng(0), 5, pool.drawn())
        check, _ = pool.check_set()
    assert pictures.shape == (5, 256, 256, 3) and pictures.std() > 5 and check.shape == (2, 256, 256, 3)
    assert set(split(labels)["person"].ravel().tolist()) <= {0.0, 1.0}
    assert all(process.poll() is not None for process in pool._processes)
