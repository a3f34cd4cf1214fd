"""What the pages say of a focus: the cue in five words, and why in one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.practice.focus import SKILLS, Focus, Why
from pipeline.reports.files import slug
from pipeline.reports.language import Translations, day_words, in_units
from pipeline.reports.numbers import half_width, places, quantity
from pipeline.reports.practice_words import BOTH_SIDES, CUES, FILM, FILM_CUES, KEEP, KEEP_LINES, LOADS, SEEN, Cue
from pipeline.reports.reading_view import column_title, detail_words, full_value, skill_title
from pipeline.reports.words import SKILL_WORDS
from pipeline.scoring.tolerances import Tolerance
from pipeline.vocabulary import Skill

Tolerances = Mapping[tuple[str, str], Tolerance]


@dataclass(frozen=True)
class FocusView:
    """A focus as the pages show it; all words in the page's language."""

    skill: str  # its title
    why: str  # an id: pinned, safety, largest, cannot-tell, met
    certain: bool
    cue: str  # five words at most
    perhaps: str  # what came nearest where nothing is certain
    detail: str  # the detail's title
    sentence: str  # why, in one sentence
    next: str  # what to do
    film: str  # how to film it next time, where it cannot be told yet
    href: str  # the reading's place on the athlete's page, or empty


def cue_words(tr: Translations, focus: Focus) -> str:
    """What to say to the child, in five words at most."""
    if focus.why is Why.MET:
        return tr.gettext(KEEP)
    if focus.seen:
        return tr.gettext(SEEN if focus.key else KEEP_LINES)
    if not focus.certain or focus.key is None:
        return tr.gettext(FILM_CUES[Skill(focus.skill)] if focus.skill in set(Skill) else FILM)
    skill = Skill(focus.skill)
    cue = CUES.get((skill, focus.key.detail), Cue()).of(focus.direction)
    if not cue:
        return column_title(tr, (focus.skill, focus.key.detail, ""))
    if not focus.key.side and cue in BOTH_SIDES:
        return tr.gettext(BOTH_SIDES[cue])
    side = {"left": tr.gettext("left"), "right": tr.gettext("right"), "": tr.gettext("both")}[focus.key.side]
    return tr.gettext(cue) % {"side": side}


def focus_view(tr: Translations, focus: Focus, tolerances: Tolerances) -> FocusView:
    """All words of one focus."""
    title = column_title(tr, (focus.skill, *focus.key)) if focus.key else ""
    words = detail_words(focus.skill, focus.key.detail) if focus.key else None
    does = (words.next_over if focus.direction == "over" else words.next_under) if words and focus.certain else ""
    dark = focus.why is Why.CANNOT_TELL and not focus.seen
    film = SKILL_WORDS[Skill(focus.skill)].film if dark and focus.skill in set(Skill) else ""
    one = focus.evidence
    return FocusView(
        skill=tr.gettext(skill_title(focus.skill)),
        why=str(focus.why).replace(" ", "-"),
        certain=focus.certain,
        cue=cue_words(tr, focus),
        perhaps=tr.gettext("%s?") % title if title and not focus.certain else "",
        detail=title,
        sentence=why_sentence(tr, focus, tolerances),
        next=tr.gettext(does) if does else "",
        film=tr.gettext(film) if film else "",
        href="-".join(filter(None, (slug(one.link), one.detail, one.side))) if one and one.link else "",
    )


def focus_views(tr: Translations, focuses: Sequence[Focus], tolerances: Tolerances) -> list[FocusView]:
    """An athlete's focuses, what matters most first."""
    return [focus_view(tr, focus, tolerances) for focus in sorted(focuses, key=lambda f: f.rank)]


def family_focus(tr: Translations, focuses: Sequence[Focus], tolerances: Tolerances, *, since: str = "") -> list[FocusView]:
    """What a family may know of them: what she works on and why, or that all is met. How to practise or film is the coach's matter, so is
    what did not change; what rests on readings before the day `since` is left out."""
    told = [f for f in focuses if (f.certain or f.why is Why.MET) and (f.evidence.date if f.evidence else f.latest or since) >= since]
    plain = [replace(f, again=False, unchanged=False, aside=()) for f in told]
    return [replace(view, next="", film="") for view in focus_views(tr, plain, tolerances)]


