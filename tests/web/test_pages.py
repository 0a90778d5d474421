"""Every page of every sample car, rendered; what the further commands say is on it."""

from __future__ import annotations

import shutil
from html import escape
from pathlib import Path

import pytest
from pypdfium2 import PdfDocument

from measure.pattern.find import find_pattern
from measure.report.certificate.embedded import sheet_from
from measure.survey import survey
from measure.typeface import STYLES, face
from tests.web.client import Client
from tests.web.conftest import SAMPLES

PARTS = ("tape", "heights", "photos", "results", "space", "more", "changes")


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    for name in ("repaired_sill", "crossmember_job", "axle_setting", "pulled_rail"):
        shutil.copytree(SAMPLES / name, folder / name)
    return folder


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("repaired_sill/after", ("moved", "drawings/compare.svg")),
        ("crossmember_job/pilot", ("drawings/drill.svg",)),
        ("axle_setting/before", ("drawings/axle.svg", "rear driveline is within")),
        ("pulled_rail/before", ("drawings/pattern.svg", "rail4")),
    ],
)  # fmt: skip
def test_all_parts_of_a_car(client: Client, path: str, told: tuple[str, ...]) -> None:
    for part in PARTS:
        answer = client.get(f"/jobs/{path}/{part}")
        assert answer.status_code == 200, f"{part}: {answer.text[:300]}"
    page = client.get(f"/jobs/{path}/more").text
    for words in told:
        assert words in page
    drawing = client.get(f"/jobs/{path}/{next(t for t in told if t.startswith('drawings/'))}")
    assert drawing.status_code == 200 and drawing.headers["content-type"] == "image/svg+xml"


def test_the_verdicts_are_those_of_the_command(client: Client) -> None:
    page = client.get("/jobs/pulled_rail/before/results").text
    assert "pair rail4, sideways" in page and "outside" in page and "drop again before cutting" in page
    assert "Where the uncertainty comes from" in page and "tape.csv:" in page


def test_the_sheet_is_handed_out_to_keep(client: Client) -> None:
    answer = client.get("/jobs/pulled_rail/before/sheet")
    assert answer.content.startswith(b"%PDF") and "attachment" in answer.headers["content-disposition"]


def test_the_sheet_of_a_later_stage_has_what_moved_since_the_one_before(client: Client) -> None:
    for stage, moved in (("before", False), ("after", True)):
        sheet = sheet_from(client.get(f"/jobs/repaired_sill/{stage}/sheet").content)
        assert (sheet.compared is not None) == moved, stage


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_the_sheet_is_had_on_either_paper_and_as_a_page(client: Client, paper: str, size: tuple[int, int]) -> None:
    with PdfDocument(client.get(f"/jobs/pulled_rail/before/sheet?paper={paper}&kind=pdf").content) as pages:
        assert tuple(round(side) for side in pages[0].get_size()) == size
    page = client.get(f"/jobs/pulled_rail/before/sheet?paper={paper}&kind=html")
    assert page.text.startswith("<!DOCTYPE html>") and 'filename="report.html"' in page.headers["content-disposition"]
    assert f"sheet?paper={paper}&amp;kind=html" in client.get("/jobs/pulled_rail/before/results").text


@pytest.mark.parametrize("asked", ["paper=A3", "kind=docx"])
def test_other_paper_and_kinds_are_refused(client: Client, asked: str) -> None:
    assert client.get(f"/jobs/pulled_rail/before/sheet?{asked}").status_code == 400


def test_what_the_readings_cannot_tell_is_undecided(client: Client, shop: Path) -> None:
    shutil.copytree(SAMPLES / "rushed_job", shop / "rushed_job")
    page = client.get("/jobs/rushed_job/before/more").text
    assert '<li class="undecided"><span class="sign" aria-hidden="true">▲</span> <span>No pattern: nothing says' in page
    assert "at least 7.6 mm" in page and "at least 15.3 mm" in page


