"""Names in the tables: the nearest known one is offered, NAME#2 where a mark may stand, and nothing guessed."""

from pathlib import Path

import pytest

from measure.findings import Finding
from measure.readings.kind import either, point_of
from tests.readings.sites import job, read, reading

TAPE = "from,to,length,where,sd\n"


def only_error(folder: Path, name: str, text: str) -> Finding:
    readings, findings = read(folder, {name: text}, job(folder=folder))
    assert len(findings.errors) == 1, findings.numbered()
    assert findings.errors[0].file == f"before/{name}.csv"
    assert len(readings) == text.count("\n") - 2
    return findings.errors[0]


@pytest.mark.parametrize(
    ("name", "text", "line", "column"),
    [
        ("tape", TAPE + "frontL,tailR,2000,floor,\nfrontL,tialR,2000,floor,\n", 3, "to"),
        ("tape", TAPE + "tialR,frontL,2000,car,\n", 2, "from"),
        ("marks", "point,along,across\ntialR,1,2\n", 2, "point"),
        ("heights", "point,height\nfrontL,3\n\ntialR,1\n", 4, "point"),
        ("levels", "from,to,rise\ntialR,frontL,2\n", 2, "from"),
        ("xyz", "setup,point,x,y,z\narm,tialR,1,2,3\n", 2, "point"),
    ],
)
def test_an_unknown_point_is_named_where_it_stands_with_the_nearest(
    tmp_path: Path, name: str, text: str, line: int, column: str
) -> None:
    readings, findings = read(tmp_path, {name: text}, job(folder=tmp_path))
    (error,) = findings.errors
    assert (error.file, error.line, error.column) == (f"before/{name}.csv", line, column)
    assert "tialR" in error.text() and 'did you mean "tailR"?' in error.text()
    assert all("tialR" not in r.names for r in readings)


def test_case_counts(tmp_path: Path) -> None:
    error = only_error(tmp_path, "heights", "point,height\nFrontL,3\n")
    assert 'did you mean "frontL"?' in error.would_do


def test_a_second_drop_is_a_mark_of_its_own(tmp_path: Path) -> None:
    text = TAPE + "frontL,tailR#2,2000,floor,\nfrontL#1,tailR#3,2000,floor,\ntailR,tailR#2,2,floor,\n"
    readings, findings = read(tmp_path, {"tape": text}, job(folder=tmp_path))
    assert not findings.errors, findings.numbered()
    assert [r.names for r in readings] == [("frontL", "tailR#2"), ("frontL", "tailR#3"), ("tailR", "tailR#2")]


@pytest.mark.parametrize("typed", ["tailR#0", "tailR#", "tailR#two", "tailR#-1", "tailR#2#3"])
def test_other_endings_are_no_drop(tmp_path: Path, typed: str) -> None:
    error = only_error(tmp_path, "tape", TAPE + f"frontL,{typed},2000,floor,\n")
    assert (error.line, error.column) == (2, "to") and typed in error.found


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("tape", TAPE + "frontL,tailR#2,2000,car,\n"),
        ("tape", TAPE + "frontL#2,tailR,2000,bar,\n"),
        ("heights", "point,height\ntailR#2,1\n"),
        ("levels", "from,to,rise\nfrontL,tailR#2,2\n"),
        ("xyz", "setup,point,x,y,z\narm,tailR#2,1,2,3\n"),
    ],
)
def test_a_point_itself_has_no_second_drop(tmp_path: Path, name: str, text: str) -> None:
    assert "the point itself" in only_error(tmp_path, name, text).would_do


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("tape", TAPE + "frontL,frontL,2000,floor,\n"),
        ("tape", TAPE + "frontL#2,frontL#2,2000,floor,\n"),
        ("tape", TAPE + "frontL#1,frontL,2000,floor,\n"),
        ("levels", "from,to,rise\nfrontL,frontL,2\n"),
    ],
)
def test_nothing_runs_from_a_point_to_itself(tmp_path: Path, name: str, text: str) -> None:
    error = only_error(tmp_path, name, text)
    assert error.column == "to" and "two different points" in error.would_do


@pytest.mark.parametrize("length", ["0", "-5", "nan", "inf", "1e300", "long"])
def test_a_length_that_is_none_is_refused(tmp_path: Path, length: str) -> None:
    error = only_error(tmp_path, "tape", TAPE + f"frontL,tailR,{length},floor,\n")
    assert (error.line, error.column) == (2, "length")


def test_either_takes_the_row_s_own_even_where_it_is_zero() -> None:
    assert either(0.0, 1.0) == 0.0
    assert either(None, 1.0) == 1.0
    assert point_of("tailR#2") == point_of("tailR") == "tailR"
    assert reading("floor", "a", "b").source == "tape.csv:2"
