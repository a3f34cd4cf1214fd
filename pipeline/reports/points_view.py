"""A points round as its page shows it: teams, marks, totals, places, and the rule in words. Blank sheets are the same without marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from markupsafe import Markup

from pipeline.practice.points import ScoreSheet, TeamResult
from pipeline.practice.points_plan import Plan, Round, Uneven
from pipeline.practice.teams import Teams
from pipeline.reports.language import Translations
from pipeline.reports.numbers import number
from pipeline.reports.reading_view import column_title, skill_title
from pipeline.reports.tally import tally
from pipeline.reports.words import VERDICT_WORDS
from pipeline.vocabulary import Verdict

ROOMY = 14  # members up to whom a printed page has high rows


def _(text: str) -> str:  # marks words for the catalogue; translated where they are shown
    return text


UNEVEN_TITLE = {
    Uneven.PER_MEMBER: _("Points per member"),
    Uneven.BEST: _("Points of the best"),
    Uneven.PER_VERDICT: _("Points per detail told"),
}
UNEVEN_WORDS = {
    Uneven.PER_MEMBER: _(
        "Teams need not be of one size: a team's points are divided by the members who took part, and that is what counts."
    ),
    Uneven.BEST: _("Teams need not be of one size: each team counts its best members only, as many as the smallest team has."),
    Uneven.PER_VERDICT: _(
        "Teams need not be of one size: a team's points are divided by the details that could be told, and that is what counts."
    ),
}


@dataclass(frozen=True)
class MarkCell:
    """One member in one round: the marks, their number, and what could not be told."""

    title: str
    marks: Markup
    said: str
    open: str


@dataclass(frozen=True)
class MemberRow:
    """One member's line."""

    code: str
    cells: list[MarkCell]
    total: str
    counted: bool  # whether the total counts under "best of each"


@dataclass(frozen=True)
class TeamView:
    """One team's table."""

    name: str
    size: str
    rows: list[MemberRow]
    total: str
    value: str


@dataclass(frozen=True)
class PlaceRow:
    """One line of the result."""

    place: str
    name: str
    members: str
    points: str
    value: str
    open: str


@dataclass(frozen=True)
class RoundView:
    """What one round is about and what it has to give."""

    name: str
    skills: str
    last: bool
    lines: list[tuple[str, str, list[str]]]  # skill and detail, its points in words, points by team (empty where blank)


@dataclass(frozen=True)
class PointsView:
    """The page."""

    title: str
    teams: list[TeamView]
    places: list[PlaceRow]
    rounds: list[RoundView]
    team_names: list[str]
    value_title: str
    uneven: str
    notes: list[str]
    blank: bool

    @property
    def tight(self) -> bool:
        """Whether so many take part that rows must be low for the teams to share a printed page."""
        return sum(len(team.rows) for team in self.teams) > ROOMY


def points_view(tr: Translations, sheet: ScoreSheet) -> PointsView:
    """The page of a filled sheet."""
    plan = sheet.plan
    results = {one.name: one for one in sheet.results}
    names = list(sheet.teams)
    whole = all(one.value.denominator == 1 for one in sheet.results)  # else every team's two places stand under each other
    rounds = [_round(tr, plan, i, one, [] if sheet.by_hand else names, sheet) for i, one in enumerate(plan.rounds)]
    return PointsView(
        plan.name, [_team(tr, sheet, results[name]) for name in names],
        [
            PlaceRow(
                f"{one.place} =" if one.tied else str(one.place), one.name, str(len(one.members)), str(one.points), _fraction(one.value, whole),
                "" if sheet.by_hand else str(one.unknown),
            )
            for one in sheet.results
        ],
        rounds, [] if sheet.by_hand else names, tr.gettext(UNEVEN_TITLE[plan.uneven]), _rule(tr, plan), _notes(tr, sheet), False,
    )  # fmt: skip


