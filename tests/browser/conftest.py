"""A real browser for the page, and pages to open in it.

Without Chromium or Playwright these tests are skipped and say so; where CI is set they fail
instead, so that a build server never passes by not looking.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from ranked_tables import HOSTILE_NAMES, ranked_tables, save_page

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-3d-apis",  # as an office's policy may have it: the page must not need them
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
NAMES = ("chromium", "chromium-browser", "google-chrome")
READY_WITHIN_S = 30.0


def _missing(what: str) -> None:
    text = f"{what} is missing: scripts/install_viewers.sh and pip install -e '.[browser]'"
    if os.environ.get("CI"):
        pytest.fail(text)
    pytest.skip(text)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    try:
        import axe_playwright_python  # noqa: F401
        from playwright.sync_api import sync_playwright
    except ImportError as error:
        _missing(f"{error.name}")
    told = os.environ.get("REACHRANK_CHROMIUM")
    path = shutil.which(told) if told else next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        _missing("Chromium")
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=path, headless=True, args=FLAGS)
        yield found
        found.close()


@pytest.fixture(scope="session")
def tables() -> dict[str, Any]:
    """150 reaches on three streams with harmful names."""
    return ranked_tables(150, names=HOSTILE_NAMES)


@pytest.fixture(scope="session")
def small_page(tables, tmp_path_factory) -> Path:
    return save_page(tables, tmp_path_factory.mktemp("page") / "small.html")


class OpenPage:
    """A page in a browser without a network, and what it complained of."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.requests: list[str] = []
        page.on("console", lambda m: self.complaints.append(f"{m.type}: {m.text}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))

    def open(self, path: Path, place: str = "") -> OpenPage:
        self.page.goto(f"{path.as_uri()}{place}")
        self.until("window.ready === true")
        self.until("document.fonts.status === 'loaded'")
        return self

    def until(self, expression: str, within_s: float = READY_WITHIN_S) -> None:
        """Wait for an expression; Playwright's own waiting is stopped by the page's policy."""
        end = time.monotonic() + within_s
        while not self.page.evaluate(expression):
            assert time.monotonic() < end, f"not within {within_s} s: {expression}"
            time.sleep(0.02)

    def state(self) -> dict[str, Any]:
        return self.page.evaluate("window.reachrank.state()")

    def set(self, selector: str, value: str) -> None:
        """Give a value to a field as a person would, and wait for the list to follow."""
        field = self.page.locator(selector)
        if field.evaluate("node => node.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)
        time.sleep(0.15)  # the search waits for a pause in typing


@pytest.fixture
def opened(browser) -> Iterator[Callable[..., OpenPage]]:
    contexts = []

    def open_page(path: Path, *, width: int = 1440, height: int = 900, **more: Any) -> OpenPage:
        place = more.pop("place", "")
        context = browser.new_context(
            offline=True, viewport={"width": width, "height": height}, **more
        )
        contexts.append(context)
        return OpenPage(context.new_page()).open(path, place)

    yield open_page
    for context in contexts:
        context.close()
