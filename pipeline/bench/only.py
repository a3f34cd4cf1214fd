"""Tables learnt anew of holds alone (`--only-holds`): after a change to how holds are looked at, from clips that may show nothing else.

Rows of all other details stay as they are; the table's first lines say from what each was made.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from pipeline.vocabulary import Skill

HELP = "learn only what is read while a pose is held; other rows stay as they are"
OF_HOLDS = "# Rows of holds: "
HELD: dict[str, tuple[str, ...]] = {
    Skill.LUNGE: ("line_deviation", "shoulder_angle", "hip_angle", "knee_angle", "arms_by_ears"),
    Skill.LOADED_LUNGE: ("knee_angle", "lean_angle", "arms_by_ears", "hip_angle"),
    Skill.SHOULDER_STAND: ("hip_angle", "hip_knee_angle", "leg_to_vertical", "toe_point", "knee_angle"),
}


def of_holds(line: str) -> bool:
    """Whether a table's line, "skill,detail,...", is of a detail read while a pose is held; "each frame" and the like may follow its name."""
    skill, detail = line.split(",")[:2]
    return detail.split(" ")[0] in HELD.get(skill, ())


def write_lines(path: Path, lines: Sequence[str], *, only_holds: bool) -> None:
    """Write a table's lines: comments, the last of which says how it was made, a heading, rows; of them only those of holds where asked for."""
    path.write_text(
        "\n".join(merged(path.read_text(encoding="utf-8").splitlines(), lines) if only_holds else lines) + "\n", encoding="utf-8"
    )


def merged(old: Sequence[str], new: Sequence[str]) -> list[str]:
    """The old table's lines with the new one's rows of holds in the place of its own."""
    about = [line for line in old if line.startswith("#") and not line.startswith(OF_HOLDS)]
    made = next(line for line in reversed(new) if line.startswith("#"))
    heading, *rows = [line for line in old if not line.startswith("#")]
    fresh = _by_detail([line for line in new if not line.startswith("#")][1:])
    out = [*about, OF_HOLDS + made.removeprefix("# "), heading]
    for key, mine in _by_detail(rows).items():
        out += fresh.get(key, mine) if of_holds(mine[0]) else mine
    return out


def _by_detail(rows: Sequence[str]) -> dict[tuple[str, ...], list[str]]:
    return {key: list(lines) for key, lines in groupby(rows, key=lambda line: tuple(line.split(",")[:2]))}