@dataclass(frozen=True)
class FocusTable:
    """Everybody's focus at a glance: for each athlete a view of each skill, or None."""

    rows: list[tuple[str, str, list[FocusView | None]]]  # code, file of the page, views


def focus_table(tr: Translations, focuses: Mapping[tuple[str, str], Focus], tolerances: Tolerances) -> FocusTable:
    """All athletes with a focus that is not out of date."""
    fresh = {key: focus for key, focus in focuses.items() if not focus.stale}
    skills = sorted({skill for _, skill in fresh}, key=lambda skill: SKILLS.get(skill, len(SKILLS)))
    rows = [
        (code, f"{slug(code)}.html", [focus_view(tr, fresh[code, s], tolerances) if (code, s) in fresh else None for s in skills])
        for code in sorted({code for code, _ in fresh})
    ]
    return FocusTable(rows)


def why_sentence(tr: Translations, focus: Focus, tolerances: Tolerances) -> str:
    """Why this is the focus, or why there is none: one sentence."""
    said = _reason(tr, focus, tolerances)
    if focus.again:
        said += tr.gettext("; it is back after a pause, as nothing else is certain")
    if focus.unchanged:
        said += tr.gettext("; three sessions have not changed it, so go back to an easier step")
    if focus.aside:
        titles = ", ".join(column_title(tr, (focus.skill, detail, "")) for detail in focus.aside)
        said += tr.gettext("; set aside after three sessions without change: %s") % titles
    return said + "."


def _reason(tr: Translations, focus: Focus, tolerances: Tolerances) -> str:
    one, latest = focus.evidence, day_words(tr, focus.latest)
    read = {"value": full_value(tr, one), "day": day_words(tr, one.date)} if one else {}
    if focus.why is Why.PINNED:
        said = tr.gettext("Chosen by the coach until %s") % day_words(tr, focus.until) if focus.until else tr.gettext("Chosen by the coach")
        return f"{said}; " + (tr.gettext("last read: %(value)s on %(day)s") % read if one else tr.gettext("not read yet"))
    if focus.why is Why.MET:
        return tr.gettext("All that was read on %s is met") % latest
    if focus.why is Why.CANNOT_TELL:
        if focus.stale:
            return tr.gettext("Cannot tell yet: last filmed on %s, which is too long ago") % latest
        if focus.seen and not focus.key:
            return tr.gettext("Every body line read on %s is met; not all else is certain") % latest
        if not one or not focus.key:
            return tr.gettext("Cannot tell yet: nothing read on %s is certainly short of what is wanted") % latest
        title = column_title(tr, (focus.skill, *focus.key))
        if one.short:
            return tr.gettext("Cannot tell yet: %(detail)s was certainly short in only %(short)d of %(goes)d goes, %(value)s on %(day)s") % {
                "detail": title, "short": one.short, "goes": one.goes, **read,
            }  # fmt: skip
        where = (
            tr.gettext("Nothing is certainly short; look first at %(detail)s, %(value)s on %(day)s")
            if focus.seen
            else tr.gettext("Cannot tell yet: nothing is certainly short; look first at %(detail)s, %(value)s on %(day)s")
        )
        return where % {"detail": title, **read}
    assert one is not None and focus.key is not None
    tolerance = tolerances[focus.skill, focus.key.detail]
    half = half_width(one.low, one.high)
    end, gap = (one.low, one.low - tolerance.met[1]) if focus.direction == "over" else (one.high, tolerance.met[0] - one.high)
    fine = 0.5 if gap < 1 else half  # 165° would look met where 164.7° is 0.3° short of it
    facts = {**read, "end": in_units(tr, quantity(end, one.unit, half=fine)), "gap": in_units(tr, quantity(gap, one.unit, half=fine))}
    if round(gap, places(one.unit, fine)) > 0:
        shown = tr.gettext("%(value)s on %(day)s, and even %(end)s is %(gap)s beyond what is met") % facts
    else:
        shown = tr.gettext("%(value)s on %(day)s, and even %(end)s is just beyond what is met") % facts
    if one.goes > 1:
        shown = tr.gettext("%(shown)s, in %(short)d of %(goes)d goes") % {"shown": shown, "short": one.short, "goes": one.goes}
    if focus.why is Why.SAFETY:
        return tr.gettext("Safety first, as this loads %(what)s: %(shown)s") % {"what": tr.gettext(LOADS[focus.loads]), "shown": shown}
    return tr.gettext("The largest shortfall that is certain: %s") % shown
