"""Links to the pages beside the weeks, for the head of the front page."""

from __future__ import annotations

from pathlib import Path

from pipeline.reports.eye_page import PAGE as EYE
from pipeline.reports.language import Translations
from pipeline.reports.points_files import FOLDER, sheets
from pipeline.reports.routine_page import PAGE as ROUTINE


def beside_links(tr: Translations, out: Path, *, eye: bool, routine: bool) -> list[tuple[str, str]]:
    """(address from the index's folder, words) of each such page that is there; of the score sheets the latest."""
    links = []
    if routine:
        links.append((ROUTINE, tr.gettext("Alone and in a routine")))
    if eye:
        links.append((EYE, tr.gettext("Coach's own eye")))
    if names := sheets(out):
        links.append((f"{FOLDER}/{names[0]}.html", tr.gettext("Points round")))
    return links