def blank_view(tr: Translations, plan: Plan, teams: Teams) -> PointsView:
    """The page to print and fill in by hand."""
    empty = [MarkCell(one.name, Markup(""), "", "") for one in plan.rounds]
    views = [
        TeamView(name, _members(tr, len(codes)), [MemberRow(code, empty, "", True) for code in codes], "", "")
        for name, codes in teams.items()
    ]
    rounds = [_round(tr, plan, i, one, [], None) for i, one in enumerate(plan.rounds)]
    places = [PlaceRow("", name, str(len(codes)), "", "", "") for name, codes in teams.items()]
    return PointsView(plan.name, views, places, rounds, [], tr.gettext(UNEVEN_TITLE[plan.uneven]), _rule(tr, plan), [], True)


def _team(tr: Translations, sheet: ScoreSheet, result: TeamResult) -> TeamView:
    rows = []
    for code in result.members:
        cells = []
        for i, one in enumerate(sheet.plan.rounds):
            score = sheet.scores[code, i]
            open_words = tr.ngettext("%d cannot tell", "%d cannot tell", score.unknown) % score.unknown if score.unknown else ""
            cells.append(MarkCell(one.name, tally(score.points), str(score.points) if score.gone else tr.gettext("no go"), open_words))
        rows.append(MemberRow(code, cells, str(sheet.total(code)), code in result.counted))
    return TeamView(result.name, _members(tr, len(result.members)), rows, str(result.points), _fraction(result.value))


def _members(tr: Translations, count: int) -> str:
    return tr.ngettext("%d member", "%d members", count) % count


def _round(tr: Translations, plan: Plan, i: int, one: Round, teams: Sequence[str], sheet: ScoreSheet | None) -> RoundView:
    lines = []
    for skill, detail in one.details:
        worth = plan.worth(skill, detail)
        said = ", ".join(f"{tr.gettext(VERDICT_WORDS[v])} {worth[v]}" for v in (Verdict.MET, Verdict.CLOSE, Verdict.NOT_YET) if worth[v])
        given = [str(sheet.by_detail.get((i, skill, detail, team), 0)) for team in teams] if sheet else []
        lines.append((f"{tr.gettext(skill_title(skill))}: {column_title(tr, (skill, detail, ''))}", said, given))
    every = len(one.skills) == len({skill for other in plan.rounds for skill in other.skills}) > 2
    skills = tr.gettext("each skill") if every else ", ".join(tr.gettext(skill_title(skill)) for skill in one.skills)
    return RoundView(one.name, skills, one.last, lines)


def _fraction(value: Fraction, whole: bool = True) -> str:
    """A whole number as such, else two places; ties are decided by the fraction itself, not by what is written here."""
    return str(value.numerator) if whole and value.denominator == 1 else number(float(value), 2)


def _rule(tr: Translations, plan: Plan) -> str:
    return " ".join((
        tr.gettext(UNEVEN_WORDS[plan.uneven]),
        tr.gettext("“Cannot tell” gives no points and takes none. A detail with two sides counts once, by the weaker side. Teams with the same result share a place."),
    ))  # fmt: skip


def _notes(tr: Translations, sheet: ScoreSheet) -> list[str]:
    notes = []
    if sheet.by_hand:
        notes.append(tr.gettext("Entered from what was written by hand."))
    else:
        notes.append(
            tr.gettext(
                "An athlete's first attempt at a skill that day is the go in the first round that names it, the second in the next such round."
            )
        )
        unknown = {one.name: one.unknown for one in sheet.results}
        if max(unknown.values()) - min(unknown.values()) > sum(unknown.values()) / 4 and sheet.plan.uneven is not Uneven.PER_VERDICT:
            said = ", ".join(f"{name} {count}" for name, count in unknown.items())
            notes.append(
                tr.gettext("“Cannot tell” did not fall evenly on the teams (%(said)s). With uneven = \"%(rule)s\" it costs a team nothing at all.")
                % {"said": said, "rule": Uneven.PER_VERDICT}
            )  # fmt: skip
    if sheet.not_there:
        notes.append(tr.gettext("Not there, so not counted: %s.") % ", ".join(sheet.not_there))
    if sheet.without_team:
        notes.append(tr.gettext("There, but in no team: %s.") % ", ".join(sheet.without_team))
    return notes
