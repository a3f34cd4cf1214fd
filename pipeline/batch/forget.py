"""Removing an athlete, or old clips, from everything a run has written: results, landmarks, pictures, pages, caches, log lines."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from html import unescape
from pathlib import Path

from pipeline.batch.leftovers import remove_parts
from pipeline.batch.pages import write_pages
from pipeline.clips.clip_list import BESIDE_NAME, LIST_NAME
from pipeline.clips.content import ContentHashes
from pipeline.clips.tables import decoded
from pipeline.erasing import mentions, name_in_folder, naming
from pipeline.errors import MatsideError, one_line, shown
from pipeline.files import write_whole
from pipeline.reports.points_files import forget_sheets
from pipeline.reports.sheets import UNASSIGNED, remove_sheets
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Known, Store

FOLDERS = "clips folders"  # the store's fact with the folders that runs have looked into
LAST_RUN = "last run"
CLOCK_JUMP_DAYS = 60  # a clock this far ahead of the last run may be wrong: nothing is removed by age that night


@dataclass
class Forgotten:
    """What was removed, and what was not ours to remove."""

    clips: list[str] = field(default_factory=list)  # rows of the store
    landmarks: int = 0
    pictures: int = 0
    pages: list[str] = field(default_factory=list)
    sheets: list[str] = field(default_factory=list)  # of points rounds, with everybody on them
    log_lines: int = 0
    said: dict[str, int] = field(default_factory=dict)  # what the coach had said of the athlete: how many notes, pins, verdicts
    sources: list[Path] = field(default_factory=list)  # the coach's own clips that are still there
    deleted_sources: list[Path] = field(default_factory=list)
    tables: list[Path] = field(default_factory=list)  # the coach's own clips.csv that still name the athlete or a clip of hers


def forget_athlete(code: str, out: Path, tolerances: Tolerances, *, delete_clips: bool = False) -> Forgotten:
    """Remove an athlete. The coach's clips are listed, and deleted only where `delete_clips` says so.

    Raises MatsideError if the store has no clip of this athlete.
    """
    data = out / "data"
    with Store(data / "matside.sqlite") as store:
        known = store.known()
        code_asked = code.upper()
        surely_theirs = {clip for clip, k in known.items() if k.athlete.upper() == code_asked}
        noted = {about for about in store.notes()["about"] if about not in {*store.cohorts(), *store.roster()["cohort"]}}
        elsewhere = {*store.pins()["athlete"], *store.roster()["athlete"], *store.eye()["athlete"], *noted}
        known_otherwise = {one for one in elsewhere if one.upper() == code_asked}
        if not surely_theirs and not known_otherwise and _only_mentioned(code, known):
            known_otherwise = {code_asked}
        if not surely_theirs and not known_otherwise:
            codes = ", ".join(sorted({k.athlete for k in known.values() if k.athlete})) or "nobody"
            raise MatsideError(f"{one_line(code) or shown(code)}: nothing is stored about this athlete. Stored are: {codes}.")
        spelled = {known[clip].athlete for clip in surely_theirs} | known_otherwise
        theirs = {clip: k for clip, k in known.items() if clip in surely_theirs or (not k.athlete and mentions(code).search(clip))}
        of = {"notes": store.notes()["about"], "pins": store.pins()["athlete"], "verdicts": store.eye()["athlete"]}
        done = _remove(theirs, store, out, about=spelled)
        done.said = {what: int(about.isin(spelled).sum()) for what, about in of.items() if about.isin(spelled).any()}
        done.sources = sources(store, theirs)
        if delete_clips:
            done.deleted_sources = [path for path in sources(store, surely_theirs) if _deleted(path)]
            done.sources = [path for path in done.sources if path not in done.deleted_sources]
        done.tables = _tables_that_name(store, [*map(name_in_folder, theirs)], spelled)
        _forget_folders(store, spelled)
        done.pages = [f"athletes/{one}.html" for one in sorted(spelled) if (out / "athletes" / f"{one}.html").exists()]
        write_pages(store, tolerances, out, changed=True)
    return done


def _only_mentioned(code: str, known: Mapping[str, Known]) -> bool:
    """Whether what looks like a code, and is no word or number of ours, stands in the name of a clip that is nobody's, or in a reason."""
    looks_so = any(sign.isdigit() for sign in code) and any(sign.isalpha() for sign in code)
    return looks_so and any(mentions(code).search(f"{'' if k.athlete else clip} {k.reason}") for clip, k in known.items())


def forget_old(store: Store, out: Path, keep_days: int, today: date) -> Forgotten:
    """Remove clips made more than `keep_days` ago; not on a day when the clock looks wrong. The pages are not drawn here."""
    last = store.fact(LAST_RUN)
    store.set_fact(LAST_RUN, today.isoformat())
    if not keep_days or (last and today - date.fromisoformat(last) > timedelta(days=CLOCK_JUMP_DAYS)):
        return Forgotten()
    oldest = (today - timedelta(days=keep_days)).isoformat()
    old = {clip: k for clip, k in store.known().items() if k.made_with and k.date and k.date < oldest}
    done = _remove(old, store, out, about=set()) if old else Forgotten()
    done.sheets = forget_sheets(out, before=oldest)
    store.erase_before(oldest)
    return done


