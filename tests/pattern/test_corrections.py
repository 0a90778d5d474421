"""What must come back: the steps, their order, and that following them helps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from measure.pattern.correct import exit_status, find_corrections
from measure.pattern.result import Corrections
from measure.survey import survey as surveyed
from tests.body.judging import in_space, unrounded
from tests.make_charted_car import NAME
from tests.make_sample_data import SAMPLE_DATA
from tests.synthetic import Car, Survey, make_car, write_job


def corrections(folder: Path, car: Car, sheet: Survey) -> Corrections:
    return find_corrections(surveyed(write_job(folder, car, unrounded(sheet))))[0]


@pytest.mark.parametrize("chart", [False, True])
def test_following_the_steps_brings_the_car_within(tmp_path: Path, chart: bool) -> None:
    damage = {"rail4": (0.0, 14.0, 0.0), "tail": (0.0, 14.0, 0.0)}
    car = make_car(np.random.default_rng(3), build=0.2, damage=damage, axle_offset=9.0, axle_yaw_deg=0.5)
    wanted = corrections(tmp_path, car, in_space(car, chart=chart))
    assert [s.kind for s in wanted.steps] == ["sway", "axle", "axle"]
    assert wanted.steps[0].way == "to the right" and wanted.steps[0].by == pytest.approx(14.0, abs=0.5)
    assert wanted.steps[0].to_the_limit == pytest.approx(wanted.steps[0].by - 3.0)
    assert set(wanted.steps[0].points) == {"rail4L", "rail4R", "tailL", "tailR"}
    assert {"rail3L", "rail3R"} <= set(wanted.steps[0].measure_again)
    after = {e.name: e for s in wanted.steps for e in s.expected}
    for name in ("pair.rail4.offset", "pair.tail.offset", "axle.rear.offset", "axle.rear.square"):
        assert after[name].verdict == "within", name
    assert after["axle.rear.offset"].after == pytest.approx(0.0, abs=0.3)
    assert not wanted.still_off and exit_status(wanted) == 1
    assert any("licensed work" in caution for caution in wanted.cautions)


def test_the_axle_comes_last_even_where_it_is_farthest_off(tmp_path: Path) -> None:
    damage = {"tail": (0.0, 7.0, 0.0)}
    car = make_car(np.random.default_rng(4), build=0.2, damage=damage, axle_offset=60.0)
    assert [s.kind for s in corrections(tmp_path, car, in_space(car, chart=True)).steps][-1] == "axle"


def test_a_straight_car_needs_nothing(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(5), build=0.2)
    wanted = corrections(tmp_path, car, in_space(car))
    assert wanted.answer == "none" and not wanted.steps and exit_status(wanted) == 0
    assert not any("pulling, cutting" in caution for caution in wanted.cautions)


def test_what_cannot_be_told_apart_is_to_be_settled_first() -> None:
    wanted, _ = find_corrections(surveyed(SAMPLE_DATA / "pulled_rail"))
    assert any("left side" in words for words in wanted.settle_first) and wanted.would_tell
    charted, _ = find_corrections(surveyed(SAMPLE_DATA / NAME))
    assert not charted.settle_first
    (step,) = charted.steps
    assert step.way == "out" and step.words.startswith("Bring the right side from rail4 rearward out by 1")
