"""Tuned weights -> the files that ship: mixed with the original, checked, put in place, their hashes written into their model cards."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError
from pipeline.landmarks.models import CARTWHEELS, CARTWHEELS_ANGLES, NEAR, NEAR_ANGLES, SECOND

MODELS = Path(__file__).parents[1] / "models"
FULL = "matside_full.tflite"
MOST_BYTES = 10_000_000
MOST_BYTES_OF = {FULL: MOST_BYTES, SECOND: MOST_BYTES, NEAR: MOST_BYTES, CARTWHEELS: MOST_BYTES}
CARDS = {FULL: "CARD.md", SECOND: "CARD_SECOND.md", NEAR: "CARD_NEAR.md", CARTWHEELS: "CARD_CARTWHEELS.md"}
CARD = MODELS / CARDS[FULL]
ANGLES = {NEAR: NEAR_ANGLES, CARTWHEELS: CARTWHEELS_ANGLES}  # the heads that go with near looks'
ANGLES_MADE = "near_angles.npz"  # one as `near` writes it
_HASH_LINE = re.compile(r"^(sha256: )`[0-9a-f]{64}`$", re.MULTILINE)
_ANGLES_LINE = re.compile(r"^(sha256 of its angles: )`[0-9a-f]{64}`$", re.MULTILINE)


def write_back(base: Path, tuned: Path, share: float, out: Path, *, presence: float = 0.0) -> None:
    """Mix original and tuned weights, original * (1 - share) + tuned * share, and write them into the original's file at `out`.

    presence: added to the logit of presence, to bring a mix that sees people where there are none back to the original's caution.
    """
    from .network import LandmarkNet, mixed

    original, other = LandmarkNet(base), LandmarkNet(tuned)
    if {k: v.shape for k, v in original.constants.items()} != {k: v.shape for k, v in other.constants.items()}:
        raise MatsideError(f"{tuned}: not tuned from {base.name}; the two files hold different weights.")
    weights = [{k: p.detach() for k, p in network.named_parameters()} for network in (original, other)]
    weight = mixed(*weights, share)
    weight[original.presence_bias] += presence
    out.write_bytes(original.written(weight))


def checked_hash(model: Path, *, most_bytes: int = MOST_BYTES) -> str:
    """sha256 of a model file that is small enough and runs in LiteRT with finite points and a presence in 0..1."""
    from pipeline.landmarks.net import LandmarkNet as Runner

    size = model.stat().st_size
    if size > most_bytes:
        raise MatsideError(f"{model}: {size / 1e6:.1f} MB; the file that ships must be at most {most_bytes / 1e6:.0f} MB.")
    points, presence, heatmaps = Runner(model).raw(np.full((256, 256, 3), 127, np.uint8))
    if not (np.isfinite(points).all() and np.isfinite(heatmaps).all() and 0 <= presence <= 1):
        raise MatsideError(f"{model}: gives numbers that are not finite; do not ship it.")
    return hashlib.sha256(model.read_bytes()).hexdigest()


def card_hash(card: Path = CARD) -> str:
    """The hash the model card names."""
    found = _HASH_LINE.search(card.read_text(encoding="utf-8"))
    if found is None:
        raise MatsideError(f"{card}: expected a line 'sha256: `<64 hex digits>`'.")
    return found.group().split("`")[1]


def package(model: Path, *, name: str = FULL, folder: Path = MODELS) -> str:
    """Put a checked model file in place and write its hash into its card beside it; returns the hash. With a near look's goes the head beside it."""
    from pipeline.landmarks.near_angles import AngleHead

    stamp, card = checked_hash(model, most_bytes=MOST_BYTES_OF[name]), folder / CARDS[name]
    card_hash(card)
    words = _HASH_LINE.sub(rf"\g<1>`{stamp}`", card.read_text(encoding="utf-8"))
    if name in ANGLES:
        head = model.with_name(ANGLES_MADE)
        AngleHead(head)  # or says what is wrong with it
        content = head.read_bytes()
        words = _ANGLES_LINE.sub(rf"\g<1>`{hashlib.sha256(content).hexdigest()}`", words)
        (folder / ANGLES[name]).write_bytes(content)
    (folder / name).write_bytes(model.read_bytes())
    card.write_text(words, encoding="utf-8")
    return stamp
