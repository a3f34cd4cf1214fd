"""The commands `matside points`, `matside eye` and `matside routines`. Heavy parts are loaded only when used."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.asked import asked_day
from pipeline.cli_parts import Out, Profiles, file_argument, file_option, results
from pipeline.errors import MatsideError, WrongCommandLine

if TYPE_CHECKING:
    from pipeline.practice.points_plan import Plan
    from pipeline.store import Store

points_app = typer.Typer(
    no_args_is_help=True, help="A points round: score sheets filled from readings, or to fill in by hand.\n\nExample: `matside points blank`"
)  # fmt: skip
eye_app = typer.Typer(
    no_args_is_help=True, help="The coach's own verdicts beside Matside's.\n\nExample: `matside eye show`"
)  # fmt: skip

RoundFile = Annotated[Path | None, file_option("--round", "Your own points, teams and rounds; see configs/points.toml.")]


@points_app.command()
def fill(
    day: Annotated[str, typer.Option("--date", help="The session's day, such as 2026-03-09; the newest with readings if not given.")] = "",
    until: Annotated[str, typer.Option("--until", help="Last day, where the session went over several.")] = "",
    plan: RoundFile = None,
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Fill a score sheet from a session's readings.

    Example: `matside points fill --date 2026-03-09`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.reports.points_page import write_filled

    first, last, rules = _day("--date", day), _day("--until", until), _plan(plan)
    if last and not first:
        raise WrongCommandLine("--until: expected --date, the first day, beside it. Give both.")
    if last and last < first:
        raise WrongCommandLine(f"--until: expected {first} or a later day, but got {last}. Swap the two.")
    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        with store.without(store.lapsed(date.today().isoformat())):
            page = write_filled(store, profile, out, rules, since=first, until=last, language=page_language(store))
        _redraw(store, out, tolerances)
    typer.echo(f"Score sheet: {page.resolve()}")


@points_app.command()
def blank(
    plan: RoundFile = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", help="Athletes who are not there; may be given again, or with commas.")
    ] = None,
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Write an empty score sheet to print, and the CSV to enter it from afterwards.

    Example: `matside points blank --without OT-03`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.practice.points_table import codes_of
    from pipeline.reports.points_files import BLANK, FOLDER
    from pipeline.reports.points_page import who_may_be_there, write_blank

    rules, profile = _plan(plan), load_profile(tolerances or (), out)
    with results(out) as store:
        there = who_may_be_there(store, date.today().isoformat())
        spelled = {code.upper(): code for code in there}
        for code in codes_of(without or []):
            if code.upper() not in spelled:
                raise MatsideError(f"--without {code}: expected one of {', '.join(sorted(there))}.")
            there.pop(spelled[code.upper()], None)
        page = write_blank(store, profile, out, rules, there, language=page_language(store))
        _redraw(store, out, tolerances)
    typer.echo(f"Score sheet: {page.resolve()}")
    typer.echo(f"To enter it afterwards: fill in {(out / FOLDER / f'{BLANK}.csv').resolve()}, then `matside points enter` with that file.")


@points_app.command()
def enter(
    file: Annotated[Path, file_argument("FILE", "The CSV with the columns team, athlete, round and points.")],
    day: Annotated[str, typer.Option("--date", help="The day of the round; today if not given.")] = "",
    plan: RoundFile = None,
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Write the score sheet of a round that was kept by hand.

    Example: `matside points enter reports/points/blank.csv --date 2026-03-09`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.practice.points import sheet_by_hand
    from pipeline.practice.points_table import read_points
    from pipeline.reports.points_page import write_sheet

    rules, when = _plan(plan), _day("--date", day) or date.today().isoformat()
    sheet = sheet_by_hand(rules, *read_points(file, rules))
    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        page = write_sheet(store, profile, out, sheet, when, language=page_language(store))
        _redraw(store, out, tolerances)
    typer.echo(f"Score sheet: {page.resolve()}")


@eye_app.command()
def add(
    attempt: Annotated[str, typer.Argument(help="The attempt's link: what stands after the # when you follow a mark on the week's page.")],
    detail: Annotated[str, typer.Argument(help="A detail's id, such as knee_angle.")],
    verdict: Annotated[str, typer.Argument(help='met, close, "not yet" or "cannot tell".')],
    side: Annotated[str, typer.Option("--side", help="left or right, where the detail has two.")] = "",
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Keep your own verdict on an attempt beside Matside's. Said again, the latest counts and the earlier ones are kept.

    Example: `matside eye add OT-01_2026-03-02_1a2b3c4d_1 knee_angle "not yet"`
    """
    from pipeline.practice import eye

    with results(out) as store:
        eye.add(store, [eye.check(store, attempt, detail, verdict, side)])
        _redraw(store, out, tolerances)
    typer.echo("Kept.")


