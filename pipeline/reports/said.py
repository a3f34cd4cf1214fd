"""Sentences that are stored or made elsewhere in English (why there is no reading, what a trend says), in the language of a page.

They are kept in English, so that results do not depend on a page's language. A page recognises them here by their pattern and puts
numbers and words into the translated pattern. What no pattern knows, a reason of a later version for instance, stays as it is.
"""

from __future__ import annotations

import gettext
import re
from functools import cache

from pipeline.reports.language import Translations


def _(text: str) -> str:  # marks words for the catalogue
    return text


NUMBER = r"[-−+]?\d[\d.]*"
PLACES = dict.fromkeys(("number", "first", "seconds", "length", "frames", "width", "height"), NUMBER) | {
    "day": r"\d{1,2}",
    "year": r"\d{4}",
    "month": "[A-Z][a-z]+",
}  # what a place takes; any other takes anything
OF_A_CLIP = re.compile(r"(\S.{0,250}\.\w{2,4}: )(.+)")  # a message that names its clip first
REASONS = (
    _("The %(what)s could be seen in only %(number)s %% of the %(where)s. %(advice)s"),
    _("The camera looked about %(number)s° off the direction it should. %(advice)s"),
    _(
        "In the %(where)s the legs look only %(number)s %% as long as in the rest of the clip, so somebody else was probably followed. "
        "Keep others away from the mat while you film."
    ),
    _(
        "Two people move much alike in this clip, so it is not sure who was measured. "
        "Film one child at a time, with nobody else moving beside her."
    ),
    _(
        "In the hold the nearer arm was seen hanging, where a lunge has both overhead, so somebody else was probably measured. "
        "Lift both arms beside the ears, with nobody close by while you film."
    ),
    _(
        "In the hold two looks place the joints of this line differently, so they may be somebody else's. "
        "Keep others away from the mat while you film."
    ),
    _(
        "Upside down two looks place the joints of this line differently, so they may be somebody else's. "
        "Keep others away from the mat while you film."
    ),
    _(
        "In the hold two looks place the nearer arm differently, so somebody else's may have been taken for it. "
        "Keep others away from the mat while you film."
    ),
    _("The athlete is too small in the picture to measure; come closer or zoom in so that she fills about half of its height."),
    _(
        "The floor could not be found, because feet and hands were hardly seen resting on it. "
        "Keep the mat and the feet in the picture, also before and after the roll."
    ),
    _("Stand square to the side of the mat, the whole body in the picture from start to end."),
    _("Film the cartwheel from the front, across its path, the whole body in the picture from start to end."),
    _("The joints for this line were not seen together; film the whole body from start to end."),
    _("It could not be seen when each hand came down. Keep both hands and the mat in the picture from the first step on."),
    _(
        "Which way the fingers point cannot be told from a clip of the whole body: the hand is too small in it. "
        "Film one cartwheel close to the floor so that the hand is as wide as a quarter of the picture, and look yourself."
    ),
    _("The hands came down too near to each other in the picture to give a line. Film the cartwheel from the front, across its path."),
    _(
        "Which way the face looks while she is upside down cannot be told from a clip of the whole body: the face is small and turned away. "
        "Watch it from the side as her hands come down, or film the head and hands alone from close by."
    ),
    _("It could not be seen when she stood. Keep the whole body in the picture until she has stood still for a second."),
    _("The clip ends within the first second of standing, so its sway cannot be told. Film until she has stood for two seconds."),
    _(
        "Whether the head turns to a side cannot be told from the side. "
        "Watch it from beside her, or film one roll along the mat, from behind or in front."
    ),
    _("It could not be seen when the hands or the feet came down. Keep hands, feet and the mat in the picture from start to end."),
    _("The arms were not seen lifting from hanging to overhead. Film from before the arms move until the pose is still."),
    _("She faced the camera or looked away from it while the arms lifted, so they swung out of the picture. Film the lift from the side."),
    _("The nearer arm was lost while it lifted. Stand square to the side, with nobody between."),
    _("The lift was over within %(number)s frames of this clip, too few to tell its speed. Film at 60 frames a second."),
    _("Seen from the side one leg hides the other, so whether they are together cannot be told. Film one hold from her head or her feet."),
    _("The attempt was not followed to a stand, so there is no rise to look at. Film until she stands still."),
    _("Whose side is the right one to finish on is not known: give her lead side in the roster."),
    _("It could not be seen when the feet landed. Keep the feet and the mat in the picture until she stands still."),
    _("The clip ends too soon after the landing to count steps. Film until she has stood still for a second."),
    _("The 95 % interval reaches from met to not yet."),
    _("No tolerance is set for this detail."),
    _("Compared only with the athlete's own: no value is right for everybody."),
    _("Compared only with the athlete's own and with what the passage asks for: neither fast nor slow is right by itself."),
    _("One phone tells it too roughly for a verdict."),
    _("Shown without a verdict: it is asked for only within a routine."),
    _("Shown without a verdict: it is asked for only where the skill is done by itself."),
)
CLIPS = (
    _("not opened: consent for %(code)s ran out on %(when)s"),
    _("not opened: %(code)s is not on the roster"),
    _("the same video as %(clip)s, which is measured once"),
    _("left out: %(file)s says skip"),
    _("whose clip is it? Fill in athlete %(where)s"),
    _("when was it filmed? Fill in date %(where)s"),
    _("nobody was found in the picture. Film the whole body, standing upright at the start, from the side or the front"),
    _(
        "none of the skills was found: lunge, loaded lunge, cartwheel, backward roll, shoulder stand. "
        "If it is there, name it in clips.csv, column skill"
    ),
    _("Two people move much alike (%(number)s %%); which of them was filmed cannot be told."),
    _(
        "the same video as %(clip)s, but that is said to be of %(other)s and this of %(code)s: expected one athlete a video. "
        "Fill in athlete in clips.csv, or skip for one of the two; if both are in it, cut it in two"
    ),
    _("%(file)s, row %(number)s, column %(column)s: expected %(expected)s, but came %(came)s"),
    _(
        "%(file)s, rows %(first)s and %(number)s: the clip is there twice and the rows differ; expected one row a clip. "
        "If two athletes are in it, cut it in two"
    ),
    _("what stood here named somebody, or a clip, since forgotten; the next run says anew what is to be done"),
    _("older than the %(number)s days that results are kept"),
    _("the clip breaks off after %(seconds)s s of %(length)s s, %(frames)s frames (%(why)s). Copy it from the phone again."),
    _("the clip breaks off after %(seconds)s s of %(length)s s, %(frames)s frames. Copy it from the phone again."),
    _("the clip breaks off after %(seconds)s s, %(frames)s frames (%(why)s). Copy it from the phone again."),
    _("the clip breaks off after %(seconds)s s, %(frames)s frames. Copy it from the phone again."),
    _("no picture could be decoded (%(why)s). Copy the clip from the phone again."),
    _("no picture could be decoded. Copy the clip from the phone again."),
    _("the file is empty (0 bytes). Copy it from the phone again."),
    _("this user may not read the file. Change its permissions."),
    _("cannot be read (%(why)s); change its permissions or copy it again"),
    _("not a video that can be read (%(why)s). Expected mp4, mov, m4v, avi, webm, mkv, 3gp, mts or mpg."),
    _("holds only sound. Expected a video; copy it from the phone again."),
    _("holds no moving picture, or was cut off. Expected a video; copy it from the phone again."),
    _("the video is packed in a way this Matside cannot decode. Export it again as H.264."),
    _("the picture is said to be %(width)s × %(height)s; expected sides from %(number)s to 8192 pixels."),
    _("given up after %(number)s s, the time limit for a clip of this length"),
    _("given up: no progress for %(number)s s"),
    _("given up: it needed %(number)s MB of memory, more than the %(limit)s MB allowed"),
    _("the worker process crashed (%(why)s)"),
    _("the machine had not enough memory for it"),
    _("%(what)s (tried %(number)s times)"),
)
TRENDS = (
    _("No change we can be sure of: %(sessions)s, too few to know what is chance."),
    _("No change we can be sure of: %(amount)s between start and now, but the sessions between do not bear it out."),
    _("No change we can be sure of: %(amount)s since %(since)s, and up to %(limit)s could be chance (%(sessions)s)."),
    _("No change we can be sure of: %(sessions)s."),
    _("From one side of the target to the other: %(amount)s since %(since)s (%(just)smore than the %(limit)s that could be chance)."),
    _("%(way)s by %(amount)s, at the target all along, since %(since)s (%(just)smore than the %(limit)s that could be chance)."),
    _("%(way)s by %(amount)s since %(since)s (%(just)smore than the %(limit)s that could be chance)."),
    _("The cohorts were already parting before the drill."),
    _("Too few to tell: fewer than %(number)s athletes with readings."),
    _("Every detail that was measured is mostly met."),
    _("Too few sessions before to see whether the cohorts were already parting."),
    _("Alone and in a routine were never filmed within a fortnight of each other."),
    _("Too few days with both alone and routine to compare (%(number)s)."),
    _("No difference between alone and routine we can be sure of (%(amount)s, %(pairs)s)."),
    _("In a routine %(way)s by %(amount)s (95 %% interval %(low)s to %(high)s, %(pairs)s)."),
)
WORDS = (
    _("in %(file)s, row %(number)s"), _("in %(file)s"), _("it holds no frames"), _("Invalid data found when processing input"),
    _("the times jump from %(seconds)s to %(length)s s"),
    _("%(number)s sessions"), _("%(number)s session"), _("%(number)s pairs of sessions"), _("%(day)s %(month)s"), _("%(month)s %(year)s"),
    _("%(number)s %% of the line"), _("%(number)s %% of the shank"), _("%(number)s %% of the leg"), _("%(number)s arm lengths/s"),
    _("just "), _("more"), _("less"), _("More"), _("Less"),
    _("knees"), _("left leg"), _("right leg"), _("legs"), _("hands"), _("feet"), _("shoulders"), _("hips and feet"), _("nearer arm"),
    _("hold"), _("end"), _("time upside down"), _("way from feet overhead to standing"), _("first second of standing"),
    _("time from hands to feet"), _("lift of the arms"), _("way up to standing"), _("time after the landing"), _("attempt"),
)  # fmt: skip


