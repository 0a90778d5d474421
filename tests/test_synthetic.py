"""The maker of invented cars: its noise has the sd it is named for, its truth is what was built in."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.synthetic import MISREADINGS, Survey, make_car, plant, survey, tilt, truth, write_job


def exact(rng: np.random.Generator, **how: object) -> Survey:
    """A survey without any noise."""
    none = {"plumb": 0.0, "tape_sd": 0.0, "tape_class": "none", "heights_sd": 0.0}
    return survey(make_car(rng, build=0.0), rng, **(none | how))


def test_a_car_as_designed_has_nothing_to_report() -> None:
    figures = truth(make_car(np.random.default_rng(1), build=0.0, faces=True), chart=True)
    shape = ("width", "taper", "angle", "bow")
    assert all(abs(v) < 1e-9 for name, v in figures.items() if not name.endswith(shape))
    assert figures["rails.taper"] == pytest.approx(60.0)  # 860 mm at the front, 800 at the rear
    assert figures["rail.L.angle"] == pytest.approx(-figures["rail.R.angle"])
    assert figures["rail.L.bow"] == pytest.approx(figures["rail.R.bow"])


def test_damage_is_what_the_truth_says() -> None:
    car = make_car(
        np.random.default_rng(1), build=0.0, axle_offset=5.0, axle_yaw_deg=0.45,
        damage={5: (0.0, 11.0, 0.0), "tailL": (0.0, 0.0, 8.0)},
    )  # fmt: skip
    figures = truth(car)
    assert figures["pair.rail4.offset"] == pytest.approx(11.0)
    assert figures["rails.asymmetry"] == pytest.approx(11.0)
    assert figures["pair.tail.rise"] == pytest.approx(8.0, rel=0.01)
    assert figures["body.twist"] == pytest.approx(np.degrees(np.arctan2(8.0, 700.0)), rel=0.01)
    assert figures["axle.rear.offset"] == pytest.approx(5.0)
    assert figures["axle.rear.square"] == pytest.approx(0.45, rel=1e-3)
    assert figures["axle.rear.lead"] < 0.0  # points left: its left end lies back
    assert figures["axle.rear.thrust"] == figures["axle.rear.square"]


def test_faces_have_the_toe_and_camber_they_were_given() -> None:
    car = make_car(np.random.default_rng(1), faces=True, toe_deg=(0.1, 0.2), camber_deg=(-0.5, 0.7))
    figures = truth(car)
    got = [figures[f"face.rear.{side}.{what}"] for what in ("toe", "camber") for side in "LR"]
    assert got == pytest.approx([0.1, 0.2, -0.5, 0.7], abs=0.02)  # the pitch of the midpoints mixes the two a little
    # Mean heading: the right face's toe-in points left, the left one's points right.
    assert figures["axle.rear.thrust"] == pytest.approx((0.2 - 0.1) / 2.0, abs=0.02)


@pytest.mark.parametrize("heights", [True, False])
def test_exact_readings_are_the_distances_between_the_points(heights: bool) -> None:
    rng = np.random.default_rng(2)
    car = make_car(rng, build=0.0)
    sheet = exact(rng, roll_deg=0.0, pitch_deg=0.0, heights=heights, car_tapes=20)
    assert bool(sheet.heights) is heights
    assert len(sheet.tape) == 80
    for row in sheet.tape:
        axes = 2 if row["where"] == "floor" else 3
        leg = (car.where(row["to"]) - car.where(row["from"]))[:axes]
        assert row["length"] == pytest.approx(np.linalg.norm(leg), abs=1e-9)


def test_a_roll_moves_a_high_point_sideways() -> None:
    """1 degree of roll moves a hole that is 300 mm higher by 5 mm in plan."""
    rng = np.random.default_rng(3)
    sheet = exact(rng, roll_deg=1.0, yaw_deg=0.0)
    high = (sheet.floor["outriggerL"] + sheet.floor["outriggerR"]) / 2.0
    low = (sheet.floor["crossbarL"] + sheet.floor["crossbarR"]) / 2.0
    assert (high - low)[1] == pytest.approx(-300.0 * np.sin(np.radians(1.0)))
    assert sheet.positions["tailL"][2] > sheet.positions["tailR"][2]  # + roll: left side high


def test_tilt_is_read_off_the_bodys_own_axes() -> None:
    rng = np.random.default_rng(3)
    car = make_car(rng, build=0.0)
    level, leaning = (tilt(car, survey(car, rng, roll_deg=r, pitch_deg=p)) for r, p in ((0, 0), (0.8, 0.6)))
    assert leaning[0] - level[0] == pytest.approx(0.8, abs=0.01)
    assert leaning[1] - level[1] == pytest.approx(0.6, abs=0.01)


def test_noise_has_the_sd_it_is_named_for() -> None:
    rng = np.random.default_rng(4)
    car = make_car(rng)
    sheets = [survey(car, rng, tapes=60, drops=2, tape_sd=0.4, plumb=0.8, heights_sd=1.5) for _ in range(150)]
    plumb = [
        sheet.floor[mark] - sheet.positions[mark.partition("#")[0]][:2] for sheet in sheets for mark in sheet.floor
    ]
    assert np.std(plumb) == pytest.approx(0.8, rel=0.04)
    height = [row["height"] - sheet.positions[row["point"]][2] for sheet in sheets for row in sheet.heights]
    assert np.std(height) == pytest.approx(1.5, rel=0.06)
    off, lengths, scales = [], [], []
    for sheet in sheets:
        scales.append(sheet.tape_scales[""])
        for row in sheet.tape:
            length = np.linalg.norm(sheet.floor[row["to"]] - sheet.floor[row["from"]])
            off.append(row["length"] - (1.0 + scales[-1]) * length)
            lengths.append(length)
    # class II: a = 0.3 mm joins each reading, b = 0.2 mm a metre is one scale a tape, both over root 3
    assert np.std(off) == pytest.approx(np.hypot(0.4, 0.3 / np.sqrt(3.0)), rel=0.03)
    assert np.std(scales) == pytest.approx(0.2e-3 / np.sqrt(3.0), rel=0.2)


def test_every_second_drop_is_held_by_four_long_tapes() -> None:
    rng = np.random.default_rng(5)
    sheet = survey(make_car(rng), rng, drops={"tailL": 2, "axleR": 2})
    assert len(sheet.tape) == 68
    for mark in ("tailL#2", "axleR#2"):
        rows = [row for row in sheet.tape if mark in (row["from"], row["to"])]
        assert len(rows) == 4
        assert min(row["length"] for row in rows) > 500.0


def test_leaving_a_kind_out_changes_no_other_reading() -> None:
    sheets = [
        survey(make_car(np.random.default_rng(6)), np.random.default_rng(7), heights=heights, levels=heights)
        for heights in (True, False)
    ]
    assert sheets[0].tape == sheets[1].tape


def test_axes_of_an_instrument_are_rigid() -> None:
    rng = np.random.default_rng(8)
    car = make_car(rng, faces=True)
    sheet = survey(car, rng, tapes=0, heights=False, xyz={"front": car.names[:9], "rear": car.names[6:]}, xyz_sd=0.0)
    rear = [row for row in sheet.xyz if row["setup"] == "rear"]
    for a, b in pairwise(rear):
        seen = np.linalg.norm([a[k] - b[k] for k in "xyz"])
        assert seen == pytest.approx(np.linalg.norm(car.where(a["point"]) - car.where(b["point"])))


@pytest.mark.parametrize("kind", MISREADINGS)
def test_a_planted_mistake_changes_one_row_only(kind: str) -> None:
    rng = np.random.default_rng(9)
    sheet = survey(make_car(rng), rng, round_to=0.5)
    planted = plant(sheet, kind, 26, rng)
    changed = [i for i, (a, b) in enumerate(zip(sheet.tape, planted.survey.tape, strict=True)) if a != b]
    assert changed == [26]
    assert planted.size == planted.survey.tape[26]["length"] - sheet.tape[26]["length"] != 0.0


@pytest.mark.parametrize("pairs", [2, 3, 7, 12, 50])
def test_any_number_of_pairs(pairs: int) -> None:
    rng = np.random.default_rng(10)
    car = make_car(rng, pairs=pairs)
    assert len(car.pairs()) == pairs
    assert len(set(car.names)) == 2 * pairs + 2
    assert survey(car, rng, tapes=4 * pairs + 5).tape


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_job_folder_holds_what_was_read(tmp_path: Path, units: str) -> None:
    rng = np.random.default_rng(11)
    car = make_car(rng)
    sheet = survey(car, rng, units=units, levels=True, round_to=25.4 / 16.0 if units == "in" else 0.5)
    write_job(tmp_path / "job", car, sheet, title='a "quoted" title', delimiter=";")
    names = sorted(path.relative_to(tmp_path / "job").as_posix() for path in (tmp_path / "job").rglob("*.*"))
    assert names == ["before/heights.csv", "before/levels.csv", "before/tape.csv", "job.toml", "points.csv"]
    first = (tmp_path / "job/before/tape.csv").read_text(encoding="utf-8").splitlines()[1].split(";")
    length = sheet.tape[0]["length"]
    if units == "mm":
        assert float(first[2]) == length
    else:
        whole, _, part = first[2].partition(" ")
        over, under = map(int, part.split("/")) if part else (0, 1)
        assert 25.4 * (int(whole) + over / under) == pytest.approx(length)
