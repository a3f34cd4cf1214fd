"""Clips nobody has assigned: three frames of each, so that a coach can tell whose they are and nobody else can.

The whole picture is blurred, as nothing is known of where the faces are: what stays is who stands where in which colours.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np

from pipeline.clips.video import glimpses
from pipeline.reports.attempt_view import link_to
from pipeline.reports.blur import BLUR_OF_PICTURE
from pipeline.reports.files import write_whole
from pipeline.reports.language import translations
from pipeline.reports.pages import content_policy, environment, stylesheet
from pipeline.reports.places import UNASSIGNED
from pipeline.reports.said import said
from pipeline.reports.words import CAUTION

FOLDER = "sheets"  # below the data folder
LONGEST_SIDE = 360
JPEG_QUALITY = 80


def sheet_key(name: str, size: int, changed: int) -> str:
    """The start of a clip's sheet files: another file of that name gets other pictures."""
    return hashlib.sha256(f"{name}\0{size}\0{changed}".encode("utf-8", "backslashreplace")).hexdigest()[:16]


def sheet_files(data: Path, key: str) -> list[Path]:
    """The pictures of one clip, in time order."""
    return sorted((data / FOLDER).glob(f"{key}_*.jpg"))


def take_sheet(path: Path, key: str, data: Path) -> list[Path]:
    """Write the blurred frames of one clip; the last picture last, so that a sheet with all of them is whole. Raises UnreadableClip."""
    shown = glimpses(path, longest_side=LONGEST_SIDE)
    files = [data / FOLDER / f"{key}_{i}.jpg" for i in range(len(shown))]
    for file, frame in zip(files, shown, strict=True):
        ok, packed = cv2.imencode(".jpg", cv2.cvtColor(blurred(frame.image), cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        if ok:
            write_whole(file, packed.tobytes())
    return files


def blurred(image: np.ndarray) -> np.ndarray:
    """(h, w, 3) uint8 in which no face can be known again, near or far."""
    sigma = BLUR_OF_PICTURE * max(image.shape[:2])
    return cv2.GaussianBlur(image, (0, 0), sigma)


def write_sheets(
    out: Path, data: Path, clips: Mapping[str, tuple[str, str]], *, list_name: str, language: str = "en", root: str = ""
) -> Path | None:
    """The page with a row a clip, {clip: (sheet key, or empty for none, and what is asked)}; without clips, the old page and its pictures go."""
    keep = {key for key, _ in clips.values()}
    for old in (data / FOLDER).glob("*.jpg"):
        if old.name.split("_")[0] not in keep:
            old.unlink(missing_ok=True)
    page = out / UNASSIGNED
    if not clips:
        page.unlink(missing_ok=True)
        return None
    tr = translations(language)
    env = environment(tr)
    rows: Sequence[dict] = [
        {"name": name, "asked": said(tr, asked), "pictures": [link_to(p, out) for p in sheet_files(data, key)] if key else []}
        for name, (key, asked) in sorted(clips.items())
    ]
    text = env.get_template("unassigned.html").render(
        css=stylesheet(),
        csp=content_policy(),
        site_title="Matside",
        note="",
        caution=CAUTION,
        made="",
        root=root,
        rows=rows,
        list_name=list_name,
    )
    write_whole(page, text)
    return page
