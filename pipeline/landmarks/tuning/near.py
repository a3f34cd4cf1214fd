"""The small network of the family tuned to look at holds from near: one call, `train_near(NearSettings(...))`, a quarter of an hour on one GPU.

Written to the out folder: near.tflite (weights averaged over steps), near_angles.npz (the head that reads angles, averaged too: near_net.py),
log.txt, run.json (settings, steps, figures on drawn bodies that were never trained on). What it is shown: near views (near_views.py) of holds
by two renderers and of real people; what it is asked for: near_losses.py. Crops lie on the card: 602 kB each.
"""

from __future__ import annotations

import json
import time
from copy import deepcopy
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import torch

from pipeline.errors import MatsideError

from .anchors import Anchors
from .labels import split
from .log import Log
from .near_card import OnCard
from .near_figures import near_figures, pictures
from .near_losses import near_drawn_loss, near_real_loss
from .near_net import AngleHead, NearNet
from .near_store import FINE, NearStore
from .near_views import near_view
from .network import LandmarkNet
from .package import ANGLES_MADE
from .teach import Taught, teach
from .views import borrow_light, carried, colour, restyle
from .weights import Weights, eased, kept

Part = tuple[torch.Tensor, torch.Tensor]  # crops (b, PIXELS, PIXELS, 3) uint8 and labels (b, WIDTH)
STAGED_BY, DRAWN_BY = "python -m pipeline.bench staged-holds", "python -m pipeline.landmarks.tuning near-holds"


@dataclass(frozen=True)
class NearSettings:
    """What a run is given; `--help` of `tuning near` says the same."""

    base: Path  # the model file to tune
    staged: Path  # folder of holds by the benchmark's renderer
    drawn: Path  # folder of holds by the tuning renderer
    out: Path
    anchors: Path | None = None  # real crops
    taught: Path | None = None  # what `teach` made of them; None: the base itself is asked
    wide: float = 4.0  # trunks a side of a view
    staged_share: float = 0.6  # of the drawn crops of a step
    minutes: float = 17.0  # wall time until the figures at the end, waiting for crops included
    steps: int = 0  # instead of minutes
    batch: int = 320  # drawn crops a step
    real_batch: int = 64
    real_weight: float = 0.7
    rate: float = 1.5e-3  # step relative to each channel's size
    head_rate: float = 1e-3
    angle_weight: float = 0.3
    pull: float = 0.02  # toward the original weights, per unit of rate
    average: float = 0.998  # of the weights over steps
    restyled: float = 0.5  # share of drawn crops recoloured, blurred and roughened again
    borrowed: float = 0.3  # share of drawn crops with a real picture's slow changes of light and colour
    clip: float = 100.0  # of the gradient's length
    head_clip: float = 10.0
    first_crops: int = 800  # of each renderer, before training starts
    check: int = 600  # crops of each renderer for the figures
    seed: int = 3
    device: str = ""  # "" chooses; "cuda:1" for a second card
    half: bool = True  # half-precision arithmetic, on a graphics card


