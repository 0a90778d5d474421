"""A real browser for the tests: Debian's or any other Chromium on this computer, told to ask nobody outside."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


def chromium() -> str | None:
    """Where Chromium is installed; None where it is not."""
    return next(
        (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
    )


@contextmanager
def a_browser() -> Iterator[Any]:
    """A browser with an empty profile of its own. Skips the test where there is none."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = chromium()
    if path is None:
        pytest.skip("no Chromium on this computer: apt-get install chromium")
    with playwright.sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def a_page(browser: Any, url: str, size: dict[str, int] = PHONE, scheme: str = "light", locale: str = "en-GB") -> Any:
    """A page with cookies and storage of its own; what goes wrong in its script is kept in `page.wrong`."""
    context = browser.new_context(
        viewport=size, color_scheme=scheme, locale=locale, has_touch=size is PHONE, base_url=url
    )
    page = context.new_page()
    page.wrong = []
    page.asked = []
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    page.set_default_timeout(10_000)
    return page


def until(page: Any, true: str, tries: int = 100) -> None:
    """Wait until the expression holds. Playwright's own waiting evaluates text in the page: its policy forbids that."""
    for _ in range(tries):
        if page.evaluate(true):
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"never came true: {true}")
