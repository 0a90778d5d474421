"""Whatever else a file or a choice of readings may hold: nothing brings the program down."""

from __future__ import annotations

import shutil

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.asked import ask
from tests.odd_jobs import STATIONS, Files, every, heights, job, job_toml, lengths, marks, names, points, write, xyz

NASTY = (
    "nan", "1e300", "-1", "0", "-0", "inf", "text", "", " ", "1,5", "1.5.5", "9" * 40, "16-May", "#", '"', "0.0001",
    "hornL", "hornL#2", "midR", "90000 m", '5/16"', "½", "\ufeff", "=A1", "é", "L", "yes", "\x00", "1e-9", "100", "254",
)  # fmt: skip
ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252", "cp500")
FILES = ("job.toml", "points.csv", "before/tape.csv", "before/heights.csv")
SMALL = names(list(STATIONS)[:3])


def small() -> Files:
    return job(
        points(SMALL), job_toml("[sd]\ntape = 0.5\n[limits]\noffset = 3\n[tape.blue]\nzero = 0\n"),
        tape=lengths(every(SMALL)), heights=heights(SMALL),
    )  # fmt: skip


def cell(data: st.DataObject, text: str) -> tuple[list[str], int, list[str], int]:
    rows = text.split("\n")
    at = data.draw(st.integers(0, len(rows) - 1))
    cells = rows[at].split(",")
    return rows, at, cells, data.draw(st.integers(0, len(cells) - 1))


def mutated(data: st.DataObject, content: bytes) -> bytes:
    """One thing done to a file that a person, a spreadsheet or a bad disk might do."""
    how = data.draw(st.sampled_from(("cell", "cell", "cell", "swap", "cut", "double", "flip", "end", "mark", "code")))
    if how == "flip":
        at = data.draw(st.integers(0, max(len(content) - 1, 0)))
        return content[:at] + bytes([data.draw(st.integers(0, 255))]) + content[at + 1 :]
    if how == "end":
        return content[: data.draw(st.integers(0, len(content)))]
    text = content.decode("utf-8", errors="replace")
    if how == "code":
        return text.encode(data.draw(st.sampled_from(ENCODINGS)), errors="replace")
    if how == "mark":
        return text.replace(",", data.draw(st.sampled_from(";\t|:"))).encode()
    rows, at, cells, k = cell(data, text)
    if how == "cell":
        cells[k] = data.draw(st.sampled_from(NASTY))
        rows[at] = ",".join(cells)
    elif how == "swap":
        other, others = data.draw(st.integers(0, len(rows) - 1)), rows[at].split(",")
        others = rows[other].split(",") if other != at else cells
        j = data.draw(st.integers(0, len(others) - 1))
        cells[k], others[j] = others[j], cells[k]
        rows[at], rows[other] = ",".join(cells), ",".join(others)
    elif how == "cut":
        del rows[at : at + data.draw(st.integers(1, 12))]
    else:
        rows[at:at] = [rows[at]] * data.draw(st.integers(1, 3))
    return "\n".join(rows).encode()


@settings(
    max_examples=500, deadline=None, derandomize=True, database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(data=st.data())
def test_no_table_brings_it_down(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    files = small()
    for _ in range(data.draw(st.integers(1, 3))):
        name = data.draw(st.sampled_from(FILES))
        content = files[name]
        files[name] = mutated(data, content if isinstance(content, bytes) else content.encode())
    folder = write(tmp_path_factory.mktemp("m"), files)
    try:
        result = ask(folder)
        assert result.exit_code != 2 or "found " in result.stderr
    finally:
        shutil.rmtree(folder)


@settings(max_examples=80, deadline=None, derandomize=True, database=None)
@given(
    taped=st.lists(st.sampled_from(every(SMALL)), max_size=28, unique=True),
    levelled=st.lists(st.sampled_from(SMALL), max_size=8, unique=True),
    placed=st.lists(st.sampled_from(SMALL), max_size=5, unique=True),
    marked=st.lists(st.sampled_from(SMALL), max_size=4, unique=True),
    factor=st.sampled_from((1.0, 1.0, 1.0, 0.1, 25.4)),
)
def test_no_choice_of_readings_brings_it_down(
    tmp_path_factory: pytest.TempPathFactory, taped: list[tuple[str, str]], levelled: list[str], placed: list[str],
    marked: list[str], factor: float,
) -> None:  # fmt: skip
    tables = {"tape": lengths(taped)} if taped else {}
    if levelled:
        tables["heights"] = heights(levelled)
    if placed:
        tables["xyz"] = xyz(placed, lambda p: tuple(factor * c for c in p))
    if marked:
        tables["marks"] = marks(marked)
    folder = write(tmp_path_factory.mktemp("r"), job(points(SMALL), **tables))
    try:
        result = ask(folder)
        if factor == 1.0:
            assert result.exit_code != 1, "a straight car was called bent\n" + result.output
    finally:
        shutil.rmtree(folder)
