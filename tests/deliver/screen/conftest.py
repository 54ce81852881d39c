"""A browser that has no network, and maps that are opened in it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import quote

import pytest

from hydrantgis.deliver.webmap import save_map

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DESK, PHONE = (1400, 900), (390, 844)


def pytest_collection_modifyitems(items):
    """All tests of this folder need the browser."""
    for item in items:
        if "screen" in item.path.parts:
            item.add_marker(pytest.mark.slow)
            if CHROMIUM is None:
                item.add_marker(pytest.mark.skip(reason="needs the browser `chromium`"))


@pytest.fixture(scope="session")
def browser() -> Browser:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        running = play.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-quic", "--disable-gpu"]
        )
        yield running
        running.close()


@dataclass
class Screens:
    """Opens pages, and remembers what they asked for and what went wrong in them."""

    browser: Browser
    folder: Path
    asked: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    contexts: list = field(default_factory=list)

    def page(self, path: Path, words: str = "", size=DESK, **options) -> Page:
        phone = size == PHONE
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]}, has_touch=phone, is_mobile=phone,
            accept_downloads=True, permissions=["clipboard-read", "clipboard-write"], **options,
        )  # fmt: skip
        self.contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", self._said)
        page.goto(path.as_uri() + words)
        return page

    def _said(self, message) -> None:
        if message.type in ("error", "warning"):
            self.errors.append(message.text)

    def map(self, figure_map, words: str = "", size=DESK) -> Page:
        """Write a map and open it; `words` are those of its address."""
        path = self.folder / "map.html"
        save_map(figure_map, path)
        page = self.page(path, words, size)
        page.wait_for_selector("html[data-ready][data-drawn]", state="attached")
        return page

    @property
    def elsewhere(self) -> list[str]:
        """What was asked for beside the page itself."""
        return [url for url in self.asked if not url.startswith(("file:", "data:", "blob:"))]


@pytest.fixture
def screens(browser, tmp_path):
    opened = Screens(browser, tmp_path)
    yield opened
    for context in opened.contexts:
        context.close()
    assert opened.elsewhere == []
    assert opened.errors == []


def hydrant_words(name: str) -> str:
    return f"#hydrant={quote(name, safe='')}"
