"""Points against their factory positions: deviations, their uncertainty, and charts that do not fit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from measure.check import check
from measure.findings import BadInput
from tests.body.judging import figures, in_space, judged, u95, value
from tests.synthetic import Car, Survey, make_car, survey, truth, write_job

CARS = 25


def charted(seed: int, **damage: tuple[float, float, float]) -> tuple[Car, Survey]:
    rng = np.random.default_rng([41, seed])
    car = make_car(rng, damage=damage)
    return car, survey(car, rng, tapes=60, chart=True, roll_deg=0.4)


@pytest.mark.parametrize("damage", [{}, {"rail4": (0.0, 14.0, 0.0), "tail": (0.0, 14.0, 0.0)}])
def test_intervals_hold_what_they_say(tmp_path: Path, damage: dict[str, tuple[float, float, float]]) -> None:
    held = []
    for seed in range(CARS):
        car, sheet = charted(seed, **damage)
        true = truth(car, chart=True)
        for name, c in figures(judged(tmp_path / str(seed), car, sheet)).items():
            if name.startswith("chart."):
                held.append(abs(value(c) - true[name]) <= u95(c))
    assert len(held) == CARS * 48
    assert 0.91 <= np.mean(held) <= 0.985


def test_a_bent_point_is_told_where_it_stands(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(2), build=0.0, damage={"rail2L": (4.0, -6.0, 9.0)})
    seen = figures(judged(tmp_path, car, in_space(car, sd=0.02, chart=True)))
    for axis, mm in zip("xyz", (4.0, -6.0, 9.0), strict=True):
        assert value(seen[f"chart.rail2L.{axis}"]) == pytest.approx(mm, abs=0.1)
        assert value(seen[f"chart.tailR.{axis}"]) == pytest.approx(0.0, abs=0.1)
    assert seen["chart.rail2L.y"].words == "rail2L stands 6.0 mm too far right"
    assert seen["chart.rail2L.y"].verdict == "outside"


def changed(change: Callable[[dict[str, float]], None]) -> Survey:
    _, sheet = charted(1)
    for row in sheet.points:
        change(row)
    return sheet


def test_where_the_chart_counts_from_does_not_matter(tmp_path: Path) -> None:
    def moved(row: dict[str, float]) -> None:
        x, y = row["x"], row["y"]
        row["x"], row["y"], row["z"] = (
            x * np.cos(0.02) - y * np.sin(0.02) + 3000,
            x * np.sin(0.02) + y * np.cos(0.02),
            row["z"] - 700,
        )

    car, sheet = charted(1)
    here = figures(judged(tmp_path / "here", car, sheet))
    there = figures(judged(tmp_path / "there", car, changed(moved)))
    turned = value(there["chart.tailL.x"]) * np.cos(0.02) + value(there["chart.tailL.y"]) * np.sin(0.02)
    assert turned == pytest.approx(value(here["chart.tailL.x"]), abs=0.01)
    assert value(there["chart.tailL.z"]) == pytest.approx(value(here["chart.tailL.z"]), abs=1e-3)
    assert value(there["axle.rear.offset"]) == pytest.approx(value(here["axle.rear.offset"]), abs=1e-3)


def test_coordinates_may_be_missing_singly(tmp_path: Path) -> None:
    car, sheet = charted(1)
    for k, row in enumerate(sheet.points):
        row["xyz"[k % 3]] = ""
    seen = figures(judged(tmp_path, car, sheet))
    assert sum(name.startswith("chart.") for name in seen) == 32
    assert "chart.outriggerL.x" not in seen and value(seen["chart.outriggerL.y"]) == pytest.approx(0.0, abs=4.0)


def test_without_heights_the_chart_is_laid_in_plan(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    car = make_car(rng)
    doc = judged(tmp_path, car, survey(car, rng, tapes=60, chart=True, heights=False))
    seen = figures(doc)
    assert value(seen["chart.rail1L.y"]) == pytest.approx(truth(car, chart=True)["chart.rail1L.y"], abs=4.0)
    assert seen["chart.rail1L.z"].value is None and seen["chart.rail1L.z"].verdict == "undecided"
    assert any("in plan" in caution for caution in doc.cautions)


def test_trusted_pairs_alone_carry_the_chart(tmp_path: Path) -> None:
    car, sheet = charted(3, tail=(0.0, 7.0, 0.0))
    for row in sheet.points:
        row["trusted"] = "yes" if row["name"][:-1] in ("rail1", "rail2", "crossbar") else ""
    doc = judged(tmp_path, car, sheet)
    shares = {s.what for s in figures(doc)["chart.tailL.y"].budget}
    assert doc.centreline.pairs_used == ["rail1", "rail2", "crossbar"]
    assert not any("rail4" in what and "scatter" in what for what in shares)


def test_a_chart_carries_the_centreline_where_a_pushed_rail_would_tilt_it(tmp_path: Path) -> None:
    push = (0.0, 12.0, 0.0)
    car, sheet = charted(5, rail4R=push, tailR=push)
    doc = judged(tmp_path, car, sheet)
    assert not {"rail4", "tail"} & set(doc.centreline.pairs_used)
    axle = figures(doc)["axle.rear.offset"]
    assert abs(value(axle)) <= u95(axle) + 0.5 and axle.verdict != "outside"


def backward(row: dict[str, float]) -> None:
    row["x"] = -row["x"]


def both_sides_alike(row: dict[str, float]) -> None:
    row["y"] = abs(row["y"])


def inches(row: dict[str, float]) -> None:
    row |= {axis: row[axis] / 25.4 for axis in "xyz"}


def other_car(row: dict[str, float]) -> None:
    row["x"] *= 1.08 + 0.2 * (row["z"] > 100)
    row["z"] = 0.3 * row["y"] * (row["x"] < -1000)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (backward, "let x count forward"),
        (both_sides_alike, "the right side's is negative"),
        (inches, "look like inches"),
        (other_car, "is it the chart of this car"),
    ],
)
def test_the_chart_of_another_car_is_refused(
    tmp_path: Path, change: Callable[[dict[str, float]], None], says: str
) -> None:
    car, _ = charted(1)
    with pytest.raises(BadInput, match=says):
        check(write_job(tmp_path, car, changed(change)))


def test_one_absurd_row_is_named(tmp_path: Path) -> None:
    car, sheet = charted(1)
    sheet.points[3]["y"] = 4300.0
    with pytest.raises(BadInput, match=r"points.csv line 5: found rail1R charted"):
        check(write_job(tmp_path, car, sheet))


def test_two_halves_that_moved_apart_leave_a_choice(tmp_path: Path) -> None:
    """Left and right pushed against each other: no half is more right than the other."""
    damage = {
        f"{key}L": (-15.0, 0.0, 0.0) for key in ("outrigger", "rail1", "rail2", "crossbar", "rail3", "rail4", "tail")
    }
    car, sheet = charted(6, **damage)
    doc = judged(tmp_path, car, sheet)
    along = [c for name, c in figures(doc).items() if name.startswith("chart.") and name.endswith(".x")]
    assert not any(c.verdict == "outside" for c in along if c.name.startswith("chart.crossbar"))
