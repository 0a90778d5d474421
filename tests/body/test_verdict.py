"""The rule for verdicts, and what an estimated sd makes of u95."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.special import stdtrit

from measure.adjust.stage import adjust_stage
from measure.body.stand import Judged, stand
from measure.body.verdict import agreed, judge, worst
from measure.car_points import car_points
from measure.findings import Findings
from measure.read_job import read_job
from tests.body.judging import unrounded
from tests.synthetic import make_car, survey, write_job


@pytest.mark.parametrize(
    ("value", "u95", "limit", "verdict"),
    [
        (0.0, 3.0, 3.0, "within"),
        (-1.0, 2.0, 3.0, "within"),
        (1.0, 2.001, 3.0, "undecided"),
        (-5.0, 2.0, 3.0, "undecided"),  # touches the limit: not yet outside
        (5.001, 2.0, 3.0, "outside"),
        (-5.001, 2.0, 3.0, "outside"),
        (2.9, 0.2, 3.0, "undecided"),
        (0.0, 0.0, 3.0, "within"),
        (1e9, 1.0, None, "no limit"),
    ],
)
def test_the_guard_is_the_whole_of_u95(value: float, u95: float, limit: float | None, verdict: str) -> None:
    assert judge(value, u95, limit) == verdict


def test_alternatives_must_agree() -> None:
    assert agreed(["within", "within"]) == "within"
    assert agreed(["within", "outside"]) == "undecided"
    assert agreed(["undecided", "outside"]) == "undecided"


def test_a_whole_is_as_bad_as_its_worst_part() -> None:
    assert worst(["within", "undecided", "outside"]) == "outside"
    assert worst(["within", "undecided"]) == "undecided"
    assert worst(["within", "within"]) == "within"
    assert worst(["no limit"]) == "no limit"


def _judged(folder: Path, tape_sd: float) -> tuple[list[Judged], int]:
    rng = np.random.default_rng(11)
    car = make_car(rng, pairs=4)
    sheet = survey(car, rng, tapes=26, tape_sd=tape_sd, plumb=0.2)
    sheet.settings["sd"].pop("tape", None)  # the job believes in 0.5 mm
    findings = Findings()
    job, stage, readings = read_job(write_job(folder, car, unrounded(sheet)), None, findings)
    solved = adjust_stage(job, stage, readings)
    standing = stand(job, car_points(job, solved))
    assert standing is not None
    return list(standing.judged), len(solved.scaled)


def test_u95_takes_t_where_an_sd_was_estimated(tmp_path: Path) -> None:
    rough, scaled = _judged(tmp_path / "rough", 4.0)
    assert scaled == 1
    factors = {j.check.name: j.u95 / j.figure.sd for j in rough if j.figure is not None and j.u95 is not None}
    level = {name: k for name, k in factors.items() if name.endswith((".rise", ".twist"))}
    taped = {name: k for name, k in factors.items() if name not in level}
    assert len(level) == 5
    assert set(np.round(list(level.values()), 6)) == {1.959964}  # heights were as good as stated
    assert min(taped.values()) > 2.0
    assert max(taped.values()) < stdtrit(5, 0.975)
    fair, none = _judged(tmp_path / "fair", 0.5)
    assert none == 0
    assert {round(j.u95 / j.figure.sd, 6) for j in fair if j.figure is not None and j.u95 is not None} == {1.959964}
