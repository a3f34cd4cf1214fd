"""Clips nobody has assigned: three frames of each, so that a coach can tell whose they are and nobody else can.

The whole picture is blurred, as nothing is known of where the faces are: what stays is who stands where in which colours. Beside them
stand the day on which the camera says that it was filmed, and how long it is: an evening's order often tells whose turn it was.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence, Set
from pathlib import Path

import cv2
import numpy as np

from pipeline.clips.video import glimpses, probe
from pipeline.reports.attempt_view import link_to
from pipeline.reports.blur import BLUR_OF_PICTURE
from pipeline.reports.files import write_whole
from pipeline.reports.language import Translations, day_words, translations
from pipeline.reports.numbers import number
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


def remove_sheets(data: Path, *, but: Set[str] = frozenset()) -> None:
    """Remove the pictures and what the camera says of all clips, but of those with these keys."""
    for old in (*(data / FOLDER).glob("*.jpg"), *(data / FOLDER).glob("*.json")):
        if old.stem.split("_")[0] not in but:
            old.unlink(missing_ok=True)


def take_sheet(path: Path, key: str, data: Path) -> list[Path]:
    """Write what the camera says of one clip and its blurred frames; the last picture last, so that a sheet with all of them is whole.
    Raises UnreadableClip."""
    shown, video = glimpses(path, longest_side=LONGEST_SIDE), probe(path)
    said = {"made_on": video.made_on.isoformat() if video.made_on else "", "seconds": round(video.duration_s or 0.0, 1)}
    write_whole(data / FOLDER / f"{key}.json", json.dumps(said))
    files = [data / FOLDER / f"{key}_{i}.jpg" for i in range(len(shown))]
    for file, frame in zip(files, shown, strict=True):
        ok, packed = cv2.imencode(".jpg", cv2.cvtColor(blurred(frame.image), cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
        if ok:
            write_whole(file, packed.tobytes())
    return files


def filmed_words(tr: Translations, data: Path, key: str) -> str:
    """When a clip was filmed and how long it is, as far as its camera says; else nothing."""
    try:
        said = json.loads((data / FOLDER / f"{key}.json").read_text("utf-8"))
    except (OSError, ValueError):  # a sheet of an earlier version
        return ""
    length = tr.gettext("%s s long") % number(said["seconds"], 1) if said["seconds"] else ""
    filmed = tr.gettext("filmed on %s, says the camera") % day_words(tr, said["made_on"]) if said["made_on"] else ""
    return ", ".join(filter(None, (filmed, length)))


def blurred(image: np.ndarray) -> np.ndarray:
    """(h, w, 3) uint8 in which no face can be known again, near or far."""
    sigma = BLUR_OF_PICTURE * max(image.shape[:2])
    return cv2.GaussianBlur(image, (0, 0), sigma)


def write_sheets(
    out: Path, data: Path, clips: Mapping[str, tuple[str, str]], *, list_name: str, language: str = "en", root: str = ""
) -> Path | None:
    """The page with a row a clip, {clip: (sheet key, or empty for none, and what is asked)}; without clips, the old page and its pictures go."""
    remove_sheets(data, but={key for key, _ in clips.values()})
    page = out / UNASSIGNED
    if not clips:
        page.unlink(missing_ok=True)
        return None
    tr = translations(language)
    env = environment(tr)
    rows: Sequence[dict] = [
        {
            "name": name, "asked": said(tr, asked), "filmed": filmed_words(tr, data, key) if key else "",
            "pictures": [link_to(p, out) for p in sheet_files(data, key)] if key else [],
        }
        for name, (key, asked) in sorted(clips.items())
    ]  # fmt: skip
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