def train_near(s: NearSettings) -> dict:
    """Run the training; returns what run.json holds. Raises MatsideError where a folder of holds is missing."""
    stores = {
        "staged": (NearStore.load(s.staged, STAGED_BY), s.staged_share),
        "drawn": (NearStore.load(s.drawn, DRAWN_BY), 1 - s.staged_share),
    }
    s.out.mkdir(parents=True, exist_ok=True)
    device = s.device or ("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    log = Log(s.out / "log.txt")
    log("settings", {k: str(v) for k, v in asdict(s).items()})
    return _NearTrainer(s, device, stores, log).run()


class _NearTrainer:
    def __init__(self, s: NearSettings, device: str, stores: dict, log: Log) -> None:
        self.s, self.device, self.stores, self.log, self.begun = s, device, stores, log, time.time()
        self.half = s.half and device.startswith("cuda")
        self.student = NearNet(s.base, device, half=self.half)
        self.held = {name: (OnCard(store.pool, device), share) for name, (store, share) in stores.items() if share > 0}
        original = LandmarkNet(s.base).to(device)
        self.weights = Weights(original, original)
        self.scaler = torch.amp.GradScaler("cuda", enabled=self.half, init_scale=2.0**8)
        self.anchors = Anchors.load(s.anchors) if s.anchors else None
        if self.anchors:
            known = Taught.load(s.taught) if s.taught else teach(self.anchors, [(s.base, True)], views=2, device=device)
            self.taught, self.wide = known.tensors(device), torch.from_numpy(self.anchors.pictures()).to(device)
            self.shown = torch.tensor(self.anchors.share, device=device)

    # ---- what it is shown ----

    def _wait(self) -> None:
        """Until both renderers have drawn enough to begin with. Raises MatsideError where one will not, or the minutes are over."""
        for name, (store, share) in self.stores.items():
            need = max(1, self.s.first_crops) if share > 0 else 0
            while (there := int(store.pool.drawn().sum())) < need:
                if store.stopped or (not self.s.steps and time.time() - self.begun > 60 * self.s.minutes):
                    raise MatsideError(
                        f"{store.folder}: {there} {name} holds to train on; expected {need}. Draw more, or give fewer as --first-crops."
                    )
                time.sleep(0.5)

    def _chosen_crops(self) -> list[Part]:
        """One step's crops and labels, a part for each renderer."""
        return [held.batch(size) for held, share in self.held.values() if (size := round(self.s.batch * share))]

    def _fetch(self) -> int:
        """Bring what was drawn since to the card; how many crops there are."""
        return sum(held.fetch() for held, _ in self.held.values())

    @torch.no_grad()
    def _near(self, parts: list[Part], *, light: bool = True) -> tuple[torch.Tensor, dict]:
        """Near views of drawn crops, recoloured, and what is known of them. light: some with real pictures' light."""
        s, known = self.s, split(torch.cat([labels for _, labels in parts]))
        view = near_view(known["xy"], s.wide)
        x = view.of_finer(FINE).picture(torch.cat([pictures(crops, self.device) for crops, _ in parts]))
        x = colour(torch.where(torch.rand(len(x), 1, 1, 1, device=self.device) < s.restyled, restyle(x).clamp(0, 1), x))
        if light and self.anchors:
            x = borrow_light(x, pictures(self.wide[self._chosen(len(x))], self.device)[..., 64:-64, 64:-64], s.borrowed)
        return x, carried(view, known)

    def _chosen(self, size: int) -> torch.Tensor:
        return torch.multinomial(self.shown, size, replacement=True)

    # ---- a step ----

    def _loss(self, batch: list[Part], head: AngleHead) -> dict[str, torch.Tensor]:
        s, weights = self.s, self.weights.now()
        x, known = self._near(batch)
        parts = near_drawn_loss(self.student.look(x, weights), known, head, angle_weight=s.angle_weight)
        if self.anchors:
            chosen = self._chosen(s.real_batch)
            wide, taught = pictures(self.wide[chosen], self.device), {k: v[chosen] for k, v in self.taught.items()}
            real = near_real_loss(lambda seen: self.student.look(seen, weights), wide, taught, s.wide)
            parts |= {k: s.real_weight * v for k, v in real.items()}
        return parts

    @torch.no_grad()
    def _head(self) -> AngleHead:
        """A head that knows how large features are before training."""
        seen = [self.student.look(self._near(self._chosen_crops(), light=False)[0]).features() for _ in range(4)]
        return AngleHead(torch.cat(seen)).to(self.device)

    def run(self) -> dict:
        s, log = self.s, self.log
        self._wait()
        there = self._fetch()
        figures = {"base": self._figures(None)}
        log("base", figures["base"])
        torch.manual_seed(s.seed)
        head = self._head()
        settled = deepcopy(head).eval()
        optimiser = torch.optim.AdamW(self.weights.values.values(), lr=s.rate, weight_decay=0.0, betas=(0.9, 0.99), fused=self.half)
        head_optimiser = torch.optim.AdamW(head.parameters(), lr=s.head_rate, weight_decay=0.02)
        started, ends = time.time(), self.begun + s.minutes * 60
        step = 0
        while True:
            done = step / s.steps if s.steps else (time.time() - started) / max(1.0, ends - started)
            if done >= 1:
                break
            if step % 50 == 49:
                there = self._fetch()
            parts = self._loss(self._chosen_crops(), head)
            share = eased(step, done)
            for tuned, rate in ((optimiser, s.rate), (head_optimiser, s.head_rate)):
                tuned.param_groups[0]["lr"] = rate * share
                tuned.zero_grad(set_to_none=True)
            self.scaler.scale(sum(parts.values())).backward()
            self.scaler.unscale_(optimiser)
            self.scaler.unscale_(head_optimiser)
            length = torch.nn.utils.clip_grad_norm_(self.weights.values.values(), s.clip)
            torch.nn.utils.clip_grad_norm_(head.parameters(), s.head_clip)
            step += 1
            if not torch.isfinite(length):
                log("step", step, "left out: its gradient is not finite")
                self.scaler.update()
                continue
            self.scaler.step(optimiser)
            self.scaler.step(head_optimiser)
            self.scaler.update()
            self.weights.settle(s.rate * share * s.pull, kept(step, s.average))
            with torch.no_grad():
                torch._foreach_lerp_(list(settled.parameters()), list(head.parameters()), 1 - kept(step, s.average))
            if step % (200 if self.half else 5) == 0:
                words = " ".join(f"{k}:{float(v.detach()):.3f}" for k, v in parts.items())
                log(f"step {step} done {done:.2f} crops {there} gradient {float(length):.0f} | {words}")
        return self._finish(step, time.time() - started, figures, settled)

    # ---- what comes out ----

    def _figures(self, head: AngleHead | None) -> dict:
        s = self.s
        return {
            name: near_figures(self.student, head, store, s.wide, self.device, most=s.check) for name, (store, _) in self.stores.items()
        }

    def _finish(self, step: int, seconds: float, figures: dict, head: AngleHead) -> dict:
        s, average = self.s, self.weights.averaged()
        (s.out / "near.tflite").write_bytes(self.student.network.written(average))
        np.savez(s.out / ANGLES_MADE, **head.arrays())
        self.student.network.load_state_dict(average)
        figures["near"] = self._figures(head)
        self.log("near", figures["near"])
        report = {
            "settings": {k: v if isinstance(v, int | float) else str(v) for k, v in asdict(s).items()},
            "card": torch.cuda.get_device_name() if self.device.startswith("cuda") else "cpu",
            "steps": step, "training_s": round(seconds),
            "crops": {name: {"to train on": int(store.pool.drawn().sum()), "to check on": int(store.check.drawn().sum())} for name, (store, _) in self.stores.items()},
            "real_crops": len(self.anchors) if self.anchors else 0, "credits": self.anchors.credits if self.anchors else [],
            "drawn_bodies_never_trained_on": figures,
        }  # fmt: skip
        (s.out / "run.json").write_text(json.dumps(report, indent=1) + "\n")
        return report
