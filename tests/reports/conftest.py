"""A headless Chromium for the page tests, with the network of the page watched."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")


def find_chromium() -> str | None:
    """The browser named by MATSIDE_CHROMIUM, else one on the path, else none."""
    named = os.environ.get("MATSIDE_CHROMIUM")
    return named if named and Path(named).exists() else next((found for name in NAMES if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser():
    """One browser for the session; skipped with the reason where there is none."""
    playwright = pytest.importorskip("playwright.sync_api", reason="needs playwright, of the dev extra")
    executable = find_chromium()
    if executable is None:
        pytest.skip("no Chromium on this machine: install the package chromium, or name one in MATSIDE_CHROMIUM")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=executable, args=list(ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture
def open_page(browser):
    """A function that opens a written page as a coach would, from the disk; closes them all at the end.

    The page's `.complaints` are console messages, script errors and requests that leave the disk or fail.
    """
    contexts = []

    def open_one(path: Path, *, width: int = 1280, height: int = 900, anchor: str = "", **context):
        contexts.append(browser.new_context(viewport={"width": width, "height": height}, **context))
        page = contexts[-1].new_page()
        page.complaints = []
        page.on("console", lambda message: page.complaints.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: page.complaints.append(f"error: {error}"))
        page.on("requestfailed", lambda request: page.complaints.append(f"failed: {request.url}"))
        page.on("request", lambda request: request.url.startswith(("file:", "data:")) or page.complaints.append(f"outside: {request.url}"))
        page.goto(path.resolve().as_uri() + (f"#{anchor}" if anchor else ""))
        return page

    yield open_one
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def site(tmp_path_factory):
    """An invented club of six athletes and three weeks, written once; leave it as it is."""
    from pipeline.reports.site import write_site
    from pipeline.scoring.tolerances import load_tolerances
    from pipeline.store import Store
    from tests.reports import invented

    out = tmp_path_factory.mktemp("site")
    with Store(out / "data" / "matside.sqlite") as store:
        invented.fill(store, out / "data", athletes=6, weeks=3)
        write_site(store, load_tolerances(), out, out / "data", title="Saltmarsh Tumbling Club", note="Invented data.")
    return out
