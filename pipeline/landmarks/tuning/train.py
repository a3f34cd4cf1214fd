"""Original + bodies + real crops -> tuned weights. One call, `train(TrainSettings(...))`; half an hour on one GPU is the budget.

Written to the out folder: tuned.tflite (weights averaged over time; a later run can go on from it), mix_40.tflite ... (mixed with the
original's), log.txt, run.json (settings, steps, figures on drawn bodies that were never trained on).
"""

from __future__ import annotations

import json
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import torch

from .anchors import Anchors
from .checks import check_figures
from .labels import split
from .log import Log
from .losses import drawn_loss, real_loss, whole_mask
from .network import HEATMAP, MASK, PERSON, POINTS, WORLD, LandmarkNet, mixed
from .pool import Pool
from .staged import Staged
from .teach import Taught, teach
from .views import borrow_light, look_again, restyle, scrambled, stand_in_front
from .weights import Weights, eased, kept


@dataclass(frozen=True)
class TrainSettings:
    """What a training run is given; `--help` of `tuning train` says the same."""

    base: Path  # the model file to tune
    bodies: Path
    out: Path
    pool: Path  # folder for the drawn crops; 196 kB a slot
    anchors: Path | None = None  # real crops; without them real pictures get worse (see the model card)
    taught: Path | None = None  # what `teach` made of them; None: the base itself is asked
    staged: Path | None = None  # folder of crops that the benchmark's renderer drew
    staged_share: float = 0.3  # of the drawn crops of a step
    start: Path | None = None  # tuned.tflite of an earlier run to go on from
    minutes: float = 9.0  # wall time, all included
    steps: int = 0  # instead of minutes, for tests
    batch: int = 128  # drawn crops a step
    real_batch: int = 64  # real crops a step
    real_weight: float = 1.5
    rate: float = 1.5e-3  # step relative to each channel's size
    pull: float = 0.1  # toward the original weights, per unit of rate
    average: float = 0.998  # of the weights over steps
    scrambled: float = 0.09  # share of a batch cut up into person-free crops
    in_front: float = 0.0  # share of drawn crops with a real person at the edge
    borrowed: float = 0.0  # share of drawn crops with a real picture's slow changes of light and colour
    restyled: float = 0.0  # share of drawn crops recoloured, blurred and roughened again
    mask: bool = True  # False: the silhouette is not trained, for a file that ships without it; a fifth less time
    half: bool = False  # half-precision arithmetic, on a graphics card
    world_weight: float = 8.0  # of the drawn crops' world points
    shape_weight: float = 0.0  # of their angles and bone directions in space
    clip: float = 100.0  # of the gradient's length
    workers: int = 14
    slots: int = 120_000
    first_crops: int = 6_000  # drawn before training starts
    most_reuse: float = 14.0  # times a drawn crop is seen on average
    check: int = 600
    mixes: tuple[float, ...] = (0.4, 0.55, 0.7, 0.85)
    seed: int = 1
    device: str = ""  # "" chooses; "cuda:1" for a second card
    fill: bool = True  # False: another run fills the pool
    finish_s: float = 35.0  # of the minutes, kept for the figures at the end


def _faster_layout(networks: list[LandmarkNet], see, batch: int, device: str, log: Log) -> None:
    """Channels last or first, whichever runs this network faster on this card. `see`: runs a network as the training does."""
    if not device.startswith("cuda"):
        return
    x, times = torch.rand(batch, 3, 256, 256, device=device), {}
    for last in (False, True):
        networks[0].channels_last = last
        for k in range(6):
            if k == 3:
                torch.cuda.synchronize(device)
                start = time.time()
            sum(v.mean() for v in see(networks[0], x) if v is not None).backward()
            networks[0].zero_grad(set_to_none=True)
        torch.cuda.synchronize(device)
        times[last] = time.time() - start
    for network in networks:
        network.channels_last = times[True] < times[False]
    log(
        "layout: channels", "last" if times[True] < times[False] else "first", {k: f"{3 * batch / v:.0f} crops/s" for k, v in times.items()}
    )