def remember_folder(store: Store, folder: Path) -> None:
    """Keep where clips come from, so that `forget` can say which are left."""
    folders = _folders(store)
    if str(folder.absolute()) not in folders:
        store.set_fact(FOLDERS, json.dumps([*folders, str(folder.absolute())]))


def sources(store: Store, clips: Iterable[str]) -> list[Path]:
    """The coach's files of these clips, as far as they are still where runs have seen them."""
    found = []
    for folder in _folders(store):
        for clip in clips:
            path = Path(folder) / name_in_folder(clip)
            if path.is_file() and path.resolve().is_relative_to(Path(folder).resolve()):
                found.append(path)
    return sorted(set(found))


def _folders(store: Store) -> list[str]:
    return json.loads(store.fact(FOLDERS) or "[]")


def _remove(clips: dict[str, Known], store: Store, out: Path, *, about: set[str]) -> Forgotten:
    """Files first, rows last: if this is interrupted, saying it again finishes it."""
    data = out / "data"
    done = Forgotten(clips=sorted(clips))
    contents = {k.content[:32] for k in clips.values() if k.content}
    left = {k.content[:32] for clip, k in store.known().items() if clip not in clips}
    done.landmarks = _count(
        path for path in (data / "landmarks").glob("*.parquet") if path.name.split("_")[0] in contents - left and _deleted(path)
    )
    wanted = {data / file for file in store.picture_files(list(clips))}
    starts = [f"{k.athlete}_{k.date}_{k.content[:8]}_" for k in clips.values() if k.content] + [f"{code}_" for code in about]
    begin = tuple(start.upper() for start in starts)  # also of runs that were cut off, and of clips given to somebody else since then
    wanted.update(path for path in (data / "pictures").glob("*") if begin and path.name.upper().startswith(begin))
    done.pictures = _count(path for path in wanted if _deleted(path))
    hashes = ContentHashes(data / "contents.json")
    hashes.forget(
        {name for clip in clips for name in (clip, name_in_folder(clip))},
        {k.content for k in clips.values() if k.content} - {k.content for c, k in store.known().items() if c not in clips},
    )
    hashes.save()
    pattern = naming(clips, about)
    done.log_lines = sum(_without_lines(path, lambda line: bool(pattern.search(line))) for path in (data / "run.log", data / "workers.log"))
    _without_lines(out / BESIDE_NAME, lambda line: bool(pattern.search(line)))
    if (out / UNASSIGNED).is_file() and pattern.search(unescape((out / UNASSIGNED).read_text("utf-8", "replace"))):
        remove_sheets(data)  # their names do not say whose they are; the next run takes the others' again
        (out / UNASSIGNED).unlink()
    remove_parts(out)
    done.sheets = forget_sheets(out, about)
    for code in sorted(about) or [""]:
        store.erase(list(clips), about=code)
    return done


def _tables_that_name(store: Store, clips: Iterable[str], codes: Iterable[str]) -> list[Path]:
    """The coach's clips.csv in which one of these stands: rows in it are hers to take out, also those that a run has added."""
    named, found = naming(clips, codes), []
    for table in (Path(folder) / LIST_NAME for folder in _folders(store)):
        try:
            found += [table] if table.is_file() and named.search(decoded(table.read_bytes())[0]) else []
        except OSError:  # it may not be read, so no run has added to it
            continue
    return found


def _forget_folders(store: Store, codes: Iterable[str]) -> None:
    """A clips folder that is called after the athlete."""
    folders = _folders(store)
    kept = [folder for folder in folders if not any(mentions(code).search(folder) for code in codes)]
    if len(kept) < len(folders):
        store.set_fact(FOLDERS, json.dumps(kept))


def _without_lines(path: Path, drop: Callable[[str], bool]) -> int:
    """Rewrite a text file without some lines; how many went."""
    if not path.is_file():
        return 0
    text, encoding = decoded(path.read_bytes())
    lines = text.splitlines(keepends=True)
    kept = [line for line in lines if not drop(line)]
    if len(kept) < len(lines):
        mark = "\ufeff" if encoding.startswith("utf-16") else ""
        write_whole(path, (mark + "".join(kept)).encode(encoding, "backslashreplace"))
    return len(lines) - len(kept)


def _deleted(path: Path) -> bool:
    try:
        path.unlink()
    except FileNotFoundError:
        return False
    return True


def _count(items: Iterable[object]) -> int:
    return sum(1 for _ in items)


def told(done: Forgotten, code: str) -> Sequence[str]:
    """The report, line by line."""
    lines = [
        f"Forgotten: {len(done.clips)} clips of {code} with all readings, {done.landmarks} landmark files, {done.pictures} pictures, "
        f"{done.log_lines} log lines. The pages were drawn again without {code}."
    ]
    if done.said:
        lines += [f"Of what you had said of {code}: {', '.join(f'{what} {n}' for what, n in done.said.items())}."]
    if done.sheets:
        lines += [f"Score sheets that named {code}, removed whole: {', '.join(done.sheets)}."]
    if done.deleted_sources:
        lines += ["Deleted, as asked:", *(f"  {path}" for path in done.deleted_sources)]
    if done.sources:
        lines += [
            "These clips are yours and still there (--delete-clips deletes them):", *(f"  {path}" for path in done.sources),
            f"Take {code} off the roster, or the next run measures them again.",
        ]  # fmt: skip
    if done.tables:
        lines += [f"These tables of yours still name {code} or her clips; take those rows out:", *(f"  {path}" for path in done.tables)]
    return lines
