"""A tiny run of the near look on the processor: the loss falls, the file runs in LiteRT, and its figures know right from wrong."""

import json

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("tflite")

from pipeline.errors import MatsideError  # noqa: E402
from pipeline.landmarks.near_angles import AngleHead as Head  # noqa: E402
from pipeline.landmarks.net import LandmarkNet as Runner  # noqa: E402
from pipeline.landmarks.tuning import near_figures as module  # noqa: E402
from pipeline.landmarks.tuning.labels import as_matrix, split  # noqa: E402
from pipeline.landmarks.tuning.near import NearSettings, train_near  # noqa: E402
from pipeline.landmarks.tuning.near_angles import other_side, seen_angles, true_angles, turned  # noqa: E402
from pipeline.landmarks.tuning.near_artist import NearArtist  # noqa: E402
from pipeline.landmarks.tuning.near_figures import near_figures, pictures  # noqa: E402
from pipeline.landmarks.tuning.near_losses import near_drawn_loss  # noqa: E402
from pipeline.landmarks.tuning.near_net import STEP, AngleHead, Look, NearNet  # noqa: E402
from pipeline.landmarks.tuning.near_store import FINE, NearStore  # noqa: E402
from pipeline.landmarks.tuning.near_views import near_view  # noqa: E402
from pipeline.landmarks.tuning.network import POINTS, LandmarkNet  # noqa: E402
from pipeline.landmarks.tuning.poses import Kind  # noqa: E402
from pipeline.landmarks.tuning.views import MIRRORED, carried  # noqa: E402
from tests.tuning.test_train import BASE, anchors  # noqa: E402

KINDS = (Kind.LUNGE, Kind.SHOULDER_STAND)


def filled(folder, bodies, seed: int) -> NearStore:
    """A store as workers leave it: eight crops to train on and twelve to check on."""
    store = NearStore.make(folder, crops=48, workers=1)
    for members, count, checked in (([0, 1, 2, 3], 8, False), ([5], 12, True)):
        artist = NearArtist(bodies, members, seed + checked)
        for k in range(count):
            store.add(0, *artist.draw(KINDS[k % 2], gentle=True), checked=checked)
    return store


@pytest.fixture(scope="module")
def run(tmp_path_factory, bodies, compiler):
    """(settings, report) of a run on sixteen drawn crops."""
    folder = tmp_path_factory.mktemp("near")
    filled(folder / "staged", bodies, 30)
    filled(folder / "drawn", bodies, 40)
    anchors(bodies).save(folder / "anchors.npz")
    settings = NearSettings(
        base=BASE, staged=folder / "staged", drawn=folder / "drawn", out=folder / "run", anchors=folder / "anchors.npz", steps=14, batch=8,
        real_batch=1, rate=4e-3, average=0.8, first_crops=8, check=6, device="cpu",
    )  # fmt: skip
    return settings, train_near(settings)


def near(store: NearStore) -> tuple[torch.Tensor, dict]:
    """The store's crops to train on, seen from near, always the same."""
    torch.manual_seed(0)
    slots = store.pool.kept(store.pool.drawn())
    known = split(torch.from_numpy(np.array(store.pool.labels[slots])))
    view = near_view(known["xy"], 4.0)
    return view.of_finer(FINE).picture(pictures(store.pool.pictures[slots], "cpu")), carried(view, known)


def loss(model, store: NearStore) -> dict[str, float]:
    x, known = near(store)
    with torch.no_grad():
        look = NearNet(model, "cpu").look(x)
        parts = near_drawn_loss(look, known, AngleHead(look.features()))
    return {name: float(value) for name, value in parts.items()}


def test_the_loss_on_what_it_was_shown_falls(run):
    settings, report = run
    assert report["steps"] == settings.steps and report["real_crops"] == 2
    for folder in (settings.staged, settings.drawn):
        store = NearStore.load(folder, "a test")
        before, after = loss(BASE, store), loss(settings.out / "near.tflite", store)
        assert after["xy"] < 0.9 * before["xy"] and sum(after.values()) < 0.95 * sum(before.values())