@eye_app.command()
def read(
    file: Annotated[Path, file_argument("FILE", "A CSV with the columns detail, side and eye, and either link, or clip and attempt.")],
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Keep many verdicts of yours from a table: readings.csv with one more column, `eye`, filled in where you looked.

    Example: `matside eye read my_verdicts.csv`
    """
    from pipeline.practice import eye

    with results(out) as store:
        said = eye.read_said(store, file)
        eye.add(store, said)
        _redraw(store, out, tolerances)
    typer.echo(f"{len(said)} verdict{'s' if len(said) != 1 else ''} kept.")


@eye_app.command()
def show(
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Say how far you and Matside agree, and which attempts to look at again.

    Example: `matside eye show`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.practice.eye import compare
    from pipeline.reports.eye_view import eye_view
    from pipeline.reports.language import translations
    from pipeline.scoring.verdicts import score

    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        tr = translations(page_language(store))
        with store.without(store.lapsed(date.today().isoformat())):
            compared = compare(store, score(store.readings(), profile), profile)
    if compared.both.empty:
        raise MatsideError(
            "No verdicts of yours are kept yet. Start with `matside eye add` or `matside eye read`; both explain themselves."
        )
    view = eye_view(tr, compared)
    typer.echo(view.summary)
    typer.echo(f"Weighted kappa {view.kappa} (95 %: {view.interval}). {view.other}" if view.kappa else view.why_none)
    for line in (view.same, view.allowed, " ".join(view.open), *view.notes):
        typer.echo(line)
    for title, some in (("Look at these again:", view.apart), ("Within the reading's own range:", view.possible)):
        for one in some:
            typer.echo(title if one is some[0] else "", nl=one is some[0])
            typer.echo(f"  {one.what}, {one.day}: coach {one.hers.word}, Matside {one.its.word}  {one.href}")


def routines(
    file: Annotated[Path | None, file_argument("FILE", "Your own routines; see configs/routines.toml. Not given: say which count.")] = None,
    out: Out = Path("reports"),
    tolerances: Profiles = None,
) -> None:
    """Keep your own routines, so that the pages say which skills of one are missing, extra or out of order.

    Example: `matside routines my_routines.toml`
    """
    from pipeline.attempts.routine import load_routines
    from pipeline.files import write_whole
    from pipeline.reports.routine_steps import KEPT, routines_in_force

    with results(out) as store:
        if file is not None:
            load_routines(file)
            write_whole(out / "data" / KEPT, file.read_bytes())
            _redraw(store, out, tolerances)
        for one in routines_in_force(out / "data"):
            typer.echo(f"{one.name}: {', '.join(skill.replace('_', ' ') for skill in one.skills)}")


def _redraw(store: Store, out: Path, tolerances: list[str] | None) -> None:
    from pipeline.batch.pages import write_pages
    from pipeline.batch.profile import load_profile

    write_pages(store, load_profile(tolerances or (), out), out, changed=True)


def _plan(path: Path | None) -> Plan:
    from pipeline.practice.points_plan import load_plan

    return load_plan(path)


def _day(option: str, text: str) -> str:
    day = asked_day(option, text)
    return day.isoformat() if day else ""
