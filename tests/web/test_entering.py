"""Readings in: written once, fitted by the real adjustment, never over what another person wrote."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.check import check
from measure.result import as_json
from measure.tables.decimals import Decimals
from measure.web.entering import RefusedError, in_the_tables_mark
from tests.web.client import Client
from tests.web.conftest import reading

AT = "/api/jobs/saloon/before/readings"
TAPE = "saloon/before/tape.csv"


def fill(id_: str, length: str, seen: str, line: int = 4, **more: object) -> dict[str, object]:
    return reading(id_, length, mode="fill", seen=seen, line=line, **more)


def test_a_swapped_figure_is_told_at_once_and_undone(client: Client, shop: Path) -> None:
    before = (shop / TAPE).read_bytes()
    answer = client.post(AT, fill("a", "1049.5", "1094.5")).json()
    assert answer["saved"] and answer["how"] == "off" and answer["source"] == "tape.csv:4"
    assert "mm off" in answer["words"] and "two digits swapped" in answer["words"]
    assert (shop / TAPE).read_bytes() == before.replace(
        b"outriggerL,rail1R,1094.5,floor", b"outriggerL,rail1R,1049.5,floor"
    )
    back = client.post("/api/jobs/saloon/undo", {"id": "b", "number": answer["number"]})
    assert back.status_code == 200
    assert (shop / TAPE).read_bytes() == before


def test_a_good_figure_fits(client: Client) -> None:
    answer = client.post(AT, reading("a", "109.45 cm")).json()
    assert answer["how"] == "fits" and answer["words"].startswith("Fits to 0.")


def test_a_retry_is_no_second_reading(client: Client, shop: Path) -> None:
    first = client.post(AT, reading("same", "1094")).json()
    text = (shop / TAPE).read_bytes()
    again = client.post(AT, reading("same", "1094")).json()
    assert again["source"] == first["source"] and again["number"] == first["number"]
    assert (shop / TAPE).read_bytes() == text
    other = Client(shop)  # a server started anew remembers as well
    assert other.post(AT, reading("same", "1094")).json()["number"] == first["number"]
    other.close()
    assert (shop / TAPE).read_bytes() == text


def test_two_people_on_one_row_are_told_and_on_two_rows_are_merged(client: Client, shop: Path) -> None:
    assert client.post(AT, fill("a", "1095", "1094.5")).status_code == 200
    late = client.post(AT, fill("b", "1093", "1094.5"))
    assert late.status_code == 409 and late.json()["now"] == "1095"
    cells = {"from": "outriggerL", "to": "outriggerR", "where": "floor", "length": "1198"}
    other = {"id": "c", "table": "tape", "mode": "fill", "cells": cells, "line": 2, "seen": "1197.5"}
    assert client.post(AT, other).status_code == 200
    text = (shop / TAPE).read_text(encoding="utf-8")
    assert "outriggerL,rail1R,1095,floor" in text and "outriggerL,outriggerR,1198,floor" in text


def test_an_edit_by_hand_moves_the_row_and_is_kept(client: Client, shop: Path) -> None:
    path = shop / TAPE
    path.write_text("# a remark above\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    assert client.post(AT, fill("a", "1095", "1094.5")).json()["source"] == "tape.csv:5"
    assert path.read_text(encoding="utf-8").startswith("# a remark above\n")


def test_a_row_is_known_again_however_its_letters_are_coded(client: Client, shop: Path) -> None:
    points, path = shop / "saloon/points.csv", shop / TAPE
    for file in (points, path):
        file.write_text(file.read_text(encoding="utf-8").replace("rail1R", "Tu\u0308r  R"), encoding="utf-8")
    wanted = fill("a", "1095", "1094.5")
    wanted["cells"] = {**wanted["cells"], "to": "T\u00fcr  R"}  # type: ignore[dict-item]
    answer = client.post(AT, wanted)
    assert answer.status_code in (200, 422), answer.text
    if answer.status_code == 200:
        assert "outriggerL,Tu\u0308r  R,1095,floor" in path.read_text(encoding="utf-8")


def test_another_table_of_each_kind(client: Client, shop: Path) -> None:
    for table, cells in (
        ("heights", {"point": "rail1L", "height": "690"}),
        ("levels", {"from": "rail1R", "to": "rail1L", "rise": "-6"}),
        ("marks", {"point": "rail1L#2", "along": "0", "across": "-12.5"}),
    ):
        answer = client.post(AT, {"id": table, "table": table, "mode": "add", "cells": cells})
        assert answer.status_code == 200, answer.text
        assert (shop / "saloon/before" / f"{table}.csv").exists()


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"length": "-5"}, "greater than zero"), ({"length": ""}, "nothing was typed"),
        ({"length": "1e3"}, "write the number out"),
        ({"length": "nan"}, "write 1043.5"), ({"to": "nowhere"}, "no point of this car"),
        ({"to": "outriggerL"}, "different points"),
        ({"length": "1,094"}, "decimal"), ({"where": "roof"}, "floor, car or bar"), ({"length": "9" * 60}, "too long"),
    ],
)  # fmt: skip
def test_what_is_no_reading_is_refused_in_words(client: Client, shop: Path, cells: dict[str, str], told: str) -> None:
    before = (shop / TAPE).read_bytes()
    wanted = reading("a", "1094")
    wanted["cells"] = {**wanted["cells"], **cells}  # type: ignore[dict-item]
    answer = client.post(AT, wanted)
    if told == "decimal":  # the table writes points: the comma of a phone's keyboard becomes one
        assert answer.status_code == 200 and b",1.094," in (shop / TAPE).read_bytes()
        return
    assert answer.status_code == 422 and told in answer.json()["error"], answer.text
    assert (shop / TAPE).read_bytes() == before


def test_the_decimal_mark_of_the_table_is_kept() -> None:
    comma, point, none = Decimals(True, 3, True), Decimals(False, 3, True), Decimals(False, 0, False)
    assert in_the_tables_mark("1043.5", comma) == "1043,5"
    assert in_the_tables_mark("1043,5", point) == "1043.5"
    assert in_the_tables_mark("1043,5", none) == "1043.5"
    assert in_the_tables_mark("1043,5", none, ";") == "1043,5"
    for odd in ("1.043,5", "1,043"):
        with pytest.raises(RefusedError):
            in_the_tables_mark(odd, none)


def test_a_spreadsheet_and_a_link_are_not_written_to(client: Client, shop: Path) -> None:
    path = shop / TAPE
    path.rename(shop / "saloon/elsewhere.csv")
    path.symlink_to(shop / "saloon/elsewhere.csv")
    assert "is a link" in client.post(AT, reading("a", "1094")).json()["error"]
    path.unlink()
    (shop / "outside.csv").write_text("secret", encoding="utf-8")
    path.symlink_to(shop / "outside.csv")
    for page in ("tape", "results"):
        answer = client.get(f"/jobs/saloon/before/{page}")
        assert answer.status_code == 404 and "secret" not in answer.text
    assert client.post(AT, reading("a", "1094")).status_code == 404
    path.unlink()
    (shop / "saloon/before/tape.xlsx").write_bytes(b"PK\x03\x04")
    assert "save it as tape.csv" in client.post(AT, reading("a", "1094")).json()["error"]


def test_the_page_and_the_command_say_the_same(client: Client, shop: Path) -> None:
    assert client.get("/api/jobs/saloon/before/document").text == as_json(check(shop / "saloon", "before"))


def test_the_others_see_it_at_the_next_look(client: Client) -> None:
    first = client.get("/jobs/saloon/before/tape?part=now")
    tag = first.headers["etag"]
    assert client.get("/jobs/saloon/before/tape?part=now", **{"if-none-match": tag}).status_code == 304
    client.post(AT, reading("a", "1094.25"))
    later = client.get("/jobs/saloon/before/tape?part=now", **{"if-none-match": tag})
    assert later.status_code == 200 and "1094.25" in later.text


def test_a_full_disk_and_a_folder_that_vanished_are_told(
    client: Client, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (shop / TAPE).read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("measure.history.write_atomically", full)
        answer = client.post(AT, reading("a", "1094"))
        assert answer.status_code == 507 and "disk is full" in answer.json()["error"]
    assert (shop / TAPE).read_bytes() == before
    assert client.post(AT, reading("a", "1094")).json()["saved"]  # the same id again: it had not counted
    (shop / "saloon").rename(shop / "gone")
    assert client.post(AT, reading("b", "1094")).status_code == 404


FIRST_OF_TABLE = (
    ("tape", {"from": "outriggerL", "to": "rail1R", "where": "floor", "length": "1094"}),
    ("levels", {"from": "rail1R", "to": "rail1L", "rise": "-6"}), ("heights", {"point": "rail1L", "height": "690"}),
    ("marks", {"point": "rail1L", "along": "0", "across": "-12.5"}), ("targets", {"target": "7", "point": "rail1L"}),
)  # fmt: skip


@pytest.mark.parametrize(("table", "cells"), FIRST_OF_TABLE, ids=[table for table, _ in FIRST_OF_TABLE])
def test_taking_back_the_first_reading_of_a_table_leaves_the_car_as_it_was(
    client: Client, shop: Path, table: str, cells: dict[str, str]
) -> None:
    stage = shop / "saloon/before"
    path = stage / f"{table}.csv"
    if path.exists():
        path.rename(path.with_suffix(".away"))
    others = sorted(p.name for p in stage.iterdir())

    def document() -> object:
        answer = client.get("/api/jobs/saloon/before/document")
        return answer.json() if table == "tape" else as_json(check(shop / "saloon", "before"))

    before = document()
    entered = client.post(AT, {"id": "a", "table": table, "mode": "fill", "cells": cells, "seen": ""}).json()
    assert entered["saved"] and path.exists()
    assert client.post("/api/jobs/saloon/undo", {"id": "b", "number": entered["number"]}).status_code == 200
    assert sorted(p.name for p in stage.iterdir()) == others
    assert document() == before
    kinds = [change["kind"] for change in client.get("/api/jobs/saloon/history").json()["changes"]]
    assert kinds == ["entered", "undone"]


def test_ones_own_waiting_reading_gives_way_to_the_next_whether_it_arrived_or_not(client: Client, shop: Path) -> None:
    path = shop / TAPE
    path.write_bytes(path.read_bytes().replace(b"outriggerL,rail1R,1094.5", b"outriggerL,rail1R,"))
    assert client.post(AT, fill("a", "1000,5", "")).status_code == 200
    assert client.post(AT, fill("b", "1010", "", instead=["lost", "a"])).status_code == 200
    assert client.post(AT, fill("c", "1020", "", instead=["a", "b", "never sent"])).status_code == 200
    assert b"outriggerL,rail1R,1020,floor" in path.read_bytes() and b"1010" not in path.read_bytes()
    late = client.post(AT, fill("d", "1030", "", instead=["never sent"]))
    assert late.status_code == 409 and "someone entered 1020" in late.json()["error"]
    path.write_bytes(path.read_bytes().replace(b"1020", b"999"))  # by hand: no longer what this phone wrote
    assert client.post(AT, fill("e", "1040", "", instead=["c"])).status_code == 409


def test_a_further_reading_that_waited_is_corrected_and_not_doubled(client: Client, shop: Path) -> None:
    lines = len((shop / TAPE).read_text(encoding="utf-8").splitlines())
    assert client.post(AT, reading("a", "1000")).status_code == 200
    assert client.post(AT, reading("b", "1010", instead=["a"])).status_code == 200
    text = (shop / TAPE).read_text(encoding="utf-8")
    assert len(text.splitlines()) == lines + 1 and text.count(",1010,") == 1 and ",1000," not in text
    assert client.post(AT, reading("c", "1", instead="a")).status_code == 400


def test_a_name_that_is_no_point_is_told_with_the_nearest(client: Client) -> None:
    wanted = reading("a", "1094")
    wanted["cells"] = {**wanted["cells"], "from": "OutriggerL"}  # type: ignore[dict-item]
    assert "did you mean “outriggerL”?" in client.post(AT, wanted).json()["error"]
    for typed, near in (("OutriggerL", "outriggerL"), ("ril1L", "rail1L"), ("xyzzy", "")):
        assert client.get(f"/api/jobs/saloon/points/{typed}/like").json() == {"name": near}


def test_the_fit_can_be_asked_for_later_and_calls_readings_by_their_points(client: Client, shop: Path) -> None:
    answer = client.post(AT, reading("a", "1094.5")).json()
    later = client.get(f"/api/jobs/saloon/before/fits/{answer['source']}").json()
    assert later["words"] == answer["words"] and later["how"] == "fits"
    path = shop / TAPE
    path.write_text(path.read_text(encoding="utf-8").replace("1197.5", "1197.5 furlongs"), encoding="utf-8")
    told = client.get("/api/jobs/saloon/before/fits/tape.csv:4").json()
    assert told["how"] == "unsolved" and "outriggerL to outriggerR, column length" in told["words"]
    assert "tape.csv" not in told["words"]
