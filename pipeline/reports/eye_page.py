"""Writes eye.html, the coach's own verdicts beside Matside's, where she has given any."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import jinja2
import pandas as pd

from pipeline.practice.eye import compare
from pipeline.reports.eye_view import eye_view
from pipeline.reports.files import write_changed
from pipeline.reports.language import Translations
from pipeline.reports.pages import beside_stylesheet, content_policy
from pipeline.scoring.tolerances import Tolerances
from pipeline.store import Store

PAGE = "eye.html"


def write_eye(
    env: jinja2.Environment,
    tr: Translations,
    store: Store,
    scored: pd.DataFrame,
    tolerances: Tolerances,
    out: Path,
    pages: Mapping[str, str],
) -> bool:
    """Write the page, or remove it where there is nothing to show; whether it is there. scored : all readings with
    verdicts by these tolerances. pages : the file of each attempt's page, by its link."""
    compared = compare(store, scored, tolerances)
    if compared.both.empty and not compared.lost:
        (out / PAGE).unlink(missing_ok=True)
        return False
    css = beside_stylesheet()
    text = env.get_template("eye.html").render(view=eye_view(tr, compared, pages), root="", css=css, csp=content_policy(style=css))
    write_changed(out / PAGE, text)
    return True
