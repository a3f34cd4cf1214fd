"""Tables learnt anew of a part alone (`--only holds`, `--only cartwheels`): after a change to how that is looked at from near by, from clips that
may show nothing else.

Rows of all other details stay as they are; the table's first lines say from what each was made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from pathlib import Path

from pipeline.vocabulary import Skill

HELP = "learn only what is read while a pose is held, or cartwheels' knees; other rows stay as they are"
PARTS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "holds": {
        Skill.LUNGE: ("line_deviation", "shoulder_angle", "hip_angle", "knee_angle", "arms_by_ears"),
        Skill.LOADED_LUNGE: ("knee_angle", "lean_angle", "arms_by_ears", "hip_angle"),
        Skill.SHOULDER_STAND: ("hip_angle", "hip_knee_angle", "leg_to_vertical", "toe_point", "knee_angle"),
    },
    "cartwheels": {Skill.CARTWHEEL: ("knee_angle",)},
}


def is_of(part: str, line: str) -> bool:
    """Whether a table's line, "skill,detail,...", is of a part's detail; "each frame" and the like may follow its name."""
    skill, detail = line.split(",")[:2]
    return detail.split(" ")[0] in PARTS[part].get(skill, ())


def write_lines(path: Path, lines: Sequence[str], *, only: str | None) -> None:
    """Write a table's lines: comments, the last of which says how it was made, a heading, rows; of them only a part's where asked for."""
    path.write_text(
        "\n".join(merged(path.read_text(encoding="utf-8").splitlines(), lines, only) if only else lines) + "\n", encoding="utf-8"
    )


def merged(old: Sequence[str], new: Sequence[str], part: str) -> list[str]:
    """The old table's lines with the new one's rows of a part in the place of its own."""
    said = f"# Rows of {part}: "
    about = [line for line in old if line.startswith("#") and not line.startswith(said)]
    made = next(line for line in reversed(new) if line.startswith("#"))
    heading, *rows = [line for line in old if not line.startswith("#")]
    fresh = _by_detail([line for line in new if not line.startswith("#")][1:])
    out = [*about, said + made.removeprefix("# "), heading]
    for key, mine in _by_detail(rows).items():
        out += fresh.get(key, mine) if is_of(part, mine[0]) else mine
    return out


def _by_detail(rows: Sequence[str]) -> dict[tuple[str, ...], list[str]]:
    return {key: list(lines) for key, lines in groupby(rows, key=lambda line: tuple(line.split(",")[:2]))}
