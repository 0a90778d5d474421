"""Every page in a made-up second language, each sentence between marks: what is left without is not the page's to say.

Excepted, and told so in the page itself: words of the result document, of the commands and of the history, which are
English whatever the page speaks (`lang="en"`), and names that people gave (`translate="no"`). A browser knows both.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from measure.template import LAYOUT
from measure.web import sentences
from tests.web.browsing import a_browser, a_page
from tests.web.client import Client
from tests.web.conftest import SAMPLES, start
from tests.web.test_sentences import READ_ALOUD

CARS = ("rushed_job", "pulled_rail", "repaired_sill", "crossmember_job", "axle_setting")
PAGES = (
    "/", "/new", "/invite", "/join", "/nowhere", "/jobs/pulled_rail/nowhere/tape",
    *(f"/jobs/rushed_job/before/{part}" for part in ("tape", "heights", "photos", "results", "space", "changes")),
    *(f"/jobs/pulled_rail/before/{part}" for part in ("tape", "heights", "results", "more")),
    "/jobs/repaired_sill/after/more", "/jobs/crossmember_job/pilot/more", "/jobs/axle_setting/before/more",
)  # fmt: skip
UNITS = {"mm", "in", "px", "deg", "UTC"}
MARKED = {key: f"⟦{text}⟧" for key, text in sentences.ENGLISH.items()}
EMPTY = ("img", "input", "meta", "link", "br", "line", "circle", "path", "ellipse")


class Reader(HTMLParser):
    """What a page says, apart from what it says of itself to be in English or a name."""

    def __init__(self) -> None:
        super().__init__()
        self.excepted: list[tuple[str, bool]] = []
        self.said: list[str] = []
        self.others: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        have = dict(attrs)
        told = tag != "html" and (
            have.get("lang") == "en" or have.get("translate") == "no" or tag in ("script", "style")
        )
        under = told or any(other for _, other in self.excepted)
        for name, value in attrs:
            if value and name in READ_ALOUD:
                (self.others if under else self.said).append(value)
        if tag not in EMPTY:
            self.excepted.append((tag, told))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.excepted and self.excepted.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        (self.others if any(told for _, told in self.excepted) else self.said).append(data)


def unmarked(text: str) -> list[str]:
    """Words of two letters and more outside the marks, which may stand one inside another."""
    deep, outside = 0, ""
    for letter in text:
        deep += {"⟦": 1, "⟧": -1}.get(letter, 0)
        outside += " " if deep or letter in "⟦⟧" else letter
    return [word for word in re.findall(r"[^\W\d_]{2,}", outside) if word not in UNITS]


def read(html: str, names: list[str]) -> Reader:
    """A page; `names` are those of the cars, which stand in its title as well."""
    reader = Reader()
    for name in names:
        html = html.replace(f": {name}</title>", "</title>")
    reader.feed(html)
    reader.close()
    return reader


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    for name in CARS:
        shutil.copytree(SAMPLES / name, folder / name)
    return folder


def titles(shop: Path) -> list[str]:
    jobs = (path.read_text(encoding="utf-8") for path in shop.glob("*/job.toml"))
    return [found[1] for text in jobs if (found := re.search(r'^title = "(.*)"', text, re.MULTILINE))]


def test_no_page_says_a_word_that_is_not_in_the_table(
    client: Client, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sentences.LANGUAGES, sentences.LANGUAGE, MARKED)
    cells = {"from": "outriggerL", "to": "rail1R", "where": "floor", "length": "12"}
    taken = {"id": "a", "table": "tape", "mode": "add", "cells": cells}
    words = client.post("/api/jobs/rushed_job/before/readings", taken).json()["words"]
    assert unmarked(words) == [] and words.startswith("⟦")
    names = titles(shop)
    assert len(names) == len(CARS)
    for path in PAGES:
        page = read(client.get(path).text, names)
        bare = [(word, text.strip()) for text in page.said for word in unmarked(text)]
        assert bare == [], path
        assert any("⟦" in text for text in page.said), path
        called = [text.strip() for text in page.others if "⟦" in text]
        assert called == [], f"{path} calls a sentence of its own English, or a name"
    for answer in (client.get("/api/jobs/none/x/state"), client.post("/api/jobs", {"name": "../x"})):
        assert unmarked(answer.json()["error"]) == []


def test_a_word_outside_the_marks_would_be_seen() -> None:
    page = read('<p>⟦a ⟦b c⟧ d⟧ bare</p><img alt="bare too"><ul lang="en"><li>⟦x⟧ told</li></ul><b>3 mm</b>', [])
    assert [word for text in page.said for word in unmarked(text)] == ["bare", "bare", "too"]
    assert page.others == ["⟦x⟧ told"]


@pytest.fixture
def url(shop: Path) -> Iterator[str]:
    running = start(shop)
    yield running.url
    running.stop()


def test_no_script_says_a_word_that_is_not_in_the_table(url: str) -> None:
    """What scripts put on the page: the pad, the answer, a new car, no connection."""
    with a_browser() as browser:
        page = a_page(browser, url)
        page.route("**/api/sentences", lambda route: route.fulfill(json=MARKED))
        page.goto("/jobs/rushed_job/before/tape")
        page.locator("#r5").tap()
        pad = read(page.locator("dialog").evaluate("e => e.outerHTML"), []).said
        assert [word for text in pad for word in unmarked(text)] == [] and len(pad) > 30
        page.keyboard.press("Escape")
        page.goto("/jobs/rushed_job/before/heights")
        page.locator("#add input").first.fill("rail1L")
        page.locator("#add button").tap()
        pad = read(page.locator("dialog").evaluate("e => e.outerHTML"), []).said
        assert {word for text in pad for word in unmarked(text)} == {"rail", "L"} - {"L"}  # the point's own name
        page.goto("/new")
        page.locator("#pairs li").first.wait_for()
        made = read(page.locator("#pairs").evaluate("e => e.outerHTML"), []).said
        assert {word for text in made for word in unmarked(text)} == {name for name, _, _ in LAYOUT}
        page.context.set_offline(True)
        page.locator("#link-state").get_by_text("⟦").wait_for()
        assert unmarked(page.locator("#link-state").inner_text()) == []
        assert page.wrong == []
