"""Real pictures of people -> crops with room round them, without labels: what keeps a tuned model honest on real pictures.

The pictures stay where they are; the file made here holds JPEG crops and the name, licence, credit and source of each picture used.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError
from pipeline.landmarks.crops import Crop, between

SIDE = 384  # pixels of a stored crop; its middle 256 are the crop the model would be given
LEAST_RADIUS = 34  # pixels in the picture from the hips to the farthest reach; smaller people teach little
MOST_TURNED = np.deg2rad(75)  # the pictures show people upright: a body found lying or upside down is a mistake
LEAST_PRESENCE, LEAST_INSIDE = 0.8, 0.65  # a person is there, with most of the body in the picture
CREDIT_COLUMNS = ("file", "licence", "credit", "source")


@dataclass(frozen=True, eq=False)
class Anchors:
    """Crops of real people, packed as JPEG, and whose pictures they are from."""

    jpegs: list[np.ndarray]  # one a person
    picture: list[int]  # index into credits
    credits: list[dict[str, str]]

    def __len__(self) -> int:
        return len(self.jpegs)

    def save(self, path: Path) -> None:
        """All of it in one .npz file."""
        credits = np.array([[c[k] for k in CREDIT_COLUMNS] for c in self.credits])
        np.savez(
            path,
            sizes=np.array([len(j) for j in self.jpegs]),
            bytes=np.concatenate(self.jpegs),
            picture=np.array(self.picture),
            credits=credits,
        )

    @classmethod
    def load(cls, path: Path) -> Anchors:
        """What `save` wrote."""
        d = np.load(path)
        jpegs = np.split(d["bytes"], np.cumsum(d["sizes"])[:-1])
        return cls(jpegs, d["picture"].tolist(), [dict(zip(CREDIT_COLUMNS, row, strict=True)) for row in d["credits"].tolist()])

    @cached_property
    def share(self) -> np.ndarray:
        """(people,) how often each is shown: a source's share grows with the square root of its people, so that no one film rules."""
        sources = np.array([self.credits[p]["source"] for p in self.picture])
        _, source, people = np.unique(sources, return_inverse=True, return_counts=True)
        share = people[source] ** -0.5
        return share / share.sum()

    def pictures(self) -> np.ndarray:
        """(people, 384, 384, 3) uint8 RGB."""
        import cv2

        return np.stack([cv2.imdecode(j, cv2.IMREAD_COLOR)[:, :, ::-1] for j in self.jpegs])


def judged_pictures(keypoints: Path) -> set[str]:
    """Names of the pictures that have keypoints in a COCO annotation file: kept for judging, never trained on."""
    listed = json.loads(keypoints.read_text())
    marked = {a["image_id"] for a in listed["annotations"] if a["num_keypoints"] > 0}
    return {i["file_name"] for i in listed["images"] if i["id"] in marked}


def make_anchors(folder: Path, out: Path, *, model: Path, leave_out: set[str] = frozenset()) -> Anchors:
    """Crop every person that detector and `model` agree on in the pictures of `folder/credits.csv`, and write them to `out`."""
    import cv2

    from pipeline.landmarks.detector import Detector
    from pipeline.landmarks.models import detector_path
    from pipeline.landmarks.net import LandmarkNet

    listing = folder / "credits.csv"
    if not listing.exists():
        raise MatsideError(f"{listing}: missing. Expected one row a picture with the columns {', '.join(CREDIT_COLUMNS)}.")
    detector, net = Detector(detector_path()), LandmarkNet(model)
    jpegs, picture, credits = [], [], []
    for row in csv.DictReader(listing.open(newline="", encoding="utf-8")):
        if row["file"] in leave_out:
            continue
        image = cv2.imread(str(folder / row["file"]))
        if image is None:
            raise MatsideError(f"{folder / row['file']}: listed in credits.csv, but cannot be read as a picture.")
        image = np.ascontiguousarray(image[:, :, ::-1])
        people = _people(image, detector, net)
        for crop in people:
            jpegs.append(cv2.imencode(".jpg", _wide(image, crop)[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])[1].ravel())
            picture.append(len(credits))
        if people:
            credits.append({k: row[k] for k in CREDIT_COLUMNS})
    if not jpegs:
        raise MatsideError(f"{folder}: no person was found in any picture; there is nothing to keep the model honest with.")
    anchors = Anchors(jpegs, picture, credits)
    anchors.save(out)
    return anchors


def _people(image: np.ndarray, detector, net) -> list[Crop]:
    """Crops settled on each person the detector finds in the whole picture or in one of its overlapping parts."""
    height, width = image.shape[:2]
    regions = [None] + [
        (x * width, y * height, (x + share) * width, (y + share) * height)
        for share, steps in ((0.5, 3), (0.3, 4))
        for x in np.linspace(0, 1 - share, steps)
        for y in np.linspace(0, 1 - share, steps)
    ]
    seen: list[Crop] = []  # as the detector gave them
    found: list[Crop] = []  # settled
    for region in regions:
        for person in detector(image, region=region):
            crop = between(person.hips, person.top)
            if _known(crop, seen):
                continue
            seen.append(crop)
            for _ in range(2):
                guess = net(image, crop)
                crop = between(guess.centre, guess.top)
            inside = ((guess.xy[11:29] > 0) & (guess.xy[11:29] < (width, height))).all(1).mean()
            if abs(np.angle(np.exp(1j * crop.angle))) > MOST_TURNED:
                continue
            if guess.presence > LEAST_PRESENCE and crop.side > 2.5 * LEAST_RADIUS and inside > LEAST_INSIDE and not _known(crop, found):
                found.append(crop)
    return found


def _known(crop: Crop, others: list[Crop]) -> bool:
    return any(np.hypot(crop.x - c.x, crop.y - c.y) < 0.12 * c.side and 0.6 < crop.side / c.side < 1.6 for c in others)


def _wide(image: np.ndarray, crop: Crop) -> np.ndarray:
    """(384, 384, 3): the crop with room round it; beyond the picture its edge is repeated, as when following."""
    import cv2

    matrix = crop.matrix.copy()
    matrix[:, 2] = [crop.x, crop.y] - matrix[:, :2] @ np.full(2, (SIDE - 1) / 2)
    return cv2.warpAffine(image, matrix, (SIDE, SIDE), flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
