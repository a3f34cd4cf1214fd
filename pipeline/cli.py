"""The command `matside`: words in, one call each, words and an exit code out. Heavy parts are loaded only when used."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from pipeline import __version__
from pipeline.errors import CANNOT_RUN, MatsideError

FINE, NEEDS_SOMEBODY, INTERRUPTED = 0, 3, 130

EXIT_CODES = """Exit codes: 0 all fine · 2 wrong command line · 3 done, but some clips failed or need you · 4 could not run (the line says why) ·
5 another run is at work in the same folder · 130 interrupted; run again to go on · 1 a fault of Matside's own."""

app = typer.Typer(
    name="matside", no_args_is_help=True, add_completion=False, rich_markup_mode="markdown", pretty_exceptions_enable=False, epilog=EXIT_CODES,
    help="Measures young gymnasts' body lines in phone clips, with honest uncertainty, and writes pages to look at.\n\n"
    "Example: `matside run clips/week-09 --out reports`",
)  # fmt: skip

Out = Annotated[Path, typer.Option("--out", help="Where the pages and results are.", file_okay=False)]
Profiles = Annotated[
    list[str] | None,
    typer.Option(
        "--tolerances",
        help="A shipped profile (beginners, published) or your own TOML file; given again, a later one lies over an earlier one.",
    ),
]
RosterFile = Annotated[
    Path | None, typer.Option("--roster", help="The roster, if it is not roster.csv in the clips folder.", dir_okay=False)
]
SettingsFile = Annotated[Path | None, typer.Option("--settings", help="Your own settings; see configs/settings.toml.", dir_okay=False)]
Workers = Annotated[int | None, typer.Option("--workers", min=1, max=256, help="Worker processes; one per core if not given.")]


@app.command()
def run(
    folder: Annotated[Path, typer.Argument(help="The folder with the clips, in any layout, and roster.csv.")],
    out: Out = Path("reports"),
    roster: RosterFile = None,
    tolerances: Profiles = None,
    settings: SettingsFile = None,
    workers: Workers = None,
    wait: Annotated[bool, typer.Option("--wait", help="If another run is at work in the same --out, wait for it.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Measure everything again, even what has not changed.")] = False,
) -> None:
    """Measure the clips of a folder and write the pages. What was done before is not done again.

    Example: `matside run clips/week-09 --roster roster.csv --out reports`
    """
    from pipeline.batch.progress import reporter
    from pipeline.batch.run import run_folder
    from pipeline.settings import load_settings

    with reporter() as tell:
        night = run_folder(
            folder,
            out,
            roster=roster,
            settings=load_settings(settings),
            tolerances=tolerances or (),
            workers=workers,
            wait=wait,
            again=again,
            tell=tell,
        )
    _sum_up(night)
    raise typer.Exit(NEEDS_SOMEBODY if night.needs_somebody else FINE)


@app.command()
def report(
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Score and draw again from what is stored, without opening a clip: after changing a tolerance, for instance.

    Example: `matside report --out reports --tolerances my_tolerances.toml`
    """
    from pipeline.batch.lock import only_run
    from pipeline.batch.pages import load_profile, write_pages

    profile = load_profile(tolerances or ())
    with only_run(out / "data"), _results(out) as store:
        index, _ = write_pages(store, profile, out, changed=True)
    typer.echo(f"Pages: {index}")


@app.command()
def demo(
    out: Out = Path("reports/demo"),
    workers: Workers = None,
) -> None:
    """Run the main job on the sample clips: rendered athletes whose joints are known exactly.

    Example: `matside demo`
    """
    sample = Path(__file__).resolve().parent.parent / "sample_data" / "clips"
    if not sample.is_dir():
        raise MatsideError(
            "The sample clips come with the project's source, not with the installed package. Fetch the source and run `make demo` there."
        )
    run(sample, out=out, workers=workers)


@app.command()
def doctor(
    out: Out = Path("reports"),
) -> None:
    """Say what is installed, which models are used, and whether disk and cores suffice. Opens no clip.

    Example: `matside doctor`
    """
    from pipeline.batch.doctor import examine

    healthy = True
    for finding in examine(out):
        typer.echo(f"{'ok   ' if finding.fine else 'WRONG'}  {finding.what}: {finding.found}")
        healthy = healthy and finding.fine
    raise typer.Exit(FINE if healthy else CANNOT_RUN)


def _results(out: Path):
    """The store of an output folder that has one."""
    from pipeline.store import Store

    path = out / "data" / "matside.sqlite"
    if not path.is_file():
        raise MatsideError(f"{path}: no results yet. Start with `matside run FOLDER --out {out}`.")
    return Store(path)


def _sum_up(night) -> None:
    for notice in night.notices:
        typer.echo(f"note: {notice}")
    counts = ", ".join(f"{count} {status}" for status, count in sorted(night.statuses.items()))
    typer.echo(f"{night.found} clips: {counts or 'none'}; {night.unchanged} were done before.")
    if night.asked:
        typer.echo(f"Some clips need you: fill in {night.asked} and run again.")
    if night.index:
        typer.echo(f"Pages: {night.index.resolve()}")


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"matside {__version__}")
        raise typer.Exit()


@app.callback()
def _options(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version and stop.")] = False,
) -> None:
    pass


def main() -> None:
    """Entry point: our errors become one line on stderr and an exit code; anything else is a fault of ours and shows itself."""
    try:
        app()
    except MatsideError as error:
        print(f"matside: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        print("matside: stopped. What is done stays done; run again to go on.", file=sys.stderr)
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    main()
