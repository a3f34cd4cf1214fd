"""The commands `matside practice` and `matside focus`. Heavy parts are loaded only when used."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli_parts import Out, Profiles, file_option, results
from pipeline.errors import MatsideError

if TYPE_CHECKING:
    from pipeline.store import Store

focus_app = typer.Typer(
    name="focus", no_args_is_help=True, rich_markup_mode="markdown",
    help="Choose what an athlete works on yourself, or see what is chosen.\n\nExample: `matside focus pin OT-01 lunge hip_angle --until 2027-04-01`",
)  # fmt: skip
Code = Annotated[str, typer.Argument(help="The athlete's code, as on the roster.")]


def add_practice(app: typer.Typer) -> None:
    """Put these commands beside the others."""
    app.command()(practice)
    app.add_typer(focus_app)


def practice(
    minutes: Annotated[
        int | None, typer.Option("--minutes", min=1, help="How long the rotation is; kept for the runs that follow.")
    ] = None,
    cohort: Annotated[str, typer.Option("--cohort", help="One cohort only, in a file of its own.")] = "",
    paper: Annotated[str | None, typer.Option("--paper", help="a4 or letter; kept for the runs that follow.")] = None,
    settings: Annotated[
        Path | None, file_option("--settings", "Your own copy of configs/practice.toml; kept for the runs that follow.")
    ] = None,
    roster: Annotated[Path | None, file_option("--roster", "A roster newer than that of the last run.")] = None,
    tolerances: Profiles = None,
    out: Out = Path("reports"),
) -> None:
    """Write the sheet for the next rotation: groups, line-up, each athlete's focus, stations with minutes. Print it from the browser.

    Example: `matside practice --minutes 20 --cohort Otters --paper letter`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.practice.settings import changed, keep_settings, kept_settings, load_practice
    from pipeline.reports.site import write_sheet

    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        base = load_practice(settings) if settings else kept_settings(store)
        asked = changed(base, minutes=minutes, paper=paper)
        if roster is not None:
            _read_roster(store, roster)
        with store.without(store.lapsed(date.today().isoformat())):
            page = write_sheet(store, profile, out, asked, cohort=cohort, language=page_language(store))
        if not page.is_file():
            raise MatsideError(f"{out}: nobody to put on the sheet yet. Run `matside run FOLDER --out {out}` with a roster first.")
        if asked != kept_settings(store):
            keep_settings(store, asked)
    typer.echo(f"Sheet: {page.resolve()}")


@focus_app.command("pin")
def pin(
    code: Code,
    skill: Annotated[str, typer.Argument(help="lunge, loaded_lunge, cartwheel, backward_roll or shoulder_stand.")],
    detail: Annotated[str, typer.Argument(help="A detail's id as in readings.csv, such as hip_angle.")],
    until: Annotated[str, typer.Option("--until", help="Last day, such as 2027-04-01; until taken off if not given.")] = "",
    side: Annotated[str, typer.Option("--side", help="left or right, for a detail that is read for each side.")] = "",
    tolerances: Profiles = None,
    out: Out = Path("reports"),
) -> None:
    """Choose the focus of an athlete in one skill yourself. It stays from run to run.

    Example: `matside focus pin OT-01 lunge hip_angle --until 2027-04-01`
    """
    from pipeline.batch.pages import page_language, write_pages
    from pipeline.batch.profile import load_profile
    from pipeline.practice.pins import pin_focus

    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        kept = pin_focus(store, code, skill, detail, side=side, until=until)
        write_pages(store, profile, out, language=page_language(store))
    last = f" until {kept.until}" if kept.until else ", until `matside focus unpin`"
    typer.echo(f"Pinned for {kept.athlete}: {kept.skill} {' '.join(filter(None, (kept.detail, kept.side)))}{last}.")


@focus_app.command("unpin")
def unpin(
    code: Code,
    skill: Annotated[str, typer.Argument(help="The skill; all of the athlete's pins if not given.")] = "",
    tolerances: Profiles = None,
    out: Out = Path("reports"),
) -> None:
    """Leave the choice to the rule again.

    Example: `matside focus unpin OT-01 lunge`
    """
    from pipeline.batch.pages import page_language, write_pages
    from pipeline.batch.profile import load_profile
    from pipeline.practice.pins import unpin_focus

    profile = load_profile(tolerances or (), out)
    with results(out) as store:
        gone = unpin_focus(store, code, skill)
        write_pages(store, profile, out, language=page_language(store))
    typer.echo(f"{gone} taken off; the rule chooses again.")


@focus_app.command("list")
def list_focus(
    code: Annotated[str, typer.Argument(help="One athlete's code; everybody if not given.")] = "",
    tolerances: Profiles = None,
    out: Out = Path("reports"),
) -> None:
    """Say what each athlete works on next in each skill, and why.

    Example: `matside focus list OT-01`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.practice.focus import choose_focus
    from pipeline.practice.pins import known_athlete, read_pins
    from pipeline.reports.focus_view import focus_views
    from pipeline.reports.language import translations

    profile = load_profile(tolerances or (), out)
    with results(out, locked=False) as store:
        only = known_athlete(store, code) if code else ""
        with store.without(store.lapsed(date.today().isoformat())):
            focuses = choose_focus(store.readings(), profile, pins=read_pins(store))
        tr = translations(page_language(store))
    for athlete in sorted({who for who, _ in focuses if only in ("", who)}):
        typer.echo(athlete)
        for view in focus_views(tr, [f for (who, _), f in focuses.items() if who == athlete], profile):
            detail = f" ({view.detail})" if view.certain and view.detail else ""
            typer.echo(f"  {view.skill}: {view.cue}{detail}. {view.sentence}")


def _read_roster(store: Store, path: Path) -> None:
    """Use this roster from now on; a row that is wrong is named and left out."""
    from pipeline.clips.roster import load_roster

    roster = load_roster(path)
    for problem in roster.problems:
        typer.echo(f"note: {problem}")
    store.set_roster([(a.athlete, a.cohort, str(a.lead_side), a.consent_until.isoformat()) for a in roster.athletes.values()])
