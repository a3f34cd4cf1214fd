"""The commands about athletes and cohorts over time: `matside athlete`, `share`, `compare`, `note` and `forget`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.asked import asked_day, asked_for
from pipeline.cli_parts import Out, Profiles, file_argument, found, results, shown_results

if TYPE_CHECKING:
    from pipeline.store import Store
    from pipeline.trends.filters import Filters

Since = Annotated[str | None, typer.Option("--since", help="First day that counts, such as 2026-01-01.")]
Until = Annotated[str | None, typer.Option("--until", help="Last day that counts.")]
SkillOption = Annotated[str | None, typer.Option("--skill", help="lunge, loaded_lunge, cartwheel, backward_roll or shoulder_stand.")]
SettingOption = Annotated[str | None, typer.Option("--setting", help="alone or routine.")]
LeadSide = Annotated[str | None, typer.Option("--lead-side", help="left or right: the leg that led in the attempt.")]


def add_athletes(app: typer.Typer) -> None:
    """Put these commands beside the others."""
    for command in (athlete, share, compare, note, forget):
        app.command()(command)


def athlete(
    code: Annotated[str, typer.Argument(help="The athlete's code, as on the roster.")],
    out: Out = Path("reports"),
    tolerances: Profiles = None,
    since: Since = None,
    until: Until = None,
    skill: SkillOption = None,
    setting: SettingOption = None,
    lead_side: LeadSide = None,
) -> None:
    """Say how one athlete is doing over time, and write the page with the curves behind it. The last half year, if no period is given.

    Example: `matside athlete OT-01 --since 2026-01-01`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.batch.tell import athlete_lines
    from pipeline.reports.trend_page import write_athlete

    profile, filters = load_profile(tolerances or (), out), _filters(since, until, skill, setting, lead_side)
    with shown_results(out, code) as store:
        code = _spelled(store, code)
        page = write_athlete(store, profile, out, code, filters=filters, language=page_language(store))
        for line in athlete_lines(store, profile, code, filters):
            typer.echo(line)
    typer.echo(f"Page: {page.resolve()}")


def share(
    code: Annotated[str, typer.Argument(help="The athlete's code, as on the roster.")],
    file: Annotated[Path, file_argument("FILE", "The HTML file to write, such as OT-01.html.")],
    out: Out = Path("reports"),
    tolerances: Profiles = None,
    since: Annotated[str | None, typer.Option("--since", help="First day to share, such as 2026-01-01; everything if not given.")] = None,
    language: Annotated[str, typer.Option("--language", help="The family's language, such as de; that of the pages if not given.")] = "",
) -> None:
    """Put one athlete's page into a single file for her or his family: pictures inside, nobody else in it, nothing loaded from outside.

    Example: `matside share OT-01 OT-01.html --since 2026-01-01`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.reports.share import share_athlete

    profile, first = load_profile(tolerances or (), out), asked_day("--since", since)
    with shown_results(out, code) as store:
        code = _spelled(store, code)
        share_athlete(
            store, profile, code, file, out / "data", since=first.isoformat() if first else "", language=language or page_language(store)
        )
    typer.echo(f"For the family of {code}, and nobody else: {file.resolve()}")
    typer.echo("`matside forget` does not reach this file; delete it when it has been handed over.")


def compare(
    out: Out = Path("reports"),
    tolerances: Profiles = None,
    since: Since = None,
    until: Until = None,
    skill: SkillOption = None,
    setting: SettingOption = None,
    lead_side: LeadSide = None,
    names: Annotated[bool, typer.Option("--names", help="Show athletes' codes on the page; not for a page that is handed on.")] = False,
) -> None:
    """Put the cohorts side by side: levels, shares, what to work on next term. The last term, if no period is given.

    Example: `matside compare --skill cartwheel --setting routine`
    """
    from pipeline.batch.pages import page_language
    from pipeline.batch.profile import load_profile
    from pipeline.reports.cohort_page import write_cohorts

    profile, filters = load_profile(tolerances or (), out), _filters(since, until, skill, setting, lead_side)
    with shown_results(out) as store:
        page = write_cohorts(store, profile, out, filters=filters, names=names, language=page_language(store))
    typer.echo(f"Page: {page.resolve()}")


def note(
    about: Annotated[str, typer.Argument(help="An athlete's code or a cohort's name.")],
    day: Annotated[str, typer.Argument(help="The date, such as 2026-03-02.")],
    text: Annotated[str, typer.Argument(help="A few words; no medical matters.")],
    kind: Annotated[str, typer.Option("--kind", help="growth, break, drill or other.")] = "other",
    remove: Annotated[bool, typer.Option("--remove", help="Take the note with these words off again.")] = False,
    out: Out = Path("reports"),
) -> None:
    """Keep a note on a date, to be shown beside the curves: a growth spurt, a break, the start of a drill.

    Example: `matside note Otters 2026-03-02 "wall lunges" --kind drill`
    """
    from pipeline.batch.pages import page_language, write_pages
    from pipeline.batch.profile import load_profile
    from pipeline.trends.notes import add_note, remove_note

    profile = load_profile((), out)
    with results(out) as store:
        if remove:
            remove_note(store, about, day, text)
        else:
            add_note(store, about, day, text, kind=kind)
        write_pages(store, profile, out, language=page_language(store))
    typer.echo(f"Taken off {about} on {day}." if remove else f"Noted for {about} on {day}.")


def forget(
    code: Annotated[str, typer.Argument(help="The athlete's code.")],
    out: Out = Path("reports"),
    tolerances: Profiles = None,
    delete_clips: Annotated[
        bool, typer.Option("--delete-clips", help="Delete the athlete's clips too, where runs have seen them.")
    ] = False,
) -> None:
    """Remove an athlete and all that was measured, and say what was removed. The clips themselves are listed only.

    Example: `matside forget OT-01 --out reports`
    """
    from pipeline.batch.forget import forget_athlete, told
    from pipeline.batch.lock import only_run
    from pipeline.batch.profile import load_profile

    profile = load_profile(tolerances or (), out)
    found(out)
    with only_run(out / "data"):
        done = forget_athlete(code, out, profile, delete_clips=delete_clips)
    for line in told(done, code):
        typer.echo(line)


def _spelled(store: Store, code: str) -> str:
    """The code as the results spell it."""
    return next((one for one in store.athletes()["athlete"] if one.upper() == code.upper()), code)


def _filters(since: str | None, until: str | None, skill: str | None, setting: str | None, lead_side: str | None) -> Filters | None:
    """What the options ask for; None if they ask for nothing."""
    from pipeline.trends.filters import Filters
    from pipeline.vocabulary import Setting, Side, Skill

    if not (since or until or skill or setting or lead_side):
        return None
    return Filters(
        asked_day("--since", since),
        asked_day("--until", until),
        asked_for("--skill", skill.replace(" ", "_").lower() if skill else None, Skill),
        asked_for("--setting", setting, Setting),
        asked_for("--lead-side", lead_side, Side),
    )
