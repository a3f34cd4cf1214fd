"""What the commands share: options, and the results of an output folder, opened. Heavy parts are loaded only when used."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.errors import MatsideError

if TYPE_CHECKING:
    from pipeline.store import Store

RESULTS, DEMO = Path("data") / "matside.sqlite", "demo"  # below an output folder

Out = Annotated[Path, typer.Option("--out", help="Where the pages and results are.", file_okay=False)]
Profiles = Annotated[
    list[str] | None,
    typer.Option(
        "--tolerances",
        help="A shipped profile (beginners, published) or your own TOML file; given again, a later one lies over an earlier one. "
        "What run or report is given is kept for all that follows.",
    ),
]


def found(out: Path) -> Path:
    """The results of an output folder. Raises MatsideError where there are none yet, and makes nothing."""
    path = out / RESULTS
    if not path.is_file():
        demo = f", or look at the demo's with `--out {out / DEMO}`" if (out / DEMO / RESULTS).is_file() else ""
        raise MatsideError(f"{path}: no results yet. Start with `matside run FOLDER --out {out}`{demo}.")
    return path


@contextmanager
def results(out: Path, *, locked: bool = True) -> Iterator[Store]:
    """The store of an output folder that has one; `locked`: while no run is at work there."""
    from pipeline.batch.disk import disk_told
    from pipeline.batch.lock import only_run
    from pipeline.store import Store

    path = found(out)
    with only_run(out / "data") if locked else nullcontext(), disk_told(out), Store(path) as store:
        yield store


@contextmanager
def shown_results(out: Path, code: str = "") -> Iterator[Store]:
    """The store as pages may show it: without those whose consent has run out. Raises MatsideError where `code` is one of them."""
    with results(out) as store:
        lapsed = store.lapsed(date.today().isoformat())
        for one, day in lapsed.items():
            if one.upper() == code.upper():
                raise MatsideError(
                    f"{one}: consent ran out on {day}, so nothing is shown; what was measured is kept. Renew it in the roster and run "
                    f"again, or remove it with `matside forget {one}`."
                )
        with store.without(lapsed):
            yield store
