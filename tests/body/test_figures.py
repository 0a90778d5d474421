"""Every figure against cars whose truth is known: value, sign, side and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from measure.body import face, rails, twist
from measure.body.axle import square
from measure.body.pairs import diagonals
from measure.result import CheckResult
from tests.body.judging import figures, in_space, judged, u95, value
from tests.synthetic import Car, make_car, truth

EXACT = 0.002
"""mm; sd of an instrument so good that every figure is as it was built."""


def built(**how: object) -> Car:
    return make_car(np.random.default_rng(0), build=0.0, **how)  # type: ignore[arg-type]


def exact(folder: Path, car: Car, **settings: object) -> dict[str, CheckResult]:
    settings.setdefault("sd", {"build": 0.05})
    return figures(judged(folder / "job", car, in_space(car, sd=EXACT), **settings))


CRASHED: Mapping[int | str, Sequence[float]] = {
    "rail4": (0.0, 6.0, 0.0),
    "tailL": (5.0, 8.0, 4.0),
    "tailR": (-5.0, 8.0, -4.0),
}


@pytest.fixture(scope="module")
def crashed(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, CheckResult], dict[str, float]]:
    """Tail and rail4 to the left, the tail skewed and twisted; axle to the right, pointing left; toe and camber."""
    car = built(
        axle_offset=-4.0, axle_yaw_deg=0.4, damage=CRASHED, faces=True, toe_deg=(0.3, -0.1), camber_deg=(0.5, -0.4)
    )
    return exact(tmp_path_factory.mktemp("crashed"), car), truth(car)


def test_every_figure_is_the_one_built_in(crashed: tuple[dict[str, CheckResult], dict[str, float]]) -> None:
    seen, true = crashed
    assert seen.keys() == true.keys()
    for name, check in seen.items():
        assert value(check) == pytest.approx(true[name], abs=0.01), name
        assert abs(value(check) - true[name]) <= 2 * u95(check) + 1e-9, name


WORDS = {
    "pair.outrigger.offset": ("", "outrigger stands 0.0 mm"),
    "pair.rail4.offset": ("left", "rail4 stands 6.0 mm to the left"),
    "pair.tail.offset": ("left", "tail stands 8.0 mm to the left"),
    "pair.tail.lead": ("left", "tail: left ahead by {:.1f} mm"),
    "pair.tail.rise": ("left", "tail: left higher by {:.1f} mm"),
    "pair.rail4.width": ("", "rail4: 800.0 mm from left to right"),
    "rails.asymmetry": ("left", "the rails stand most to one side at rail4, 2051 mm behind the first pair: "
                        "6.0 mm to the left"),
    "rails.taper": ("", "the rails stand 60.0 mm wider at the front than at the rear"),
    "axle.rear.offset": ("right", "rear axle stands 4.0 mm to the right"),
    "axle.rear.square": ("left", "rear axle is out of square by 0.40 degrees, pointing left"),
    "axle.rear.thrust": ("left", "rear axle rolls {:.2f} degrees, pointing left (mean of its two faces)"),
    "axle.rear.lead": ("right", "rear axle: right ahead by 9.5 mm"),
    "face.rear.L.toe": ("out", "rear axle, left face: {:.2f} degrees toe-out"),
    "face.rear.R.toe": ("in", "rear axle, right face: {:.2f} degrees toe-in"),
    "face.rear.L.camber": ("outward", "rear axle, left face: top leans 0.50 degrees out"),
    "face.rear.R.camber": ("inward", "rear axle, right face: top leans 0.40 degrees in"),
    "body.twist": ("left", "tail is twisted 0.65 degrees against outrigger, left side up"),
}  # fmt: skip


@pytest.mark.parametrize("name", WORDS)
def test_signs_are_said_in_words(name: str, crashed: tuple[dict[str, CheckResult], dict[str, float]]) -> None:
    seen, true = crashed
    side, words = WORDS[name]
    assert seen[name].words == words.format(abs(value(seen[name])))
    if side:
        assert seen[name].side == side
    positive = {"left", "in", "outward"}
    if side:
        assert (value(seen[name]) > 0) == (side in positive) == (true[name] > 0)


def test_every_check_has_words_and_its_limit(crashed: tuple[dict[str, CheckResult], dict[str, float]]) -> None:
    seen, _ = crashed
    limits = {"offset": 3.0, "asymmetry": 3.0, "square": 0.2, "thrust": 0.2, "yaw": 0.2}
    for name, check in seen.items():
        assert check.words, name
        assert check.limit == limits.get(name.rsplit(".", 1)[1]), name
        assert (check.verdict == "no limit") == (check.limit is None), name
        assert check.unit == ("deg" if check.words.count("degrees") else "mm"), name
    assert seen["cross.rail4.tail"].words.startswith("diagonals rail4-tail: the one from the ")
    assert seen["rail.L.angle"].words.startswith("left rail: ")
    assert " pointing " in seen["rails.yaw"].words
    assert seen["rail.L.bow"].words.startswith("left rail bows ")


def test_equal_diagonals_alone_prove_nothing(tmp_path: Path) -> None:
    """The tail stands 10 mm to the left and is skewed by just so much that its diagonals are equal."""

    def car(skew: float) -> Car:
        return built(damage={"tailL": (skew, 10.0, 0.0), "tailR": (-skew, 10.0, 0.0)})

    skew = brentq(lambda s: truth(car(s))["cross.rail4.tail"], 0.0, 60.0)
    seen = exact(tmp_path, car(skew))
    assert abs(value(seen["cross.rail4.tail"])) < 0.05
    assert "are equal, which alone proves nothing" in seen["cross.rail4.tail"].words
    assert seen["pair.tail.offset"].verdict == "outside"
    assert value(seen["pair.tail.offset"]) == pytest.approx(10.0, abs=0.02)


@pytest.mark.parametrize("lift", [6.0, -6.0])
def test_twist_is_of_the_rear_against_the_front(tmp_path: Path, lift: float) -> None:
    car = built(damage={"tailL": (0.0, 0.0, lift), "tailR": (0.0, 0.0, -lift)})
    seen = exact(tmp_path, car)["body.twist"]
    assert value(seen) == pytest.approx(np.degrees(np.arctan(lift / 350.0)), abs=0.005)
    assert seen.side == ("left" if lift > 0 else "right")
    assert seen.words.endswith(f"{'left' if lift > 0 else 'right'} side up")


def test_faces_without_axle_ends_give_the_axle(tmp_path: Path) -> None:
    car = built(axle_offset=5.0, axle_yaw_deg=-0.3, faces=True, axle=False, toe_deg=(0.2, 0.4), camber_deg=(1.0, -1.0))
    seen, true = exact(tmp_path, car), truth(car)
    for name in ("offset", "square", "thrust", "lead"):
        assert value(seen[f"axle.rear.{name}"]) == pytest.approx(true[f"axle.rear.{name}"], abs=0.01), name
    assert value(seen["axle.rear.square"]) == pytest.approx(-0.3, abs=0.005)
    assert value(seen["axle.rear.thrust"]) == pytest.approx(-0.3 + (0.4 - 0.2) / 2, abs=0.02)


def test_thrust_without_faces_says_so(tmp_path: Path) -> None:
    seen = exact(tmp_path, built(axle_yaw_deg=0.5))
    assert value(seen["axle.rear.thrust"]) == pytest.approx(value(seen["axle.rear.square"]))
    assert "its faces were not measured" in seen["axle.rear.thrust"].words


def test_a_straight_rail_need_not_be_parallel_to_the_centreline(tmp_path: Path) -> None:
    """The rails of the invented car come together at the rear: no yaw, no asymmetry, but a taper."""
    seen = exact(tmp_path, built())
    assert value(seen["rail.L.angle"]) == pytest.approx(-value(seen["rail.R.angle"]), abs=0.002)
    assert value(seen["rails.yaw"]) == pytest.approx(0.0, abs=0.002)
    assert seen["rails.asymmetry"].verdict == "within"
    assert value(seen["rails.taper"]) == pytest.approx(60.0, abs=0.02)


def test_asymmetry_is_bound_by_every_rail_pair(tmp_path: Path) -> None:
    car = built(damage={"rail2": (0.0, 1.0, 0.0), "rail3": (0.0, 0.5, 0.0)})
    free = exact(tmp_path / "free", car)
    assert free["rails.asymmetry"].verdict == "within"
    assert "at rail2" in free["rails.asymmetry"].words
    bound = exact(tmp_path / "bound", car, limits={"pair.rail3.offset": 0.1})
    assert bound["pair.rail3.offset"].verdict == "outside"
    assert bound["rails.asymmetry"].verdict == "outside"
    unsure = exact(tmp_path / "unsure", car, limits={"pair.rail3.offset": 0.5})
    assert unsure["pair.rail3.offset"].verdict == "undecided"
    assert unsure["rails.asymmetry"].verdict == "undecided"


def test_the_family_limit_gives_way_to_the_check_of_that_name(tmp_path: Path) -> None:
    seen = exact(tmp_path, built(axle_offset=4.0), limits={"offset": 1.0, "axle.rear.offset": 5.0})
    assert (seen["axle.rear.offset"].limit, seen["axle.rear.offset"].verdict) == (5.0, "within")
    assert seen["pair.tail.offset"].limit == 1.0


def points(*xyz: tuple[float, float, float]) -> np.ndarray:
    return np.array(xyz, dtype=float)


def test_pure_functions_take_many_cars_at_once() -> None:
    corners = points((800, 500, 0), (800, -500, 0), (0, 500, 0), (0, -500, 0))
    X = corners + np.random.default_rng(1).normal(0.0, 300.0, (7, 5, 4, 3))
    for function in (twist.twist, diagonals, rails.line_angle, rails.bow):
        many = function(X)
        assert many.shape == (7, 5)
        assert many[3, 2] == pytest.approx(float(function(X[3, 2])))


def test_square_by_hand() -> None:
    assert square(points((10.0, 500.0, 0.0), (-10.0, -500.0, 0.0))) == pytest.approx(-np.degrees(np.arctan(0.02)))


def test_bow_is_outward_on_both_sides() -> None:
    left = points((0.0, 400.0, 0.0), (-500.0, 407.0, 0.0), (-1000.0, 400.0, 0.0))
    assert rails.bow(left) == pytest.approx(7.0)
    assert rails.bow(left * [1.0, -1.0, 1.0]) == pytest.approx(-7.0)  # turned outward by the check


@pytest.mark.parametrize("holes", [3, 4, 5])
def test_the_circle_of_a_face_is_exact(holes: int) -> None:
    turn = np.linspace(0.0, 2.0, holes)  # holes on one side of the hub only
    circle = np.column_stack([60.0 * np.cos(turn), np.zeros(holes), 60.0 * np.sin(turn)])
    leaning = np.radians(2.0)
    R = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(leaning), -np.sin(leaning)], [0.0, np.sin(leaning), np.cos(leaning)]])
    X = circle @ R.T + [10.0, 700.0, 5.0]
    assert face.centre(X) == pytest.approx([10.0, 700.0, 5.0], abs=1e-9)
    assert face.camber(X, "L") == pytest.approx(-2.0)
