"""What no arrangement of a job may change, through the whole of check()."""

from __future__ import annotations

import copy
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from measure.result import Document
from tests.body.judging import figures, judged
from tests.synthetic import Car, Survey, make_car, survey
from tests.synthetic.survey import rotation

angle = st.floats(-180.0, 180.0)
shift = st.floats(-5000.0, 5000.0)
seed = st.integers(0, 10_000)
few = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
)


def mixed_car(number: int) -> tuple[Car, Survey]:
    """A bent car measured with everything there is: tapes, marks, heights, levels, and two instruments."""
    rng = np.random.default_rng(number)
    car = make_car(
        rng, pairs=5, axle_offset=4.0, axle_yaw_deg=0.3, damage={"tail": (0.0, 9.0, 6.0)}, faces=True,
        toe_deg=(0.2, -0.1), camber_deg=(0.5, 0.3),
    )  # fmt: skip
    faces = [n for n in car.names if n.startswith("stud")]
    sheet = survey(
        car, rng, tapes=34, roll_deg=0.6, pitch_deg=-0.4, heights=True, levels=True, marks=car.names[:8], car_tapes=4,
        xyz={"left": [*faces, *car.names[:8]], "right": [*faces, *car.names[4:12]]},
    )  # fmt: skip
    return car, sheet


def check_of(car: Car, sheet: Survey) -> Document:
    with tempfile.TemporaryDirectory() as folder:
        return judged(Path(folder) / "job", car, sheet)


def assert_same(one: Document, other: Document, within: float) -> None:
    a, b = figures(one), figures(other)
    assert list(a) == list(b)
    for name, check in a.items():
        assert b[name].value == pytest.approx(check.value, abs=within), name
        assert b[name].u95 == pytest.approx(check.u95, abs=within), name
        assert (b[name].verdict, b[name].words) == (check.verdict, check.words), name
    assert one.centreline.pairs_used == other.centreline.pairs_used
    assert one.network.sigma0 == pytest.approx(other.network.sigma0, abs=within)


@few
@given(number=seed, turn=angle, along=shift, across=shift, up=shift, lean=st.tuples(angle, angle, angle))
def test_a_rigid_move_of_the_car_changes_no_figure(
    number: int, turn: float, along: float, across: float, up: float, lean: tuple[float, float, float]
) -> None:
    car, sheet = mixed_car(number)
    moved = copy.deepcopy(sheet)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    for row in moved.marks:
        x, y = row["along"], row["across"]
        row["along"], row["across"] = float(along + c * x - s * y), float(across + s * x + c * y)
    for row in moved.heights:
        row["height"] += up
    in_space = rotation(*np.radians(lean))
    for row in moved.xyz:
        if row["setup"] == "left":
            xyz = in_space @ [row["x"], row["y"], row["z"]] + [up, along, across]
            row |= dict(zip("xyz", map(float, xyz), strict=True))
    first = check_of(car, sheet)
    assume(not first.suspects)  # a mistake is sought in each instrument's own axes: see the last test
    assert_same(first, check_of(car, moved), 1e-6)


@few
@given(number=seed, lean=st.tuples(angle, angle, angle), far=st.tuples(shift, shift, shift))
def test_an_instrument_may_stand_in_any_way(
    number: int, lean: tuple[float, float, float], far: tuple[float, float, float]
) -> None:
    rng = np.random.default_rng(number)
    car = make_car(rng, pairs=5, axle_offset=3.0, damage={"tail": (0.0, 0.0, 8.0)})
    sheet = survey(car, rng, tapes=0, heights=False, xyz={"arm": car.names}, xyz_sd=0.3)
    moved = copy.deepcopy(sheet)
    in_space = rotation(*np.radians(lean))
    for row in moved.xyz:
        row |= dict(zip("xyz", map(float, in_space @ [row[a] for a in "xyz"] + far), strict=True))
    first = check_of(car, sheet)
    assume(not first.suspects)
    assert_same(first, check_of(car, moved), 1e-6)


