"""A headless browser for tests of pages, and what was heard from it while a page was open."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")

PACKAGES = ("playwright", "axe_playwright_python", "pypdf", "jinja2", "matplotlib")

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

DESK, TELEPHONE = 1280, 360
"""Widths of windows in pixels; the second is that of a small telephone."""

RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
"""What axe-core checks: the rules of WCAG 2.2, levels A and AA, and those that its makers hold to be good practice."""


def program() -> str | None:
    """The browser that is installed, if any is."""
    return next((found for name in PROGRAMS if (found := shutil.which(name))), None)


def why_not() -> str:
    """What is missing for tests in a browser; empty if nothing is."""
    missing = [name for name in PACKAGES if find_spec(name) is None]
    return " and ".join([*missing, *([] if program() else [PROGRAMS[0]])])


@dataclass
class Opened:
    """A page in a window, with the addresses it asked for and the errors it reported."""

    page: Page
    asked: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def text(self, selector: str) -> str:
        """What is seen of one element."""
        return self.page.locator(selector).inner_text().replace("\u00a0", " ")

    def value(self, script: str) -> Any:
        """What a line of script comes to on the page."""
        return self.page.evaluate(script)


Opener = Callable[..., Opened]


@contextmanager
def started() -> Iterator[Browser]:
    """A browser, ended afterwards."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=program(), args=list(FLAGS))
        yield browser
        browser.close()


@contextmanager
def windows(browser: Browser) -> Iterator[Opener]:
    """A function that opens a file in a window of its own; the windows are closed afterwards."""
    contexts = []

    def opened(path: Path, width: int = DESK, **options: Any) -> Opened:
        context = browser.new_context(viewport={"width": width, "height": 800}, **options)
        contexts.append(context)
        shown = Opened(context.new_page())
        shown.page.on("request", lambda request: shown.asked.append(request.url))
        shown.page.on("pageerror", lambda error: shown.errors.append(str(error)))
        shown.page.on(
            "console",
            lambda said: shown.errors.append(said.text) if said.type in ("error", "warning") else None,
        )
        shown.page.goto(path.as_uri())
        return shown

    yield opened
    for context in contexts:
        context.close()


def barriers(shown: Opened) -> list[str]:
    """What axe-core finds that keeps people from reading or using a page, a line for each rule that is broken."""
    from axe_playwright_python.sync_playwright import Axe

    options = {"runOnly": {"type": "tag", "values": list(RULES)}, "resultTypes": ["violations"]}
    found = Axe().run(shown.page, options=options).response["violations"]
    return [f"{one['id']}: {one['help']}: {[node['html'][:120] for node in one['nodes']]}" for one in found]
