"""Crops on the card that trains: what was drawn since comes along, and only what is there is shown."""

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from pipeline.landmarks.tuning.labels import LABEL, split  # noqa: E402
from pipeline.landmarks.tuning.near_card import OnCard  # noqa: E402
from pipeline.landmarks.tuning.ring import Ring  # noqa: E402


def put(ring: Ring, worker: int, *numbers: int) -> None:
    """Crops in one shade each, and a label that says the same number."""
    drawn = ring.drawn_by(worker)
    for k, number in enumerate(numbers):
        row = np.zeros((), LABEL)
        row["height"] = number
        ring.put(worker, drawn + k, np.full((4, 4, 3), number, np.uint8), row)
    ring.tell(worker, drawn + len(numbers))


def shown(card: OnCard) -> set[int]:
    """The numbers of many random crops; picture and label of each say the same."""
    torch.manual_seed(0)
    pictures, labels = card.batch(400)
    assert pictures.shape == (400, 4, 4, 3) and pictures.dtype == torch.uint8 and labels.dtype == torch.float32
    heights = split(labels)["height"].ravel()
    assert (pictures.float() == heights[:, None, None, None]).all()
    return {int(h) for h in heights}


@pytest.fixture
def ring(tmp_path) -> Ring:
    return Ring(tmp_path, "pool", slots=10, workers=2, side=4)


def test_what_was_drawn_since_comes_with_the_next_fetch(ring):
    put(ring, 0, 11, 12)
    put(ring, 1, 21)
    card = OnCard(ring, "cpu")
    assert card.fetch() == 3 and shown(card) == {11, 12, 21}
    put(ring, 1, 22, 23)
    assert shown(card) == {11, 12, 21}, "not yet fetched"
    assert card.fetch() == 5 and shown(card) == {11, 12, 21, 22, 23}
    assert card.fetch() == 5 and shown(card) == {11, 12, 21, 22, 23}


def test_a_crop_that_nobody_told_of_is_never_shown(ring):
    put(ring, 0, 11)
    row = np.zeros((), LABEL)
    row["height"] = 99
    ring.put(0, 1, np.full((4, 4, 3), 99, np.uint8), row)  # a worker has not finished it
    card = OnCard(ring, "cpu")
    assert card.fetch() == 1 and shown(card) == {11}


def test_many_are_brought_in_parts_and_each_only_once(ring):
    put(ring, 0, 1, 2, 3, 4)
    put(ring, 1, 6)
    card = OnCard(ring, "cpu")
    assert card.fetch(at_once=2) == 5 and shown(card) == {1, 2, 3, 4, 6}
    put(ring, 0, 5)
    put(ring, 1, 7)
    assert card.fetch() == 7 and shown(card) == {1, 2, 3, 4, 5, 6, 7}
    ring.pictures[:] = 0  # what lies on the card is not read again
    ring.labels[:] = 0
    assert card.fetch() == 7 and shown(card) == {1, 2, 3, 4, 5, 6, 7}


def test_nothing_drawn_is_nothing_there(ring):
    card = OnCard(ring, "cpu")
    assert card.fetch() == 0 and len(card.slots) == 0