def test_what_would_tell_is_shown(client: Client) -> None:
    page = client.get("/jobs/repaired_sill/before/more").text
    doc = find_pattern(survey(SAMPLES / "repaired_sill", "before")).pattern
    assert all(escape(words) in page for words in doc.would_tell)


def test_both_stages_stand_side_by_side(client: Client) -> None:
    page = client.get("/jobs/repaired_sill/after/more").text
    table = page[page.index('<table class="both">') : page.index("</table>")]
    assert "pair tail, sideways" in table and "+0.3 ± 1.1 mm" in table and "+6.7 ± 2.3 mm" in table
    assert "+6.4 mm" in table


def test_a_figure_stands_with_its_spread_and_limit_before_it_is_opened(client: Client) -> None:
    page = client.get("/jobs/pulled_rail/before/results").text
    card = page[page.index('id="f-pair.rail4.offset"') :]
    summary = card[: card.index("</summary>")]
    assert "+12.6 ± 2.7 mm" in summary and "3 mm" in summary and "drop again" in summary
    answer = page[page.index('<dl class="three">') : page.index("</dl>")]
    assert "limit" in answer and "±" in answer and "drop again" in answer


def test_readings_are_shown_as_they_were_typed(client: Client, shop: Path) -> None:
    shutil.copytree(SAMPLES / "rushed_job", shop / "rushed_job")
    page = client.get("/jobs/rushed_job/before/results").text
    assert ">16 5/16</td>" in page and ">414.3" not in page


def test_a_car_with_too_little_says_so_in_a_line(client: Client, shop: Path) -> None:
    table = shop / "pulled_rail/before/tape.csv"
    rows = "outriggerL,outriggerR,1197,floor\noutriggerL,rail1L,413,floor\n"
    table.write_text(f"from,to,length,where\n{rows}", encoding="utf-8")
    cells = {"from": "rail1L", "to": "rail1R", "where": "floor", "length": "858"}
    reading = {"id": "a", "table": "tape", "mode": "add", "cells": cells}
    words = client.post("/api/jobs/pulled_rail/before/readings", reading).json()["words"]
    assert words.startswith("Saved. The car cannot be worked out yet: 3 of the ") and len(words) < 100
    page = client.get("/jobs/pulled_rail/before/results").text
    assert "3 of the" in page and page.index('<details id="why-not">') < page.index("too little to judge anything")


@pytest.mark.parametrize("style", STYLES)
def test_the_type_is_handed_out_and_kept(client: Client, style: str) -> None:
    answer = client.get(f"/static/fonts/{style}.woff2")
    assert answer.status_code == 200 and answer.headers["content-type"] == "font/woff2"
    assert answer.content == face(style, "woff2").read_bytes()
    assert answer.headers["cache-control"].startswith("max-age=")
    assert f'url("/static/fonts/{style}.woff2")' in client.get("/static/base.css").text


@pytest.mark.parametrize("name", ["Other", "..%2F__init__", "Regular%00"])
def test_no_other_file_is_handed_out_as_type(client: Client, name: str) -> None:
    assert client.get(f"/static/fonts/{name}.woff2").status_code == 404


def test_a_car_that_cannot_be_worked_out_still_takes_readings(client: Client, shop: Path) -> None:
    table = shop / "pulled_rail/before/tape.csv"
    table.write_text("from,to,length,where\nfrontL,nowhere,12,floor\n", encoding="utf-8")
    page = client.get("/jobs/pulled_rail/before/results").text
    assert "cannot be worked out yet" in page and "nowhere" in page
    cells = {"from": "rail1L", "to": "rail1R", "where": "floor", "length": "858"}
    answer = client.post(
        "/api/jobs/pulled_rail/before/readings", {"id": "a", "table": "tape", "mode": "add", "cells": cells}
    )
    assert answer.status_code == 200 and "cannot be worked out yet" in answer.json()["words"]
