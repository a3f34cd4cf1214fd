"""The command `matside`: words in, one call each, words and an exit code out. Heavy parts are loaded only when used. More of its commands
stand in the other *_cli.py."""

from __future__ import annotations

import errno
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline import __version__
from pipeline.athletes_cli import add_athletes
from pipeline.cli_parts import Out, Profiles, file_option, folder_argument, results
from pipeline.errors import CANNOT_RUN, MatsideError, WrongCommandLine, plain, shown
from pipeline.practice_cli import add_practice
from pipeline.rounds_cli import eye_app, points_app, routines

if TYPE_CHECKING:
    from pipeline.batch.run import Night

FINE, NEEDS_SOMEBODY, INTERRUPTED = 0, 3, 130

EXIT_CODES = """Exit codes: 0 all fine · 2 wrong command line · 3 done, but some clips failed or need you · 4 could not run (the line says why) ·
5 another run is at work in the same folder · 130 interrupted; run again to go on · 1 a fault of Matside's own."""

app = typer.Typer(
    name="matside", no_args_is_help=True, add_completion=False, rich_markup_mode="markdown", pretty_exceptions_enable=False, epilog=EXIT_CODES,
    help="Measures young gymnasts' body lines in phone clips, with honest uncertainty, and writes pages to look at.\n\n"
    "Example: `matside run clips/week-09 --out reports`",
)  # fmt: skip

RosterFile = Annotated[Path | None, file_option("--roster", "The roster, if it is not roster.csv in the clips folder.")]
SettingsFile = Annotated[Path | None, file_option("--settings", "Your own settings; see configs/settings.toml.")]
Language = Annotated[str, typer.Option("--language", help="Language of the pages, such as de; kept for the runs that follow.")]
Workers = Annotated[int | None, typer.Option("--workers", min=1, max=256, help="Worker processes; one per core if not given.")]


@app.command()
def run(
    folder: Annotated[Path, folder_argument("FOLDER", "The folder with the clips, in any layout, and roster.csv.")],
    out: Out = Path("reports"),
    roster: RosterFile = None,
    tolerances: Profiles = None,
    settings: SettingsFile = None,
    workers: Workers = None,
    language: Language = "",
    wait: Annotated[bool, typer.Option("--wait", help="If another run is at work in the same --out, wait for it.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Measure everything again, even what has not changed.")] = False,
    engine: Annotated[str, typer.Option("--engine", help="local, or dask to spread the clips over many machines.")] = "local",
    scheduler: Annotated[
        str | None, typer.Option("--scheduler", help="Address of the dask scheduler, such as tcp://10.0.0.5:8786.")
    ] = None,
) -> None:
    """Measure the clips of a folder and write the pages. What was done before is not done again.

    Example: `matside run clips/week-09 --roster roster.csv --out reports`
    """
    if engine not in ("local", "dask"):
        raise WrongCommandLine(f"--engine: expected local or dask, but got {shown(engine)}. Leave it out for this computer alone.")
    if (engine == "dask") != (scheduler is not None):
        raise WrongCommandLine("--engine: expected --engine dask and --scheduler ADDRESS together, but got only one. Give both or neither.")
    from pipeline.batch.many_machines import ManyMachines
    from pipeline.batch.pool import work
    from pipeline.batch.progress import reporter
    from pipeline.batch.run import run_folder
    from pipeline.settings import load_settings

    try:
        with reporter() as tell:
            night = run_folder(
                folder, out, roster=roster, settings=load_settings(settings), tolerances=tolerances or (), workers=workers, wait=wait,
                again=again, tell=tell, language=language, engine=ManyMachines(scheduler) if scheduler else work,
            )  # fmt: skip
    except KeyboardInterrupt:
        typer.echo("matside: stopped. What is done stays done; run again to go on.", err=True)
        raise typer.Exit(INTERRUPTED) from None
    _sum_up(night)
    raise typer.Exit(NEEDS_SOMEBODY if night.needs_somebody else FINE)


