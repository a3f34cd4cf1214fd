"""Templates to HTML text: one environment, everything escaped, nothing allowed in from outside."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path

import jinja2
from markupsafe import Markup

from pipeline.reports.language import Translations

TEMPLATES = Path(__file__).resolve().parent / "templates"


def environment(tr: Translations) -> jinja2.Environment:
    """Jinja2 with autoescape on for everything, missing names an error, and the words of one language."""
    env = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    env.install_gettext_translations(tr, newstyle=True)  # type: ignore[attr-defined]
    return env


@cache
def stylesheet() -> Markup:
    """The one style sheet, put into each page so that a page is complete by itself."""
    return Markup((TEMPLATES / "style.css").read_text(encoding="utf-8"))


@cache
def trend_stylesheet() -> Markup:
    """The style sheet of trend and cohort pages: the common one and what their drawings need."""
    return stylesheet() + Markup((TEMPLATES / "trends.css").read_text(encoding="utf-8"))


@cache
def practice_stylesheet(paper: str) -> Markup:
    """The practice sheet's own style sheet, black on white, for one size of paper: a4 or letter."""
    size, inside = {"a4": ("A4", "277mm"), "letter": ("letter", "259mm")}[paper]  # inside the margins, a little to spare
    return Markup((TEMPLATES / "practice.css").read_text(encoding="utf-8").replace("PAPER", size).replace("HEIGHT", inside))


@cache
def beside_stylesheet() -> Markup:
    """The style sheet of the pages beside the weeks (points round, coach's own eye, routines): the common one and what they need."""
    return stylesheet() + Markup((TEMPLATES / "beside.css").read_text(encoding="utf-8"))


@cache
def script(name: str) -> Markup:
    """A script of the templates folder, to be put into a page whose policy names its hash."""
    return Markup((TEMPLATES / name).read_text(encoding="utf-8"))


def content_policy(*scripts: str, style: str = "") -> str:
    """The page's Content-Security-Policy: its own style and scripts by their hash, pictures beside it, nothing else."""
    hashes = " ".join(_hash(script) for script in scripts) or "'none'"
    return (
        f"default-src 'none'; style-src {_hash(style or stylesheet())}; script-src {hashes}; img-src 'self' file: data:; "
        "media-src 'self' file: data:; base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
