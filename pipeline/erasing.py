"""Taking results and words out of the store for good, so that nothing is left in the file's free pages either."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from pipeline.coach_tables import CoachTables

NAMED_SOMEBODY = "what stood here named somebody, or a clip, since forgotten; the next run says anew what is to be done"
TOLD_APART = re.compile(r"~[0-9a-f]{8}(?=\.[^.]*$)")  # what a namesake's clip has in its name in the store and not in the folder


def name_in_folder(clip: str) -> str:
    """A stored clip's name as the coach's file has it, before it was told apart from a namesake.

    >>> name_in_folder("IMG_1~0123abcd.MOV"), name_in_folder("IMG_1.MOV")
    ('IMG_1.MOV', 'IMG_1.MOV')
    """
    return TOLD_APART.sub("", clip)


def mentions(code: str) -> re.Pattern[str]:
    """Finds an athlete's code in a text or a file name, in any capitals; not inside a longer code.

    >>> [bool(mentions("OT-1").search(text)) for text in ("ot-1_2026-03-02_1.mp4", "OT-11", "HOT-1")]
    [True, False, False]
    """
    return re.compile(rf"(?<![^\W_])(?<!-){re.escape(code)}(?![^\W_])(?!-)", re.IGNORECASE)


def naming(names: Iterable[str], codes: Iterable[str]) -> re.Pattern[str]:
    """Finds any of these file names, and any mention of these codes, in any capitals; nothing where there are none.

    >>> [bool(naming(["a.mp4"], ["OT-1"]).search(text)) for text in ("in A.mp4", "of ot-1", "of OT-11")], naming([], []).search("a")
    ([True, True, False], None)
    """
    patterns = [*map(re.escape, names), *(mentions(code).pattern for code in codes)]
    return re.compile("|".join(patterns) if patterns else "(?!)", re.IGNORECASE)


class Erasing(CoachTables):
    """The part of the store that forgets."""

    def erase(self, clips: Sequence[str], *, about: str = "") -> None:
        """Remove clips, all that was measured in them, what the coach said of them, and an athlete's notes, pins and row of the roster,
        so that nothing is left in the file's free pages either. Reasons in other clips' rows that name any of them go too. What she said of
        a clip that was given to another athlete since then becomes that athlete's."""
        self._db.execute("PRAGMA secure_delete = ON")
        with self._transaction() as db:
            others = "FROM clips c WHERE c.content = eye.content AND c.athlete <> '' AND upper(c.athlete) <> upper(eye.athlete)"
            db.execute(
                f"UPDATE eye SET link = (SELECT c.athlete {others}) || substr(link, length(athlete) + 1), athlete = (SELECT c.athlete {others}) "
                f"WHERE athlete <> '' AND athlete = ? AND EXISTS (SELECT 1 {others})",
                (about,),
            )
            db.executemany("DELETE FROM eye WHERE content IN (SELECT content FROM clips WHERE clip = ?)", [(clip,) for clip in clips])
            db.executemany("DELETE FROM clips WHERE clip = ?", [(clip,) for clip in clips])
            db.execute("DELETE FROM notes WHERE about = ? AND about <> ''", (about,))
            db.execute("DELETE FROM pins WHERE upper(athlete) = upper(?)", (about,))
            db.execute("DELETE FROM roster WHERE upper(athlete) = upper(?)", (about,))
            db.execute("DELETE FROM eye WHERE athlete = ? AND athlete <> ''", (about,))
            said = [(row["id"],) for row in db.execute("SELECT id, text FROM notes") if about and mentions(about).search(row["text"])]
            db.executemany("DELETE FROM notes WHERE id = ?", said)
            named = naming([*clips, *map(name_in_folder, clips)], [about] if about else [])
            reasons = [(NAMED_SOMEBODY, row["clip"]) for row in db.execute("SELECT clip, reason FROM clips") if named.search(row["reason"])]
            db.executemany("UPDATE clips SET reason = ? WHERE clip = ?", reasons)
        self._vacuum()

    def erase_before(self, day: str) -> None:
        """Remove notes and pins that ended before an ISO day, and what the coach said before it of clips that are gone."""
        self._db.execute("PRAGMA secure_delete = ON")
        before = self._db.total_changes
        with self._transaction() as db:
            db.execute("DELETE FROM notes WHERE date < ?", (day,))
            db.execute("DELETE FROM pins WHERE until <> '' AND until < ?", (day,))
            db.execute("DELETE FROM eye WHERE said < ? AND content NOT IN (SELECT content FROM clips)", (day,))
        if self._db.total_changes > before:
            self._vacuum()

    def _vacuum(self) -> None:
        self._db.execute("VACUUM")
        self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