def train(s: TrainSettings) -> dict:
    """Run the training; returns what run.json holds."""
    s.out.mkdir(parents=True, exist_ok=True)
    device = s.device or ("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(s.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = torch.backends.cudnn.benchmark = True
    log = Log(s.out / "log.txt")
    log("settings", {k: str(v) for k, v in asdict(s).items()})
    with (
        Pool(s.pool, s.bodies, slots=s.slots, workers=s.workers, check=s.check, seed=s.seed, fill=s.fill) as pool,
        ThreadPoolExecutor(4) as threads,
    ):
        return _Trainer(s, device, pool, threads, log).run()


class _Trainer:
    def __init__(self, s: TrainSettings, device: str, pool: Pool, threads: ThreadPoolExecutor, log: Log) -> None:
        self.s, self.device, self.pool, self.threads, self.log, self.begun = s, device, pool, threads, log, time.time()
        self.original, self.student = (LandmarkNet(s.base).to(device) for _ in range(2))
        self.original.requires_grad_(False)
        self.weights = Weights(self.original, LandmarkNet(s.start).to(device) if s.start else self.original)
        self.anchors = Anchors.load(s.anchors) if s.anchors else None
        if self.anchors:
            known = Taught.load(s.taught) if s.taught else teach(self.anchors, [(s.base, False)], views=2, device=device)
            self.taught, self.wide = known.tensors(device), torch.from_numpy(self.anchors.pictures()).to(device)
            self.shown = torch.tensor(self.anchors.share, device=device)
        self.staged = Staged.load(s.staged) if s.staged else None
        self.rng = np.random.default_rng(s.seed)
        self.scaler = torch.amp.GradScaler("cuda", enabled=self._half, init_scale=2.0**8)

    @property
    def _half(self) -> bool:
        return self.s.half and self.device.startswith("cuda")

    def _see(self, network: LandmarkNet, x: torch.Tensor, weights: dict | None = None) -> list:
        """All outputs in float32; None for the mask where it is not trained."""
        want = (POINTS, PERSON, MASK, HEATMAP, WORLD) if self.s.mask else (POINTS, PERSON, HEATMAP, WORLD)
        with torch.autocast("cuda", torch.float16, enabled=self._half):
            seen = dict(zip(want, network(x, want=want, weights=weights), strict=True))
        return [seen[k].float() if k in seen else None for k in (POINTS, PERSON, MASK, HEATMAP, WORLD)]

    def _student(self, x: torch.Tensor, *, weights: dict) -> list:
        return self._see(self.student, x, weights)

    def _pinned(self, array: np.ndarray) -> torch.Tensor:
        tensor = torch.from_numpy(np.ascontiguousarray(array))
        return tensor.pin_memory() if self.device.startswith("cuda") else tensor

    def _drawn_batch(self, seed: int, drawn: np.ndarray) -> tuple[torch.Tensor, torch.Tensor]:
        rng = np.random.default_rng([self.s.seed, seed])
        staged = round(self.s.batch * self.s.staged_share) if self.staged else 0
        pictures, labels = self.pool.batch(rng, self.s.batch - staged, drawn)
        if self.staged:
            also = self.staged.batch(rng, staged)
            pictures, labels = np.concatenate([pictures, also[0]]), np.concatenate([labels, also[1]])
        return self._pinned(pictures), self._pinned(labels)

    def _real_batch(self, size: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
        chosen = torch.multinomial(self.shown, size, replacement=True)
        return self._crops(self.wide[chosen]), {k: v[chosen] for k, v in self.taught.items()}

    def _crops(self, bytes_: torch.Tensor) -> torch.Tensor:
        return bytes_.to(self.device, non_blocking=True).permute(0, 3, 1, 2).float() / 255

    def _loss(self, drawn: tuple[torch.Tensor, torch.Tensor]) -> dict[str, torch.Tensor]:
        s = self.s
        x, known = self._crops(drawn[0]), split(drawn[1].to(self.device, non_blocking=True))
        with torch.no_grad():
            x, known = look_again(x, known)
            nobody = x[known["person"] == 0]
            if self.anchors and s.in_front + s.borrowed > 0:
                wide, taught = self._real_batch(len(x))
                x, known = stand_in_front(x, known, wide, whole_mask(taught["mask"]), s.in_front)
                x = borrow_light(x, wide[..., 64:-64, 64:-64], s.borrowed)
            x = torch.where(torch.rand(len(x), 1, 1, 1, device=self.device) < s.restyled, restyle(x).clamp(0, 1), x)
            cut = round(len(x) * s.scrambled)
            if cut:
                x = torch.cat([scrambled(x[:cut], int(self.rng.choice([2, 4, 4, 8]))), x[cut:]])
                kept = torch.ones(len(x), device=self.device)
                kept[:cut] = 0
                known = dict(known, person=known["person"] * kept, easy=known["easy"] * kept)
            original = self._see(self.original, x)
        weights = self.weights.now()
        parts = drawn_loss(self._student(x, weights=weights), original, known, world_weight=s.world_weight, shape_weight=s.shape_weight)
        if self.anchors:
            real = real_loss(self._student, weights, *self._real_batch(s.real_batch), nobody)
            parts |= {k: s.real_weight * v for k, v in real.items()}
        return parts

    def run(self) -> dict:
        s, log, pool = self.s, self.log, self.pool
        _faster_layout([self.student, self.original], self._see, s.batch, self.device, log)
        pool.wait_for(min(s.first_crops, pool.slots))
        check = pool.check_set()
        figures = {"original": check_figures(self.original, *check, self.device, offset=True)}
        log("original", figures["original"])
        optimiser = torch.optim.AdamW(
            self.weights.values.values(), lr=s.rate, weight_decay=0.0, betas=(0.9, 0.99), fused=self.device.startswith("cuda")
        )
        started, ends = time.time(), self.begun + s.minutes * 60 - s.finish_s
        drawn, step, ahead = pool.drawn(), 0, 5
        queue = [self.threads.submit(self._drawn_batch, k, drawn) for k in range(ahead)]
        while True:
            done = step / s.steps if s.steps else (time.time() - started) / max(1.0, ends - started)
            if done >= 1:
                break
            if step % 20 == 0:
                drawn = pool.drawn()
            if step * s.batch > s.most_reuse * drawn.sum():
                time.sleep(0.2)
                drawn = pool.drawn()
                continue
            batch = queue.pop(0).result()
            queue.append(self.threads.submit(self._drawn_batch, step + ahead, drawn))
            parts = self._loss(batch)
            rate = s.rate * eased(step, done)
            for group in optimiser.param_groups:
                group["lr"] = rate
            optimiser.zero_grad(set_to_none=True)
            self.scaler.scale(sum(parts.values())).backward()
            self.scaler.unscale_(optimiser)
            length = torch.nn.utils.clip_grad_norm_(self.weights.values.values(), s.clip)
            step += 1
            if not torch.isfinite(length):
                log("step", step, "left out: its gradient is not finite")
                self.scaler.update()
                continue
            self.scaler.step(optimiser)
            self.scaler.update()
            self.weights.settle(rate * s.pull, kept(step, s.average))
            if step % (200 if self.device.startswith("cuda") else 5) == 0:
                speed = step * (s.batch + (s.real_batch if self.anchors else 0)) / (time.time() - started)
                words = " ".join(f"{k}:{float(v.detach()):.3f}" for k, v in parts.items())
                log(f"step {step} done {done:.2f} drawn {drawn.sum()} crops/s {speed:.0f} gradient {float(length):.0f} | {words}")
        return self._finish(step, time.time() - started, figures, check)

    def _finish(self, step: int, seconds: float, figures: dict, check: tuple) -> dict:
        s, average = self.s, self.weights.averaged()
        (s.out / "tuned.tflite").write_bytes(self.student.written(average))
        home = {k: p.detach() for k, p in self.original.named_parameters()}
        for share in (*s.mixes, 1.0):
            weights = mixed(home, average, share)
            if share < 1:
                (s.out / f"mix_{round(share * 100)}.tflite").write_bytes(self.student.written(weights))
            self.student.load_state_dict(weights)
            figures[f"mix_{round(share * 100)}"] = check_figures(self.student, *check, self.device)
            self.log(f"mix {share}", figures[f"mix_{round(share * 100)}"])
        card = torch.cuda.get_device_name() if self.device.startswith("cuda") else "cpu"
        report = {
            "settings": {k: v if isinstance(v, int | float | tuple) else str(v) for k, v in asdict(s).items()}, "card": card, "steps": step,
            "training_s": round(seconds), "drawn_crops": int(self.pool.drawn().sum()), "staged_crops": len(self.staged.labels) if self.staged else 0, "real_crops": len(self.anchors) if self.anchors else 0,
            "credits": self.anchors.credits if self.anchors else [], "drawn_bodies_never_trained_on": figures,
        }  # fmt: skip
        (s.out / "run.json").write_text(json.dumps(report, indent=1) + "\n")
        return report
