"""The sheet as HTML."""

from __future__ import annotations

import base64
import json
import re
from html.parser import HTMLParser

import pytest

from measure.report.certificate.content import BLANKS
from measure.report.certificate.embedded import NotASheetError, sheet_from
from measure.report.certificate.page import html_bytes, inline_svg, split_at_the_point
from measure.report.plan import drawn
from measure.result import as_json
from measure.typeface import FAMILY, STYLES, face
from tests.documents import loose_car, pulled_car
from tests.report.sheets import TYPE, hostile_car, job, repaired

VOID = {"meta", "br", "link", "img"}


class Outline(HTMLParser):
    """Tags with their attributes; fails where they do not close in turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag


def outline(page: bytes) -> Outline:
    made = Outline()
    made.feed(page.decode())
    made.close()
    assert not made.open
    return made


@pytest.fixture(scope="module")
def page() -> bytes:
    return html_bytes(pulled_car(), job(), "A4")


def test_the_same_document_gives_the_same_bytes(page: bytes) -> None:
    assert html_bytes(pulled_car(), job(), "A4") == page
    assert b"size: Letter" in html_bytes(pulled_car(), job(), "Letter")


def test_nothing_runs_and_nothing_is_fetched(page: bytes) -> None:
    tags = outline(page).tags
    assert not {"script", "link", "img", "iframe", "object", "embed", "form", "input"} & {tag for tag, _ in tags}
    for _, attrs in tags:
        assert not [name for name in attrs if name.startswith("on")]
        for name in ("src", "href", "xlink:href", "action"):
            assert (attrs.get(name) or "#").startswith("#")
    assert b"default-src 'none'" in page
    assert not re.findall(rb"url\((?!#|\"data:)|@import", page)


def test_the_type_is_inside_and_the_only_one(page: bytes) -> None:
    style = page[page.index(b"<style>") : page.index(b"</style>")].decode()
    inside = [base64.b64decode(data) for data in re.findall(r'url\("data:font/woff2;base64,([^"]+)"\)', style)]
    assert inside == [face(name, "woff2").read_bytes() for name in STYLES]
    assert b"font-src data:" in page
    assert set(re.findall(r"font(?:-family)?: [^;]*?\"([^\"]+)\"", style)) == {FAMILY}
    assert len(page) < 700_000


def test_headings_scopes_and_names(page: bytes) -> None:
    tags = outline(page).tags
    levels = [tag for tag, _ in tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == "h1" and set(levels[1:]) == {"h2"}
    assert all(attrs.get("scope") in ("col", "row") for tag, attrs in tags if tag == "th")
    assert sum(tag == "caption" for tag, _ in tags) == sum(tag == "table" for tag, _ in tags) >= 7
    assert next(attrs for tag, attrs in tags if tag == "html")["lang"] == "en"
    drawing = next(attrs for _, attrs in tags if attrs.get("role") == "img")
    assert "tail" in (drawing["aria-label"] or "")
    ids = [attrs["id"] for _, attrs in tags if "id" in attrs]
    assert len(ids) == len(set(ids))


def test_what_moved_is_drawn_beside_the_plan() -> None:
    tags = outline(html_bytes(pulled_car(), job(), "A4", repaired())).tags
    drawings = [attrs["aria-label"] or "" for _, attrs in tags if attrs.get("role") == "img"]
    assert len(drawings) == 2 and sum(tag == "svg" for tag, _ in tags) == 2
    assert "from stage before to stage after" in drawings[1] and "tailL: MOVED" in drawings[1]
    ids = {attrs["id"] for _, attrs in tags if "id" in attrs}
    assert len(ids) == sum("id" in attrs for _, attrs in tags)
    named = {(attrs.get("xlink:href") or "#")[1:] for tag, attrs in tags if tag == "use"}
    assert named and named <= ids


def test_verdicts_do_not_rest_on_colour(page: bytes) -> None:
    text = page.decode()
    assert '<span class="mark" aria-hidden="true">■</span> OUTSIDE' in text
    assert "prefers-color-scheme: dark" in text and "@media print" in text


def test_hostile_words_stay_words() -> None:
    made = html_bytes(hostile_car(), job(), "A4")
    tags = outline(made).tags
    assert not {"script", "b"} & {tag for tag, _ in tags}
    assert sum(tag == "template" for tag, _ in tags) == 1
    assert b"<!--" not in made and b"{{7*7}}" in made and "\x1b" not in made.decode()
    assert "\u202e" not in made.decode()
    assert sheet_from(made).document == json.loads(as_json(hostile_car()))


def test_a_comment_in_the_drawing_cannot_end_early() -> None:
    assert "<!--" not in inline_svg(drawn(hostile_car("--!><script>x</script>"), "svg"), "")


def test_special_letters_stand_as_they_are() -> None:
    assert TYPE in html_bytes(pulled_car(job=TYPE), job(), "A4").decode().replace("\xa0", " ")


def test_a_car_without_a_centreline_has_a_sheet() -> None:
    outline(html_bytes(loose_car(), job(), "A4"))


def test_the_figures_come_back_out(page: bytes) -> None:
    read = sheet_from(page)
    assert (read.kind, read.paper) == ("html", "A4")
    assert read.document == json.loads(as_json(pulled_car()))
    assert any(line.startswith("pair tail, sideways") and "OUTSIDE" in line for line in read.words)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda page: b"",
        lambda page: b"hello",
        lambda page: b"\xff\xfe\x00",
        lambda page: page[: page.index(b"<template") + 400],
        lambda page: page.replace(b'"format": 1', b'"format": 2'),
        lambda page: page.replace(b'"paper": "A4"', b'"paper": "A9"'),
        lambda page: b'<template id="plumbsquare-figures">[1]</template>',
        lambda page: b'<template id="plumbsquare-figures">' + b"[" * 100_000 + b"</template>",
    ],
)
def test_what_is_no_sheet_is_refused_in_words(page: bytes, spoil) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(NotASheetError):
        sheet_from(spoil(page))


def test_words_among_numbers_take_the_column_s_edge(page: bytes) -> None:
    text = page.decode()
    cell = text[text.index("not held") - 60 : text.index("not held") + 60]
    assert 'class="number"' in cell and "after" not in cell


def test_the_drawing_names_no_scale_that_a_browser_would_not_keep(page: bytes) -> None:
    assert "measure by its bars" in page.decode() and "1 : 20 on A4" not in page.decode()


def test_what_is_out_stands_a_line_each_and_blanks_are_empty(page: bytes) -> None:
    text = page.decode()
    box = text[text.index('class="outside"') : text.index('class="undecided"')]
    assert box.count("<dd>") == 2 and "drop again before cutting" in box
    assert text.count("<dd></dd>") == len(BLANKS)


def test_numbers_are_split_at_the_point() -> None:
    assert split_at_the_point("+12.60") == ("+12", ".60")
    assert split_at_the_point("−0.4") == ("−0", ".4")
    assert split_at_the_point("not held.") == ("not held.", "")
