"""Every figure on the page wears the decimal mark of whoever looks; files and what is sent keep their own."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from tests.web.browsing import PHONE, a_page, until
from tests.web.conftest import Running

TAPE = "/jobs/saloon/before/tape"


def of(browser: Any, url: str, locale: str) -> Any:
    """A phone whose browser speaks a language."""
    return a_page(browser, url, PHONE, locale=locale)


def typed(page: Any, row: str, keys: list[str]) -> None:
    page.locator(row).tap()
    for key in keys:
        page.get_by_role("button", name=key, exact=True).tap()


def figures(page: Any, place: str) -> str:
    """Text of a part of the page."""
    return str(page.locator(place).first.inner_text())


def test_in_a_browser_that_writes_commas_the_page_does(browser: Any, server: Running, shop: Path) -> None:
    page = of(browser, server.url, "de-DE")
    page.goto(TAPE)
    page.get_by_text("Fits to 0,").first.wait_for()
    assert "1197,5" in figures(page, "#r2") and not re.search(r"\d\.\d", figures(page, "main"))
    assert page.locator("#r2").get_attribute("data-typed") == "1197.5"
    typed(page, "#r4", ["1", "0", "9", "4", "decimal point or comma", "5"])
    assert page.locator("#pad-0").input_value() == "1094,5"
    assert "Measured: 1094,5." in figures(page, "dialog")
    page.get_by_role("button", name="A second reading").tap()
    page.locator("#answer").get_by_text("1094,5. Fits to 0,").wait_for()
    table = (shop / "saloon/before/tape.csv").read_text(encoding="utf-8")
    assert "outriggerL,rail1R,1094.5,floor" in table and "1094,5" not in table
    page.goto("/jobs/saloon/before/results")
    page.get_by_text("What was judged").wait_for()
    page.locator("details.figure-card summary").first.tap()
    shown = figures(page, "#now")
    assert not re.search(r"\d\.\d", re.sub(r"\d+\.\d+\.\d+|\w+\.csv:\d+", "", shown)) and re.search(r"± \d,\d", shown)
    assert re.search(r"plumbsquare \d+\.\d+\.\d+,", shown), "a version is no figure"
    assert page.wrong == []
    page.context.close()


def test_the_mark_last_typed_is_kept_whatever_the_browser_speaks(browser: Any, server: Running) -> None:
    page = of(browser, server.url, "en-GB")
    page.goto(TAPE)
    page.get_by_text("Fits to 0.").first.wait_for()
    page.locator("#r4").tap()
    assert page.get_by_role("button", name="decimal point or comma").inner_text() == ". ,"
    page.keyboard.type("1094,5")
    page.keyboard.press("Enter")
    page.locator("#answer").get_by_text("1094,5. Fits to 0,").wait_for()
    page.reload()
    page.get_by_text("Fits to 0,").first.wait_for()
    typed(page, "#r4", ["1", "decimal point or comma"])
    assert page.locator("#pad-0").input_value() == "1,"
    page.get_by_role("button", name="decimal point or comma").tap()
    assert page.locator("#pad-0").input_value() == "1.", "pressed again, it is the other mark"
    page.context.close()


def test_names_are_no_figures(browser: Any, server: Running) -> None:
    page = of(browser, server.url, "fr-FR")
    page.goto(TAPE)
    page.get_by_text("Fits to 0,").first.wait_for()
    page.evaluate("""document.querySelector('main').insertAdjacentHTML('beforeend',
      '<p id="mix">r1.5 at 2.5 mm, ±0.3; -1.25 (3.0) in 0.2.0, a1.2.csv:3, 7.5.</p>'
      + '<p id="name" translate="no">1.5</p>')""")
    until(page, "document.getElementById('mix').textContent.includes('2,5')")
    assert figures(page, "#mix") == "r1.5 at 2,5 mm, ±0,3; -1,25 (3,0) in 0.2.0, a1.2.csv:3, 7,5."
    assert figures(page, "#name") == "1.5"
    page.context.close()
