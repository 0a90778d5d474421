"""Making a car on the page: whole or not at all, and the same files as `plumbsquare new`."""

from __future__ import annotations

import base64
from pathlib import Path

import pytest

from measure.findings import Findings
from measure.job import load_job
from tests.web.client import Client

POINTS = [
    {"name": f"{key}{side}", "side": side, "pair": key if part == "rail" else "", "part": part, "note": "=cmd"}
    for key, part in (("horn", "rail"), ("dash", "rail"), ("tail", "rail"), ("axle", "axle:rear")) for side in "LR"
]  # fmt: skip


def in_base64(table: bytes) -> str:
    return base64.b64encode(table).decode()


def test_a_car_of_picked_points(client: Client, shop: Path) -> None:
    answer = client.post("/api/jobs", {"name": "blue car", "units": "in", "points": POINTS})
    assert answer.status_code == 201, answer.text
    findings = Findings()
    job = load_job(shop / "blue car", findings)
    assert job is not None and not findings.errors and job.units == "in"
    assert [p.name for p in job.points] == [p["name"] for p in POINTS]
    assert "hornL,hornR,,floor" in (shop / "blue car/before/tape.csv").read_text(encoding="utf-8")
    page = client.get("/jobs/blue car/before/tape")
    assert page.status_code == 200 and "Next: hornL to hornR" in page.text
    assert client.post("/api/jobs", {"name": "blue car", "points": POINTS}).status_code == 422
    assert sorted(path.name for path in shop.iterdir()) == ["blue car", "saloon"]


def test_a_car_of_an_imported_table(client: Client, shop: Path) -> None:
    table = "name;side;part\nnoseL;L;rail\nnoseR;R;rail\nendL;L;rail\nendR;R;rail\n"
    assert client.post("/api/jobs", {"name": "imported", "table": in_base64(table.encode())}).status_code == 201
    assert (shop / "imported/points.csv").read_text(encoding="utf-8") == table
    wrong = {"name": "wrong", "table": in_base64(b"naem;side\na;Q\n"), "file": "chart of the van.csv"}
    refused = client.post("/api/jobs", wrong)
    assert refused.status_code == 422 and "1. chart of the van.csv line 1" in refused.json()["error"]
    assert "points.csv" not in refused.json()["error"] and not (shop / "wrong").exists()
    assert client.post("/api/jobs", {**wrong, "table": "not base64!"}).status_code == 400


@pytest.mark.parametrize("code", ["cp1252", "utf-8", "utf-8-sig"])
def test_an_imported_table_keeps_its_umlauts_whatever_its_code(client: Client, shop: Path, code: str) -> None:
    table = "name;side;part\nTürL;L;rail\nTürR;R;rail\nHöheL;L;rail\nHöheR;R;rail\n".encode(code)
    answer = client.post("/api/jobs", {"name": "imported", "table": in_base64(table), "file": "Tür.csv"})
    assert answer.status_code == 201, answer.text
    assert (shop / "imported/points.csv").read_bytes() == table
    page = client.get("/jobs/imported/before/tape").text
    assert "TürL" in page and "HöheR" in page and "\ufffd" not in page


@pytest.mark.parametrize(
    "name", ["", ".", "..", "../x", "a/b", "a\\b", ".hidden", "CON", "nul.txt", "x" * 61, "tail ", "a:b"]
)
def test_odd_names_make_no_folder(client: Client, shop: Path, name: str) -> None:
    answer = client.post("/api/jobs", {"name": name, "points": POINTS})
    assert answer.status_code in (400, 422) or (name.strip() != name and answer.status_code == 201)
    assert not any(path.name.startswith(".") for path in shop.iterdir())
    assert {path.name for path in shop.parent.iterdir()} == {"shop"}


def test_in_a_single_job_no_other_is_made(shop: Path) -> None:
    client = Client(shop / "saloon")
    assert client.post("/api/jobs", {"name": "x", "points": POINTS}).status_code == 422
    assert client.get("/").headers["location"] == "/jobs/saloon"
    client.close()