def mirrored(sheet: Survey) -> Survey:
    """The same car seen in a mirror: what was left is right."""
    made = copy.deepcopy(sheet)
    other = {p["name"]: p["name"][:-1] + ("R" if p["name"].endswith("L") else "L") for p in made.points}

    def twin(mark: str) -> str:
        name, hash_, drop = mark.partition("#")
        return other[name] + hash_ + drop

    for table in (made.tape, made.marks, made.heights, made.levels, made.xyz):
        for row in table:
            row |= {key: twin(row[key]) for key in ("from", "to", "point") if key in row}
            row |= {key: -row[key] for key in ("across", "y") if key in row}
    return made


SAME_SIGN = ("width", "taper", "toe", "camber", "bow")
"""Figures that count inward or outward, or not to a side at all."""


def in_the_mirror(name: str) -> tuple[str, float]:
    """The check that shows the same in the mirror, and the sign it has there."""
    parts = name.split(".")
    if parts[0] in ("face", "rail"):
        k = len(parts) - 2
        parts[k] = "R" if parts[k] == "L" else "L"
    return ".".join(parts), 1.0 if parts[-1] in SAME_SIGN else -1.0


@few
@given(number=seed)
def test_a_mirror_swaps_every_sign(number: int) -> None:
    car, sheet = mixed_car(number)
    seen, mirror = figures(check_of(car, sheet)), figures(check_of(car, mirrored(sheet)))
    assert seen.keys() == mirror.keys()
    for name, check in seen.items():
        there, sign = in_the_mirror(name)
        assert mirror[there].value == pytest.approx(sign * check.value, abs=1e-6), name
        assert mirror[there].u95 == pytest.approx(check.u95, abs=1e-6), name
        assert mirror[there].verdict == check.verdict, name
        if sign < 0 and abs(check.value or 0.0) > 0.06:
            swapped = {"left": "right", "right": "left"}
            side = " ".join(swapped.get(word, word) for word in check.side.split())
            assert mirror[there].side == side, name


@few
@given(number=seed, shuffle=st.randoms(use_true_random=False))
def test_the_order_of_the_rows_changes_nothing(number: int, shuffle: object) -> None:
    car, sheet = mixed_car(number)
    moved = copy.deepcopy(sheet)
    for table in (moved.tape, moved.marks, moved.heights, moved.levels, moved.xyz):
        shuffle.shuffle(table)  # type: ignore[attr-defined]
    assert_same(check_of(car, sheet), check_of(car, moved), 1e-9)


@few
@given(number=seed, turned=st.lists(st.booleans(), min_size=34, max_size=34))
def test_a_tape_may_be_read_from_either_end(number: int, turned: list[bool]) -> None:
    car, sheet = mixed_car(number)
    moved = copy.deepcopy(sheet)
    for row, turn in zip(moved.tape, turned, strict=False):
        if turn:
            row["from"], row["to"] = row["to"], row["from"]
    assert_same(check_of(car, sheet), check_of(car, moved), 1e-9)


@few
@given(number=seed)
def test_millimetres_and_inches_give_the_same(number: int) -> None:
    car, sheet = mixed_car(number)
    inches = copy.deepcopy(sheet)
    inches.settings["units"] = "in"
    one, other = check_of(car, sheet), check_of(car, inches)
    assert (one.units, other.units) == ("mm", "in")
    assert_same(one, other, 1e-9)
    for a, b in zip(one.points, other.points, strict=True):
        assert (a.x, a.y, a.z) == pytest.approx((b.x, b.y, b.z), abs=1e-9)


def test_which_reading_is_suspected_does_not_depend_on_how_the_instrument_stood() -> None:
    car, sheet = mixed_car(91)
    moved = copy.deepcopy(sheet)
    for row in moved.xyz:
        if row["setup"] == "left":
            xyz = rotation(0.0, 0.0, np.radians(43.0)) @ [row["x"], row["y"], row["z"]]
            row |= dict(zip("xyz", map(float, xyz), strict=True))
    one, other = check_of(car, sheet), check_of(car, moved)
    assert [s.source for s in one.suspects] == [s.source for s in other.suspects]
