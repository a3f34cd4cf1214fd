"""What a coach adds to the demo: her own verdicts on the sample clips, invented, and a points round of the sample club."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipeline.batch.lock import only_run
from pipeline.batch.pages import write_pages
from pipeline.errors import MatsideError
from pipeline.practice import eye
from pipeline.practice.points_plan import load_plan
from pipeline.reports.points_page import who_may_be_there, write_blank, write_filled
from pipeline.scoring.tolerances import load_tolerances
from pipeline.store import Store


def coach_the_demo(out: Path, said: Path) -> Iterator[str]:
    """Add them to the demo's results and draw what changes; yields a line on anything that does not work out, which stops nothing else.

    said : a table as `matside eye read` takes it. Her verdicts are added once, however often the demo is run.
    """
    tolerances = load_tolerances()
    with only_run(out / "data"), Store(out / "data" / "matside.sqlite") as store:
        if store.eye().empty:
            try:
                eye.add(store, eye.read_said(store, said, known_only=True))
            except MatsideError as error:
                yield str(error)
        newest = store.latest_date()
        first = min((day for day in store.clips()["date"] if day), default="")
        try:
            write_filled(store, tolerances, out, load_plan(), since=first, until=newest)
            write_blank(store, tolerances, out, load_plan(), who_may_be_there(store, newest))
        except MatsideError as error:
            yield str(error)
        write_pages(store, tolerances, out)
