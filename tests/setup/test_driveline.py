"""The driveline of an invented car: angles as built, judged by their region, and words for what is missing."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from measure.cli import main
from measure.setup.driveline import driveline_document
from measure.setup.driveline_result import DrivelineResult, exit_status
from measure.setup.joints import bend, chain, fluctuation, ripple_vector
from tests.make_axle_car import SETTINGS, axle_car, measured, write
from tests.synthetic import Car, car_from_design

CAREFUL = {"plumb": 0.4, "heights_sd": 0.4, "xyz_sd": 0.3}
LINES = (("pulley", "flange"), ("shaftfront", "shaftrear"), ("pinionnose", "pinionback"))


def raised(car: Car, **up: float) -> Car:
    """The car with some points higher by so much."""
    for name, by in up.items():
        car.points[car.idx(name)] += np.array([0.0, 0.0, by])
    return car


def job(folder: Path, car: Car, seed: int = 7, settings: str = SETTINGS, **how: float) -> Path:
    return write(folder, measured(car, np.random.default_rng(seed), **(CAREFUL | how)), "a car", settings)


def only(folder: Path) -> DrivelineResult:
    (line,) = driveline_document(folder).drivelines
    return line


def built(car: Car) -> tuple[list[float], float]:
    """True working angles and per cent of ripple, yokes in line."""
    p = {name: car.where(name) @ car_from_design(car).T for ends in LINES for name in ends}
    shafts = np.array([(p[a] - p[b]) / np.linalg.norm(p[a] - p[b]) for a, b in LINES])
    left = float(np.linalg.norm(ripple_vector(chain(shafts, [0.0]))))
    return [float(np.linalg.norm(bend(a, b))) for a, b in pairwise(shafts)], 100 * fluctuation(left)


def test_bends_and_ripple_hold_the_truth(tmp_path: Path) -> None:
    held: list[bool] = []
    for number in range(20):
        rng = np.random.default_rng([71, number])
        car = raised(axle_car(rng, offset=2.0), shaftrear=float(rng.normal(0, 15)), pinionback=float(rng.normal(0, 10)))
        line = only(job(tmp_path / str(number), car, seed=100 + number, xyz_sd=0.6))
        angles, ripple = built(car)
        held += [j.least <= true <= j.greatest for j, true in zip(line.joints, angles, strict=True)]
        assert line.ripple is not None
        held.append(ripple <= line.ripple.could_be)
        assert all(j.least <= j.angle <= j.greatest for j in line.joints)
    assert np.mean(held) >= 0.92, np.mean(held)  # the region of two parts is a little wide for one length


def test_side_and_plan_and_the_car_s_line(tmp_path: Path) -> None:
    """Signs in words: the engine down to the rear, the axle's end of the shaft to the left when the axle sits left."""
    car = axle_car(np.random.default_rng(5), build=0.0, offset=20.0)
    line = only(job(tmp_path / "a", car, xyz_sd=0.01, plumb=0.01, heights_sd=0.01))
    p = {name: car.where(name) for ends in LINES for name in ends}  # it stands level
    for shown, (front, rear) in zip(line.lines, LINES, strict=True):
        d = p[front] - p[rear]
        assert shown.drop == pytest.approx(np.degrees(np.arctan2(d[2], d[0])), abs=0.02)
        assert shown.left == pytest.approx(np.degrees(np.arctan2(-d[1], d[0])), abs=0.02)
    assert line.engine is not None and line.engine.value == pytest.approx(3.0, abs=0.02)
    assert "against level" in line.engine.words
    assert "down to the rear" in line.lines[0].words and "to the left to the rear" in line.lines[1].words
    angles, ripple = built(car)
    assert [j.angle for j in line.joints] == pytest.approx(angles, abs=0.02)
    assert line.ripple is not None and line.ripple.percent == pytest.approx(ripple, abs=0.01)


def test_a_joint_bent_too_far_and_yokes_out_of_phase(tmp_path: Path) -> None:
    bent = raised(axle_car(np.random.default_rng(5)), shaftrear=-110.0, pinionnose=-110.0, pinionback=-110.0)
    line = only(job(tmp_path / "a", bent))
    assert [j.verdict for j in line.joints] == ["outside", "outside"] and "bend too far" in line.words
    assert line.ripple is not None and line.ripple.verdict == "within"
    turned = only(job(tmp_path / "b", bent, settings=SETTINGS.replace("phase = 0", "phase = 90")))
    assert turned.ripple is not None and turned.ripple.verdict == "outside"
    assert turned.ripple.percent > 5 * line.ripple.percent
    assert exit_status(driveline_document(tmp_path / "b")) == 1


def test_three_points_on_a_line_show_one_that_is_off(tmp_path: Path) -> None:
    folder = job(tmp_path / "a", raised(axle_car(np.random.default_rng(5)), shocktopL=0.0))
    points = folder / "points.csv"
    points.write_text(points.read_text().replace("shocktopL,L,shock:rear", "shocktopL,C,crank"))
    doc = driveline_document(folder)
    assert any("off the crank line" in note for note in doc.notes)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("flange,C,crank", "flange,C,", "two or more points"),
        ("shaft:rear", "shaft:raer", "did you mean"),
        ("flange,C,crank", "flange,C,cranck", 'did you mean "crank"'),
        ("shocklowL,L,shock:rear", "shocklowL,C,pinion:rear", None),
    ],
)
def test_bad_input_is_told_plainly(tmp_path: Path, old: str, new: str, told: str | None) -> None:
    folder = job(tmp_path / "a", axle_car(np.random.default_rng(5)))
    points = folder / "points.csv"
    assert old in points.read_text()
    points.write_text(points.read_text().replace(old, new))
    run = CliRunner().invoke(main, ["driveline", str(folder)])
    assert told is None or (run.exit_code == 2 and told in run.output), run.output
    assert "Traceback" not in run.output


def test_points_that_lie_across_are_no_shaft(tmp_path: Path) -> None:
    folder = job(tmp_path / "a", axle_car(np.random.default_rng(5)))
    points = folder / "points.csv"
    text = points.read_text().replace("pulley,C,crank", "pulley,C,").replace("flange,C,crank", "flange,C,")
    points.write_text(text.replace("shocktopL,L,shock:rear", "shocktopL,C,crank").replace(
        "shocktopR,R,shock:rear", "shocktopR,C,crank"))  # fmt: skip
    run = CliRunner().invoke(main, ["driveline", str(folder)])
    assert run.exit_code == 2 and "no crank line" in run.output, run.output


def test_points_not_held_are_undecided(tmp_path: Path) -> None:
    folder = job(tmp_path / "a", axle_car(np.random.default_rng(5)))
    xyz = folder / "before" / "xyz.csv"
    xyz.write_text("\n".join(x for x in xyz.read_text().splitlines() if ",pulley," not in x) + "\n")
    run = CliRunner().invoke(main, ["driveline", str(folder), "--json"])
    assert run.exit_code == 3, run.output
    assert json.loads(run.output)["drivelines"][0]["not_held"] == ["pulley"]


def test_a_car_without_a_driveline_is_told_what_to_measure(tmp_path: Path) -> None:
    run = CliRunner().invoke(main, ["driveline", "sample_data/straight_saloon"])
    assert run.exit_code == 2 and "shaft:NAME" in run.output
