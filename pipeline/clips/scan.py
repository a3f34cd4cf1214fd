"""A folder in, its clips out, whatever the layout. Looks at names only."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from pipeline.errors import MatsideError

EXTENSIONS = frozenset({".mp4", ".mov", ".m4v", ".avi", ".webm", ".mkv", ".3gp", ".3g2", ".mts", ".m2ts", ".mpg", ".mpeg"})
UNREAD = frozenset({".wmv", ".flv", ".mod"})  # videos all the same: the coach is told that they cannot be read
RESULTS = "matside.sqlite"  # what lies beside it came out of a run: moving pictures, no clips
NOT_HERS = frozenset({"@eadir", "#recycle", "@recycle", "$recycle.bin", "system volume information", "lost+found"})  # a disk's own folders


def find_clips(folder: Path, *, leave_out: Sequence[Path] = ()) -> list[Path]:
    """Every clip below `folder`, in the order of their names. Hidden files and folders, those in `leave_out`, and what earlier runs with
    another --out left among the clips are passed over.

    A phone's AppleDouble companions (`._IMG_1.MOV`) are hidden files and hold no picture; what lies in a disk's bin was thrown away.
    Raises MatsideError if the folder is not there or cannot be read.
    """
    if not folder.is_dir():
        raise MatsideError(f"{folder}: no such folder. Give the folder that holds the clips.")
    apart = {path.resolve() for path in leave_out}
    try:
        return sorted(_walk(folder, apart), key=lambda path: path.as_posix())
    except PermissionError as error:
        raise MatsideError(f"{error.filename or folder}: this user may not read the folder. Change its permissions.") from error


def still_away(folder: Path) -> list[Path]:
    """Clips of which only a sign lies in the folder while the video is in iCloud (`.IMG_1.MOV.icloud`), under the names they will have."""
    return sorted(
        path.with_name(clip)
        for path in folder.rglob(".*.icloud")
        if Path(clip := path.name[1:].removesuffix(".icloud")).suffix.lower() in EXTENSIONS | UNREAD
    )


def linked_folders(folder: Path, *, leave_out: Sequence[Path] = ()) -> list[Path]:
    """Links to folders elsewhere, which `find_clips` does not follow (they may lead in a circle, or to what is not the club's)."""
    here, apart = folder.resolve(), {path.resolve() for path in leave_out}
    links = (path for inside in _folders(folder, apart) for path in inside if path.is_symlink() and path.is_dir())
    return sorted(path for path in links if here not in (path.resolve(), *path.resolve().parents))


def _folders(folder: Path, apart: set[Path]) -> Iterator[list[Path]]:
    """What lies in each folder that is looked into, itself a folder."""
    for place, inside, _ in os.walk(folder):
        inside[:] = [name for name in inside if _looked_into(Path(place, name), apart)]
        yield [Path(place, name) for name in inside]


def _looked_into(path: Path, apart: set[Path]) -> bool:
    if path.name.startswith(".") or path.name.lower() in NOT_HERS or (apart and path.resolve() in apart):
        return False
    return not os.path.isfile(path / RESULTS)


def _walk(folder: Path, apart: set[Path]) -> Iterator[Path]:
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith("."):
                continue
            path = Path(entry.path)
            if entry.is_dir(follow_symlinks=False):
                if _looked_into(path, apart):
                    yield from _walk(path, apart)
            elif path.suffix.lower() in EXTENSIONS | UNREAD and _may_be_a_clip(entry):
                yield path


def _may_be_a_clip(entry: os.DirEntry[str]) -> bool:
    """A file, or a link to one; a link that leads nowhere or in a circle as well, so that its row can say so."""
    try:
        return entry.is_file() or (entry.is_symlink() and not entry.is_dir())
    except OSError:
        return entry.is_symlink()


def clip_name(path: Path, folder: Path) -> str:
    """The clip's name in every table: its path below the folder with forward slashes, in text that any database can hold."""
    relative = path.relative_to(folder).as_posix()
    return os.fsencode(relative).decode("utf-8", "backslashreplace")