def test_litert_reads_what_torch_trained(run):
    settings, _ = run
    made = settings.out / "near.tflite"
    assert made.stat().st_size == BASE.stat().st_size
    x = near(NearStore.load(settings.drawn, "a test"))[0][:1]
    picture = (x[0].permute(1, 2, 0).numpy() * 255).round().astype(np.uint8)
    with torch.no_grad():
        points = LandmarkNet(made)(torch.from_numpy(picture)[None].permute(0, 3, 1, 2).float() / 255, want=(POINTS,))[0]
    raw, before = Runner(made).raw(picture)[0], Runner(BASE).raw(picture)[0]
    assert np.abs(points.reshape(39, 5)[:, :2].numpy() - raw[:, :2]).max() < 0.02  # pixels
    assert np.abs(before[:, :2] - raw[:, :2]).max() > 0.5


def test_the_head_that_comes_out_is_read_by_the_product(run):
    """It tells what it was given to learn, averaged over steps: something, of what the tuned network sees in a crop."""
    settings, _ = run
    head = Head(settings.out / "near_angles.npz")
    assert np.abs(head._layers[-1][0]).max() > 0, "a head tells nothing at first"
    x = near(NearStore.load(settings.staged, "a test"))[0]
    with torch.no_grad():
        given = NearNet(settings.out / "near.tflite", "cpu").look(x).features().numpy()
    told = np.array([head(row) for row in given])
    assert told.shape == (8, 8) and np.isfinite(told).all() and np.abs(told).max() < 45 and np.ptp(told, axis=0).max() > 0


def test_run_json_has_figures_of_both_renderers_before_and_after(run):
    settings, report = run
    said = json.loads((settings.out / "run.json").read_text())
    assert said == json.loads(json.dumps(report))
    for model in ("base", "near"):
        for renderer in ("staged", "drawn"):
            figures = said["drawn_bodies_never_trained_on"][model][renderer]
            assert set(figures) == {"lunge", "shoulder_stand"} and figures["lunge"]["crops"] == figures["shoulder_stand"]["crops"] == 3
            assert all(set(figures[kind]) == {"crops", "angles", "told", "points"} for kind in figures)


class Told:
    """Sees every joint where the view's labels have it, plus `off` (b, 33, 2) pixels; asked plain and mirrored in turns."""

    def __init__(self, monkeypatch, off=lambda known: 0.0) -> None:
        self.off, self.mirrored = off, False
        monkeypatch.setattr(module, "carried", self._listen)

    def _listen(self, view, known: dict) -> dict:
        self.known = carried(view, known)
        return self.known

    def look(self, x: torch.Tensor) -> Look:
        xy = self.known["xy"] + self.off(self.known)
        if self.mirrored:
            xy = torch.stack([256 - xy[:, MIRRORED, 0], xy[:, MIRRORED, 1]], -1)
        self.mirrored = not self.mirrored
        nothing = torch.zeros(len(xy), 0)
        return Look(nothing, nothing, nothing, nothing, torch.cat([xy, torch.zeros(len(xy), 6, 2)], 1), nothing)


