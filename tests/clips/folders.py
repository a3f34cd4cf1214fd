"""Clips folders for tests: who may be opened, files in them, and what intake makes of it."""

from datetime import date

from pipeline.clips.content import ContentHashes
from pipeline.clips.intake import take_in

TODAY = date(2026, 3, 2)
ROSTER = "athlete,cohort,lead_side,consent_until\nOT-01,Otters,left,2027-01-01\nHE-02,Herons,right,2027-01-01\nCU-03,Curlews,,2026-03-01\n"


def put(folder, name, content=None):
    """A file that is never decoded here, so any bytes do."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(name.encode("utf-8", "surrogateescape") if content is None else content)
    return path


def taken(folder, tmp_path, **options):
    got = take_in(folder, tmp_path / "out", today=TODAY, hashes=ContentHashes(tmp_path / "contents.json"), **options)
    return {clip.name: clip for clip in got.clips}