@app.command()
def report(
    out: Out = Path("reports"),
    tolerances: Profiles = None,
    language: Language = "",
) -> None:
    """Score and draw again from what is stored, without opening a clip: after changing a tolerance, for instance.

    Example: `matside report --out reports --tolerances my_tolerances.toml`
    """
    from pipeline.batch.pages import write_pages
    from pipeline.batch.profile import keep_profile, load_profile

    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        keep_profile(tolerances or (), out)
        index, _ = write_pages(store, profile, out, changed=True, language=language)
    typer.echo(f"Pages: {index.resolve()}")


add_athletes(app)


@app.command()
def demo(
    out: Out = Path("reports/demo"),
    workers: Workers = None,
) -> None:
    """Run the main job on the sample clips: rendered athletes whose joints are known exactly, with an invented coach's own verdicts and
    a points round. Beside it, an invented club's season of readings shows what trends, cohorts and routines look like after twelve weeks.

    Example: `matside demo`
    """
    from pipeline.batch.demo import coach_the_demo
    from pipeline.reports.season_site import write_season_site
    from pipeline.scoring.tolerances import load_tolerances

    sample = Path(__file__).resolve().parent.parent / "sample_data" / "clips"
    if not sample.is_dir():
        raise MatsideError(
            "The sample clips come with the project's source, not with the installed package. Fetch the source and run `make demo` there."
        )
    typer.echo(f"Trends and cohorts of an invented season: {write_season_site(out / 'season', load_tolerances()).resolve()}")
    try:
        run(sample, out=out, workers=workers)
    except typer.Exit as end:  # how every run ends; its last line stays the last
        if end.exit_code in (FINE, NEEDS_SOMEBODY):
            for note in coach_the_demo(out, sample.parent / "eye.csv"):
                typer.echo(f"note: {note}", err=True)
        raise


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


def _sum_up(night: Night) -> None:
    for notice in night.notices:
        typer.echo(f"note: {notice}")
    counts = ", ".join(f"{count} {_verb(status, count)}" for status, count in sorted(night.statuses.items()))
    before = "1 was" if night.unchanged == 1 else f"{night.unchanged} were"
    typer.echo(f"{_clips(night.found)}: {counts or 'nothing to do'}; {before} done before.")
    if night.forgotten:
        typer.echo(f"Older than results are kept, and so forgotten: {_clips(night.forgotten)}.")
    if night.asked:
        typer.echo(f"Some clips need you: fill in {night.asked.resolve()} and run again.")
    if night.unassigned:
        typer.echo(f"Pictures of them: {night.unassigned.resolve()}")
    if night.index:
        typer.echo(f"Pages: {night.index.resolve()}")


def _clips(count: int) -> str:
    return f"{count} clip" if count == 1 else f"{count} clips"


def _verb(status: str, count: int) -> str:
    """A clip's status after a number of clips."""
    return {"needs you": "needs you" if count == 1 else "need you", "nothing found": "without a skill found"}.get(status, status)


add_practice(app)
app.add_typer(points_app, name="points")
app.add_typer(eye_app, name="eye")
app.command()(routines)


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
    """Entry point: our errors, and what the machine refuses, become one line on stderr and an exit code; anything else is a fault of ours and
    shows itself."""
    try:
        app()
    except MatsideError as error:
        _stop(str(error), error.exit_code)
    except PermissionError as error:
        where = plain(str(error.filename or "a file"))
        _stop(f"{where}: this user may not read or write it ({error.strerror}). Change its rights, close what holds it, or name another.")
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        _stop("a disk is full, perhaps the one that this output goes to. Make room and run again: what is done stays done.")


def _stop(line: str, code: int = CANNOT_RUN) -> None:
    print(f"matside: {line}", file=sys.stderr)
    sys.exit(code)


if __name__ == "__main__":
    main()
