"""What kind of damage it is: told right, tied where nothing tells, and not told of a straight car."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from measure.findings import BadInput
from measure.pattern.find import exit_status, find_pattern
from measure.pattern.result import Pattern
from measure.result import as_json
from measure.survey import survey as surveyed
from tests.benchmarks import patterns
from tests.body.judging import in_space, unrounded
from tests.make_charted_car import NAME
from tests.make_charted_car import main as make_charted_car
from tests.make_sample_data import SAMPLE_DATA
from tests.pattern.damaged import KINDS, KINDS_OF_A_CHART
from tests.synthetic import Car, Survey, make_car, survey, write_job

CARS = 14


def pattern(folder: Path, car: Car, sheet: Survey) -> Pattern:
    return find_pattern(surveyed(write_job(folder, car, unrounded(sheet)))).pattern


@cache
def sample(name: str) -> Pattern:
    return find_pattern(surveyed(SAMPLE_DATA / name)).pattern


@pytest.mark.parametrize("kind", KINDS_OF_A_CHART)
def test_with_a_chart_the_right_kind_is_told(kind: str) -> None:
    told = patterns.run(CARS, chart=True, kind=kind, workers=1)
    assert told.tied >= 0.85 and told.first >= 0.6


@pytest.mark.parametrize("kind", KINDS)
def test_by_symmetry_the_right_kind_is_told_or_tied(kind: str) -> None:
    assert patterns.run(CARS, chart=False, kind=kind, workers=1).tied >= 0.8


@pytest.mark.parametrize("chart", [False, True])
def test_of_a_straight_car_no_damage_is_claimed(chart: bool) -> None:
    assert patterns.run(25, chart=chart, kind="straight", workers=1).none >= 0.85


def test_one_side_and_both_half_as_far_look_alike_without_a_chart(tmp_path: Path) -> None:
    """And the pattern says so, says what would tell, and with the chart tells them apart."""
    car = make_car(np.random.default_rng(3), build=0.2, damage={"rail4L": (0.0, 12.0, 0.0), "tailL": (0.0, 12.0, 0.0)})
    blind = pattern(tmp_path / "blind", car, in_space(car))
    assert blind.best.words.startswith("the rear from rail4 rearward stands 6.")
    assert {"side"} == {p.kind for t in blind.tied for p in t.parts}
    assert any("left side from rail4 rearward stands 12." in t.words or "11.9" in t.words for t in blind.tied)
    assert any("width of the car at rail4, tail" in words for words in blind.would_tell)
    charted = pattern(tmp_path / "charted", car, in_space(car, chart=True))
    assert charted.axes == "chart" and not charted.tied and not charted.rivals
    (part,) = charted.best.parts
    assert (part.kind, part.side, part.pairs) == ("side", "L", ["rail4", "tail"])
    assert part.size == pytest.approx(12.0, abs=0.5) and part.verdict == "outside"
    assert exit_status(charted) == 1


LEFT = ("outriggerL", "rail1L", "rail2L", "crossbarL", "rail3L", "rail4L", "tailL")
TAPED: dict[str, dict[int | str, tuple[float, float, float]]] = {
    "twist": {"tailL": (0, 0, 9), "tailR": (0, 0, -9), "rail4L": (0, 0, 5), "rail4R": (0, 0, -5)},
    "diamond": dict.fromkeys(LEFT, (-12.0, 0.0, 0.0)),
    "sway": dict.fromkeys(("outrigger", "rail1"), (0.0, -11.0, 0.0)),
    "shortening": dict.fromkeys(("rail4", "tail"), (12.0, 0.0, 0.0)),
    "bend": dict.fromkeys(("rail4", "tail"), (0.0, 0.0, 12.0)),
}


@pytest.mark.parametrize("kind", TAPED)
def test_taped_cars_from_files(tmp_path: Path, kind: str) -> None:
    rng = np.random.default_rng(12)
    car = make_car(rng, damage=TAPED[kind])
    told = pattern(tmp_path, car, survey(car, rng, tapes=62, drops=2, chart=True, roll_deg=0.5))
    assert kind in {p.kind for p in told.best.parts}, told.best.words
    assert told.best.left_over > 0.001


def test_a_width_known_elsewhere_tells_one_side_from_both(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(3), build=0.2, damage={"rail4L": (0.0, 12.0, 0.0), "tailL": (0.0, 12.0, 0.0)})
    folder = write_job(tmp_path, car, unrounded(in_space(car)))
    widths = [(key, float(np.linalg.norm(car.design[a] - car.design[b]))) for key, a, b in car.pairs()]
    rows = [f"{key}L,{key}R,{width:.1f}" for key, width in widths if key in ("rail2", "rail4", "tail")]
    (folder / "chart.csv").write_text("\n".join(["from,to,length", *rows]) + "\n", encoding="utf-8")
    told = find_pattern(surveyed(folder)).pattern
    assert told.axes == "symmetry and charted lengths"
    assert told.best.words.startswith("the left side from rail4 rearward stands 1")
    assert "sway" not in {p.kind for t in told.tied for p in t.parts}


def test_of_two_halves_both_are_named(tmp_path: Path) -> None:
    moved: dict[int | str, tuple[float, float, float]] = dict.fromkeys((3, 4, 5), (0.0, 10.0, 0.0))
    car = make_car(np.random.default_rng(4), pairs=6, build=0.2, damage=moved, axle=False)
    told = pattern(tmp_path, car, in_space(car))
    words = " ".join([told.best.words, *(t.words for t in told.tied)])
    assert "the front from" in words and "the rear from" in words
    assert any("trusted = yes" in each for each in told.would_tell)


def test_trusted_pairs_move_with_nothing(tmp_path: Path) -> None:
    moved: dict[int | str, tuple[float, float, float]] = dict.fromkeys((3, 4, 5), (0.0, 10.0, 0.0))
    car = make_car(np.random.default_rng(4), pairs=6, build=0.2, damage=moved)
    sheet = in_space(car)
    front = [car.names[i] for _, a, b in car.pairs()[:2] for i in (a, b)]
    for row in sheet.points:
        row["trusted"] = "yes" if row["name"] in front else ""
    told = pattern(tmp_path, car, sheet)
    for each in (told.best, *told.tied, *told.rivals):
        assert not {p for part in each.parts for p in part.points} & set(front)


def test_two_parts_are_told_apart_and_the_rest_is_left(tmp_path: Path) -> None:
    damage = {"rail4": (0.0, 9.0, 0.0), "tail": (0.0, 9.0, 0.0), "rail1R": (-30.0, 0.0, 0.0)}
    car = make_car(np.random.default_rng(5), build=0.3, damage=damage, axle_offset=8.0)
    told = pattern(tmp_path, car, in_space(car, chart=True))
    kinds = [p.kind for p in told.best.parts]
    assert "sway" in kinds and "axle" in kinds


def test_what_no_movement_explains_is_listed(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(6), build=0.3, damage={"crossbarL": (0.0, 0.0, 25.0)})
    told = pattern(tmp_path, car, in_space(car, chart=True))
    assert any(u.of == "crossbarL" and u.figure == "z" and abs(u.size - 25.0) < 3.0 for u in told.unexplained)
    assert told.answer != "none"


def test_a_sheet_in_plan_says_what_it_cannot_see(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    car = make_car(rng)
    told = pattern(tmp_path, car, survey(car, rng, tapes=60, heights=False))
    unseen = {s.kind for s in told.smallest_seen if s.size is None}
    assert unseen == {"twist", "bend", "shortening"}
    assert any("cannot be seen" in caution and "twist" in caution for caution in told.cautions)


def test_two_pairs_tell_no_pattern(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(8), pairs=2)
    told = pattern(tmp_path, car, in_space(car))
    assert told.answer == "undecided" and exit_status(told) == 3


def test_without_a_centreline_there_is_no_pattern(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(8), axle=False)
    sheet = in_space(car)
    for row in sheet.points:
        row["side"] = "C"
    with pytest.raises(BadInput, match="three pairs"):
        pattern(tmp_path, car, sheet)


def test_the_samples() -> None:
    pulled = sample("pulled_rail")
    assert [p.kind for p in pulled.best.parts] == ["sway", "axle", "axle"]
    sizes = {p.form: p.size for p in pulled.best.parts}
    assert sizes["shift"] == pytest.approx(11.0, abs=2.5) and sizes["sideways"] == pytest.approx(5.0, abs=2.0)
    assert exit_status(pulled) == 1
    assert sample("straight_saloon").answer == "none" and exit_status(sample("straight_saloon")) == 0
    (part,) = sample(NAME).best.parts
    assert (part.kind, part.side, part.pairs) == ("side", "R", ["rail4", "tail"])
    assert abs(part.size - 12.0) <= part.u95


def test_the_sample_is_what_the_script_writes(tmp_path: Path) -> None:
    make_charted_car(tmp_path)
    for path in (p for p in tmp_path.rglob("*") if p.is_file()):
        assert (SAMPLE_DATA / path.relative_to(tmp_path)).read_bytes() == path.read_bytes(), path.name


def test_the_document_is_json_and_the_same_each_time() -> None:
    first, second = (as_json(find_pattern(surveyed(SAMPLE_DATA / NAME)).pattern) for _ in range(2))  # type: ignore[arg-type]
    assert first == second
    keys = set(json.loads(first))
    assert {"axes", "answer", "best", "tied", "rivals", "unexplained", "would_tell", "smallest_seen"} <= keys