def said(tr: Translations, text: str) -> str:
    """The sentence in the language of the page; as it is where the page is English or the sentence is not known."""
    return text if not text or type(tr) is gettext.NullTranslations else _translated(tr, text)


def known(text: str) -> bool:
    """Whether a pattern knows the sentence, by itself or behind the name of its clip."""
    of_a_clip = OF_A_CLIP.fullmatch(text)
    return any(regex.fullmatch(one) for _pattern, regex in _compiled() for one in (text, of_a_clip[2] if of_a_clip else text))


def _translated(tr: Translations, text: str) -> str:
    direct = tr.gettext(text) if text else text
    if direct != text:
        return direct
    for pattern, regex in _compiled():
        words, found = tr.gettext(pattern), regex.fullmatch(text)
        if found and words != pattern:
            return words % {name: _put(tr, name, part) for name, part in found.groupdict().items()}
    if of_a_clip := OF_A_CLIP.fullmatch(text):
        return of_a_clip[1] + _translated(tr, of_a_clip[2])
    parts = text.split("; ")
    return "; ".join(_translated(tr, part) for part in parts) if len(parts) > 1 else text


def _put(tr: Translations, name: str, part: str) -> str:
    """A part in its place; of a word that begins an English sentence the catalogue holds the small one."""
    if name == "way" and tr.gettext(part) == part:
        small = tr.gettext(part[:1].lower() + part[1:])
        return small[:1].upper() + small[1:] if part[:1].isupper() else small
    return _translated(tr, part)


@cache
def _compiled() -> list[tuple[str, re.Pattern[str]]]:
    return [(pattern, _regex(pattern)) for pattern in (*REASONS, *CLIPS, *TRENDS, *WORDS)]


def _regex(pattern: str) -> re.Pattern[str]:
    """What the pattern matches, its places as named groups."""
    out = []
    for piece in re.split(r"(%\(\w+\)s)", pattern):
        place = re.fullmatch(r"%\((\w+)\)s", piece)
        if place:
            few = ".*?" if place[1] == "just" else ".+?"
            out.append(f"(?P<{place[1]}>{PLACES.get(place[1], few)})")
        else:
            out.append(re.escape(piece.replace("%%", "%") if "%(" in pattern else piece))
    return re.compile("".join(out))
