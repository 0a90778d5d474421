"""The car measured again: a new stage from the page, recorded, with nothing overwritten."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.web.client import Client

PATH = "/api/jobs/saloon/stages"


def made(client: Client, name: str, id_: str = "a") -> int:
    return client.post(PATH, {"id": id_, "name": name}).status_code


def test_a_stage_has_blank_tables_and_the_targets(client: Client, shop: Path) -> None:
    targets = b"target,point,side,standoff,note\n7,rail1L,,,\n"
    (shop / "saloon/before/targets.csv").write_bytes(targets)
    toml = (shop / "saloon/job.toml").read_text(encoding="utf-8")
    assert made(client, "after") == 201
    now = (shop / "saloon/job.toml").read_text(encoding="utf-8")
    assert now != toml and now == toml.replace('["before"]', '["before", "after"]')
    folder = shop / "saloon/after"
    assert {p.name for p in folder.iterdir()} == {f"{n}.csv" for n in (
        "tape", "levels", "heights", "marks", "xyz", "targets"
    )}  # fmt: skip
    assert (folder / "targets.csv").read_bytes() == targets
    tape = (folder / "tape.csv").read_text(encoding="utf-8")
    assert "outriggerL,outriggerR,,floor" in tape and "1197" not in tape
    assert client.get("/jobs/saloon/after/tape").status_code == 200


def test_it_is_in_the_history_and_is_taken_back(client: Client, shop: Path) -> None:
    toml = (shop / "saloon/job.toml").read_bytes()
    assert made(client, "after") == made(client, "after") == 201, "the same id is the same stage"
    change = client.get("/api/jobs/saloon/history").json()["changes"][-1]
    assert change["words"] == "measure again: new stage after" and change["file"] == "job.toml"
    client.post("/api/jobs/saloon/undo", {"id": "b", "number": change["number"]})
    assert (shop / "saloon/job.toml").read_bytes() == toml
    assert made(client, "after", "c") == 201, "the folder that was left is taken up again"


def test_what_is_there_is_kept(client: Client, shop: Path) -> None:
    (shop / "saloon/after").mkdir()
    typed = b"from,to,length,where\nrail1L,rail1R,858,floor\n"
    (shop / "saloon/after/tape.csv").write_bytes(typed)
    assert made(client, "after") == 201
    assert (shop / "saloon/after/tape.csv").read_bytes() == typed


@pytest.mark.parametrize("name", ["before", "Before", "points.csv", "../out", "a/b", "con", "a#2", "", ".hidden"])
def test_a_name_that_will_not_do_changes_nothing(client: Client, shop: Path, name: str) -> None:
    toml = (shop / "saloon/job.toml").read_bytes()
    there = sorted(p.name for p in (shop / "saloon").iterdir())
    assert made(client, name) == 422
    assert (shop / "saloon/job.toml").read_bytes() == toml
    assert sorted(p.name for p in (shop / "saloon").iterdir()) == there


def test_a_remark_behind_the_stages_stays(client: Client, shop: Path) -> None:
    path = shop / "saloon/job.toml"
    lines = path.read_text(encoding="utf-8").replace('["before"]', '["before"]   # the days')
    path.write_bytes(lines.replace("\n", "\r\n").encode())
    assert made(client, "after") == 201
    assert b'stages = ["before", "after"]   # the days\r\n' in path.read_bytes()
