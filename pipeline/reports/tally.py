"""Tally marks as a hand makes them: four strokes and a fifth across. Drawn, so that they print black on white."""

from __future__ import annotations

from markupsafe import Markup

STROKES = 4
HEIGHT, APART, LEAN = 18, 5, 1.2  # of a stroke, between strokes, and how far its foot lies to the left of its head
WIDTH = 6 + APART * (STROKES - 1) + 4


def tally(count: int) -> Markup:
    """The marks of a count, one small drawing a five so that a long row may break; nothing for 0. Read out they are silent: the
    number stands beside them."""
    fives, rest = divmod(count, STROKES + 1)
    return Markup("").join([_drawn(STROKES, across=True)] * fives + ([_drawn(rest, across=False)] if rest else []))


def _drawn(strokes: int, *, across: bool) -> Markup:
    lines = [f"M{5 + APART * i} 2l{-LEAN} {HEIGHT - 4}" for i in range(strokes)]
    if across:
        lines.append(f"M1 {HEIGHT - 5}L{WIDTH - 1} 5")
    width = WIDTH if across else 6 + APART * (strokes - 1) + 2
    return Markup(
        '<svg class="tally" viewBox="0 0 {w} {h}" width="{w}" height="{h}" aria-hidden="true" focusable="false">'
        '<path d="{d}" fill="none" stroke="currentColor" stroke-width="1.7" stroke-linecap="round"/></svg>'
    ).format(w=width, h=HEIGHT, d="".join(lines))
