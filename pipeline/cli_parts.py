"""What the commands share: options, and the results of an output folder, opened. Heavy parts are loaded only when used."""

from __future__ import annotations

import errno
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.errors import MatsideError, WrongCommandLine, shown

if TYPE_CHECKING:
    from pipeline.store import Store

RESULTS, DEMO = Path("data") / "matside.sqlite", "demo"  # below an output folder


def file_option(name: str, help: str) -> Any:
    """An option that takes the path of a file, for `Annotated`."""
    return typer.Option(name, help=help, parser=_path(name, "a file"), metavar="FILE")


def file_argument(name: str, help: str) -> Any:
    """A word of the command line that is the path of a file, for `Annotated`; `name` as messages call it."""
    return typer.Argument(help=help, parser=_path(name, "a file"))


def folder_option(name: str, help: str) -> Any:
    """An option that takes the path of a folder, for `Annotated`."""
    return typer.Option(name, help=help, parser=_path(name, "a folder"), metavar="FOLDER")


def folder_argument(name: str, help: str) -> Any:
    """A word of the command line that is the path of a folder, for `Annotated`; `name` as messages call it."""
    return typer.Argument(help=help, parser=_path(name, "a folder"))


def _path(where: str, kind: str) -> Callable[[str | Path], Path]:
    """What turns the word typed at `where` into a path. It raises WrongCommandLine where the word is empty (as a script leaves it whose
    variable is not set; read as a path it would be the current folder), and where a file stands in a folder's place or the reverse."""

    def given(word: str | Path) -> Path:
        path = Path(_not_empty(where, kind, str(word)))
        try:
            found = path.stat().st_mode
        except OSError as error:
            if error.errno in (errno.ENAMETOOLONG, errno.ELOOP):
                raise WrongCommandLine(
                    f"{where}: expected {kind}, but got {shown(str(path))}, which the system refuses ({error.strerror}). Name another."
                ) from error
            return path  # not there yet, or not to be looked at: whoever opens it says so
        if stat.S_ISREG(found) if kind == "a folder" else stat.S_ISDIR(found):
            other = "a file" if kind == "a folder" else "a folder"
            raise WrongCommandLine(f"{where}: expected {kind}, but {shown(str(path), 200)} is {other}. Name {kind}.")
        return path

    return given


def _profile(word: str) -> str:
    return _not_empty("--tolerances", "a profile or a file", word)


def _not_empty(where: str, kind: str, word: str) -> str:
    if not word.strip():
        dot = " A dot means the current folder." if kind == "a folder" else ""
        raise WrongCommandLine(f"{where}: expected the name of {kind}, but got {word!r}. Is a variable of your script not set?{dot}")
    return word


Out = Annotated[Path, folder_option("--out", "Where the pages and results are.")]
Profiles = Annotated[
    list[str] | None,
    typer.Option(
        "--tolerances",
        parser=_profile,
        metavar="PROFILE",
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