def knee_off(near_side: bool):
    """12 pixels to either side by turns, at the knee nearer to the camera or at the other one."""

    def off(known: dict) -> torch.Tensor:
        out, b = torch.zeros_like(known["xy"]), len(known["xy"])
        left = known["world"][:, 23, 2] < known["world"][:, 24, 2]
        knee = torch.where(left == near_side, 25, 26)
        out[torch.arange(b), knee, 0] = 12.0 * (-1.0) ** (torch.arange(b) // 2)
        return out

    return off


def test_figures_are_those_of_the_truth_where_it_is_seen_and_of_the_side_that_is_read(tmp_path, bodies, compiler, monkeypatch):
    store = filled(tmp_path, bodies, 50)
    figures = {
        name: near_figures(Told(monkeypatch, off), None, store, 5.0, "cpu")  # wide enough for feet
        for name, off in (("right", lambda known: 0.0), ("near", knee_off(True)), ("far", knee_off(False)))
    }
    for kind in KINDS:
        assert figures["right"][kind]["points"] == {"shoulders": 0.0, "hips": 0.0, "knees": 0.0}
        assert figures["near"][kind]["points"]["knees"] == pytest.approx(6 / (256 / 5) * 100, rel=0.06)  # of a trunk, mean of two knees
        assert max(v for v in figures["right"][kind]["angles"].values() if v is not None) < 9  # what perspective makes of angles
        assert figures["right"][kind]["told"] == figures["right"][kind]["angles"], "without a head nothing is added"
    right, near_knee, far_knee = (figures[name][Kind.SHOULDER_STAND]["angles"] for name in ("right", "near", "far"))
    assert far_knee == right and near_knee["knee"] > right["knee"] + 3 and near_knee["hip_to_ankle"] == right["hip_to_ankle"]


class Says:
    """A head that tells the truth of the view: what is left of angles by points, of the mirror image in the mirrored look."""

    def __init__(self, told: Told, by: float = 0.0) -> None:
        self.told, self.by, self.mirrored = told, by, False

    def __call__(self, features: torch.Tensor) -> torch.Tensor:
        known = self.told.known
        off = torch.rad2deg(turned(true_angles(known["world"], known["xy"])[0] - seen_angles(known["xy"])))
        off[:, 2] += self.by * (-1.0) ** (torch.arange(len(off)) // 2)  # left knees, to either side by turns
        off[:, 6] += self.by * (-1.0) ** (torch.arange(len(off)) // 2)
        if self.mirrored:
            off = other_side(off, added=True)
        self.mirrored = not self.mirrored
        return off / STEP


def test_figures_of_what_is_told_are_those_of_points_and_head_together(tmp_path, bodies, compiler, monkeypatch):
    """A head that knows what perspective does leaves nothing; one that is 10 degrees off at knees is 10 off there and nowhere else."""
    store = filled(tmp_path, bodies, 50)
    for by in (0.0, 10.0):
        sees = Told(monkeypatch)
        monkeypatch.setattr(Look, "features", lambda look: look.refined)
        figures = near_figures(sees, Says(sees, by), store, 5.0, "cpu")
        for kind in KINDS:
            told, angles = figures[kind]["told"], figures[kind]["angles"]
            assert max(v for v in angles.values() if v is not None) > 1 and {name for name, v in told.items() if v is not None} >= {"knee"}
            assert told == {
                name: None if v is None else pytest.approx(by if name == "knee" else 0.0, abs=0.05) for name, v in angles.items()
            }


def at_labels(known: dict) -> Look:
    """A look that sees every joint where its label has it."""
    b = len(known["xy"])
    refined = torch.cat([known["xy"], torch.zeros(b, 6, 2)], 1)
    return Look(torch.zeros(b, 39, 5), torch.zeros(b, 64, 64, 39), torch.zeros(b, 39, 3), torch.rand(b, 4, 16, 16), refined,
                torch.ones(b, 39, dtype=torch.bool))  # fmt: skip


def test_the_angles_loss_is_what_points_and_head_are_off(tmp_path, bodies, compiler):
    """Points at their labels and a head that says nothing: perspective is left; a head that says 20 degrees more is about so far off."""
    known = near(filled(tmp_path, bodies, 60))[1]
    look = at_labels(known)
    head = AngleHead(look.features()).eval()
    asked = lambda weight: near_drawn_loss(look, known, head, angle_weight=weight)  # noqa: E731
    still = asked(1.0)["angle"].item()
    with torch.no_grad():
        head.layers[-1].bias += 20 / STEP
    more = asked(1.0)
    assert more["angle"].item() - still > 8 and more["refined"] == 0
    assert more["angle"].requires_grad and asked(0.3)["angle"].item() == pytest.approx(0.3 * more["angle"].item(), rel=1e-5)


KNEES = (2, 6)  # of a side's four angles, hip to ankle, hip to knee, knee and shoulder, the third
MOVED = {11: (0, 1, 3), 13: (3,), 14: (7,), 25: (1, 2), 26: (5, 6)}  # joints, and angles whose truth changes where one lies elsewhere


@pytest.fixture
def in_sight(bodies) -> dict:
    """Known of four drawn lunges, in crops as wide as drawn."""
    artist = NearArtist(bodies, [0, 1, 2, 3], 61)
    known = split(torch.from_numpy(as_matrix(np.array([artist.draw(Kind.LUNGE, gentle=True)[1] for _ in range(4)]))))
    return {name: value.clone() for name, value in known.items()}


def as_kinds(known: dict, *kinds: Kind) -> dict:
    return known | {"kind": torch.tensor([float(list(Kind).index(kind)) for kind in kinds])}


def angle_loss(known: dict, look: Look, *, bias: int | None = None, joint: int | None = None) -> float:
    """The angles' loss with a head that says 10 degrees for angle `bias`, or with joint number `joint` elsewhere in space; else as labels say."""
    head = AngleHead(look.features()).eval()
    with torch.no_grad():
        if bias is not None:
            head.layers[-1].bias[bias] += 10 / STEP
        if joint is not None:
            known = known | {"world": known["world"].clone()}
            known["world"][:, joint] += torch.tensor([0.03, 0.02, 0.02])
        return near_drawn_loss(look, known, head)["angle"].item()


def test_of_cartwheels_the_angles_loss_asks_for_knees_alone_and_of_holds_for_all(in_sight, compiler):
    look = at_labels(in_sight)
    for kind, asked in ((Kind.CARTWHEEL, KNEES), (Kind.LUNGE, range(8)), (Kind.SHOULDER_STAND, range(8))):
        known = as_kinds(in_sight, *[kind] * 4)
        still = angle_loss(known, look)
        changed = {angle for angle in range(8) if angle_loss(known, look, bias=angle) != still}
        assert changed == set(asked), f"what the head says of {kind}"
        for joint, angles in MOVED.items():
            assert (angle_loss(known, look, joint=joint) != still) == bool(set(angles) & set(asked)), f"truth of {kind}, joint {joint}"


def test_a_cartwheel_among_holds_takes_nothing_from_their_angles(in_sight, compiler):
    """Each crop is asked by its own kind: the head's word on shoulders counts for the lunges of a mixed batch alone."""
    look = at_labels(in_sight)
    costs = []
    for kinds in ([Kind.LUNGE] * 4, [Kind.LUNGE, Kind.CARTWHEEL] * 2, [Kind.CARTWHEEL] * 4):
        known = as_kinds(in_sight, *kinds)
        costs.append(angle_loss(known, look, bias=3) - angle_loss(known, look))
    assert costs[0] > 0 and costs[1] > 0 and costs[2] == 0


def test_a_folder_without_holds_or_with_too_few_says_what_to_do(tmp_path, bodies, compiler):
    settings = dict(base=BASE, out=tmp_path / "run", steps=1, device="cpu")
    with pytest.raises(MatsideError, match="staged-holds --out"):
        train_near(NearSettings(staged=tmp_path / "none", drawn=tmp_path / "none", **settings))
    store = filled(tmp_path / "few", bodies, 70)
    (store.folder / "stop").touch()
    with pytest.raises(MatsideError, match=r"8 staged holds to train on; expected 20.*--first-crops"):
        train_near(NearSettings(staged=store.folder, drawn=store.folder, first_crops=20, **settings))
