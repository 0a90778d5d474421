"""chart.csv: lengths between points, judged without centreline or fit."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from measure.check import check
from measure.findings import BadInput
from measure.result import CheckResult
from tests.body.judging import in_space, unrounded, value
from tests.synthetic import Car, make_car, write_job

HOLES = {"rail1L": "16", "rail1R": "20", "rail2L": "15.875"}


def lengths(folder: Path, rows: str, *, heights: bool = True, limits: str = "") -> dict[str, CheckResult]:
    car = make_car(np.random.default_rng(8), build=0.0, damage={"tailL": (0.0, 0.0, 5.0)})
    sheet = in_space(car, sd=0.02)
    for row in sheet.points:
        row["hole"] = HOLES.get(row["name"], "")
    write_job(folder, car, unrounded(sheet))
    (folder / "chart.csv").write_text(f"from,to,length,tolerance,taken\n{rows}\n", encoding="utf-8")
    with (folder / "job.toml").open("a", encoding="utf-8") as job:
        job.write(limits)
    return {c.name: c for c in check(folder).checks if c.name.startswith("chart.")}


def apart(start: str, end: str) -> float:
    car: Car = make_car(np.random.default_rng(8), build=0.0, damage={"tailL": (0.0, 0.0, 5.0)})
    return float(np.linalg.norm(car.where(start) - car.where(end)))


@pytest.mark.parametrize(("taken", "holes"), [("centre", 0.0), ("near", -18.0), ("far", 18.0), ("", 0.0)])
def test_lengths_are_reduced_to_centres(tmp_path: Path, taken: str, holes: float) -> None:
    written = apart("rail1L", "rail1R") + holes - 4.0
    seen = lengths(tmp_path, f"rail1L,rail1R,{written:.3f},,{taken}")["chart.rail1L.rail1R"]
    assert value(seen) == pytest.approx(4.0, abs=0.15)
    assert re.fullmatch(r"rail1L to rail1R is (3\.9|4\.[01]) mm too long", seen.words) and seen.side == "longer"
    assert seen.limit == 3.0 and seen.verdict == "outside"


def test_inches_and_a_tolerance(tmp_path: Path) -> None:
    sixteenths = round(apart("rail3L", "tailR") / 25.4 * 16)
    seen = lengths(tmp_path, f'rail3L,tailR,"{sixteenths // 16} {sixteenths % 16}/16""",1.5,')
    off = apart("rail3L", "tailR") - sixteenths / 16 * 25.4
    assert value(seen["chart.rail3L.tailR"]) == pytest.approx(off, abs=0.1)
    assert seen["chart.rail3L.tailR"].limit == 1.5 and seen["chart.rail3L.tailR"].verdict == "within"


def test_the_job_may_set_the_limit_of_one_length(tmp_path: Path) -> None:
    seen = lengths(tmp_path, "rail1L,tailR,2000,1,", limits='\n[limits]\n"chart.rail1L.tailR" = 900\n')
    assert seen["chart.rail1L.tailR"].limit == 900.0


def test_a_point_not_measured_is_undecided(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(8), build=0.0)
    sheet = in_space(car, sd=0.02)
    sheet.points.append({"name": "horn", "side": "C", "part": ""})
    write_job(tmp_path, car, sheet)
    (tmp_path / "chart.csv").write_text("from,to,length\nrail1L,horn,900\n", encoding="utf-8")
    seen = {c.name: c for c in check(tmp_path).checks}["chart.rail1L.horn"]
    assert seen.value is None and seen.verdict == "undecided" and seen.limit == 3.0


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("rail1L,rail3R,1000,,near", "fill in the hole diameter of rail3R"),
        ("rail1L,rail1R,10,,far", "the two holes are wider than that"),
        ("rail1L,rail1R,900,,middle", "centre"),
    ],
)
def test_what_cannot_be_reduced_is_refused(tmp_path: Path, row: str, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        lengths(tmp_path, row)


def test_a_point_called_x_cannot_be_told_from_a_coordinate(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(8))
    sheet = in_space(car)
    sheet.points.append({"name": "x", "side": "C", "part": ""})
    write_job(tmp_path, car, sheet)
    (tmp_path / "chart.csv").write_text("from,to,length\nrail1L,x,900\n", encoding="utf-8")
    with pytest.raises(BadInput, match="rename that point"):
        check(tmp_path)
