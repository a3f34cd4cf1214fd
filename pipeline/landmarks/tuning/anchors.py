"""Real pictures of people -> crops with room round them, without labels: what keeps a tuned model honest on real pictures.

The pictures stay where they are; the file made here holds JPEG crops and the name, licence, credit and source of each picture used.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import MatsideError

SIDE = 384  # pixels of a stored crop; its middle 256 are the crop the model would be given
LEAST_RADIUS = 45  # pixels in the picture from the hips to the farthest reach; smaller people teach little
CREDIT_COLUMNS = ("file", "licence", "credit", "source")


@dataclass(frozen=True)
class Anchors:
    jpegs: list[np.ndarray]  # one a person
    picture: list[int]  # index into credits
    credits: list[dict[str, str]]

    def __len__(self) -> int:
        return len(self.jpegs)

    def save(self, path: Path) -> None:
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
        d = np.load(path)
        jpegs = np.split(d["bytes"], np.cumsum(d["sizes"])[:-1])
        return cls(jpegs, d["picture"].tolist(), [dict(zip(CREDIT_COLUMNS, row, strict=True)) for row in d["credits"].tolist()])

    def batch(self, rng: np.random.Generator, size: int) -> np.ndarray:
        """(size, 384, 384, 3) uint8 RGB, pictures drawn evenly, then a person of it."""
        import cv2

        of = np.array(self.picture)
        chosen = [int(rng.choice(np.flatnonzero(of == p))) for p in rng.choice(np.unique(of), size)]
        return np.stack([cv2.imdecode(self.jpegs[k], cv2.IMREAD_COLOR)[:, :, ::-1] for k in chosen])


def make_anchors(folder: Path, out: Path, *, model: Path, leave_out: tuple[str, ...] = ("coco_",)) -> Anchors:
    """Crop every person that detector and `model` agree on in the pictures of `folder/credits.csv`, and write them to `out`.

    leave_out: beginnings of file names that are kept for judging and must not be trained on.
    """
    import cv2

    from pipeline.landmarks.crops import SIZE, Crop, between
    from pipeline.landmarks.detector import Detector
    from pipeline.landmarks.models import detector_path
    from pipeline.landmarks.net import LandmarkNet

    listing = folder / "credits.csv"
    if not listing.exists():
        raise MatsideError(f"{listing}: missing. Expected one row a picture with the columns {', '.join(CREDIT_COLUMNS)}.")
    detector, net = Detector(detector_path()), LandmarkNet(model)
    jpegs, picture, credits = [], [], []
    for row in csv.DictReader(listing.open(newline="", encoding="utf-8")):
        if row["file"].startswith(leave_out):
            continue
        image = cv2.imread(str(folder / row["file"]))
        if image is None:
            raise MatsideError(f"{folder / row['file']}: listed in credits.csv, but cannot be read as a picture.")
        image, found = np.ascontiguousarray(image[:, :, ::-1]), []
        for person in detector(image):
            crop = between(person.hips, person.top)
            for _ in range(3):  # let the crop settle on the body
                guess = net(image, crop)
                crop = between(guess.centre, guess.top)
            known = any(np.hypot(crop.x - c.x, crop.y - c.y) < 0.2 * c.side for c in found)
            inside = ((guess.xy[11:29] > 0) & (guess.xy[11:29] < image.shape[1::-1])).all(1).mean()
            if guess.presence < 0.8 or crop.side < 2.5 * LEAST_RADIUS or inside < 0.7 or known:
                continue
            found.append(crop)
            wide = Crop(crop.x, crop.y, crop.side * SIDE / SIZE, crop.angle)
            matrix = wide.matrix * (SIZE / SIDE)
            matrix[:, 2] = [wide.x, wide.y] - matrix[:, :2] @ np.full(2, (SIDE - 1) / 2)
            cut = cv2.warpAffine(image, matrix, (SIDE, SIDE), flags=cv2.WARP_INVERSE_MAP | cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
            jpegs.append(cv2.imencode(".jpg", cut[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])[1].ravel())
            picture.append(len(credits))
        if found:
            credits.append({k: row[k] for k in CREDIT_COLUMNS})
    if not jpegs:
        raise MatsideError(f"{folder}: no person was found in any picture; there is nothing to keep the model honest with.")
    anchors = Anchors(jpegs, picture, credits)
    anchors.save(out)
    return anchors
