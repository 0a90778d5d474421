"""Every page of every sample car, rendered; what the further commands say is on it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from measure.report.certificate.embedded import sheet_from
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
