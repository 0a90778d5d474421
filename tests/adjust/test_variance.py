"""Kinds that scatter more than stated are scaled, upwards only, and never the bob, a bar or a prior."""

import numpy as np
import pytest

from measure.adjust.critical import coverage_factor, normal_critical, sigma0_limits, tau_critical
from measure.adjust.stage import Solved
from measure.adjust.variance import components, scale_components
from tests.adjust.cars import adjusted
from tests.synthetic import make_car, survey

SCALABLE = {"floor": "tape", "car": "tape", "heights": "heights", "levels": "levels", "marks": "marks", "xyz": "xyz"}


def rough(seed: int, **factor: float) -> Solved:
    """Every kind in one sheet; each named kind scatters `factor` times more than stated."""
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    stated = {"tape": 0.5, "heights": 1.0, "levels": 1.0, "marks": 1.0, "xyz": 0.5, "plumb": 1.0, "bar": 0.1}
    noise = {f"{kind}_sd": sd * factor.get(kind, 1.0) for kind, sd in stated.items() if kind != "plumb"}
    sheet = survey(
        car, rng, tapes=60, drops=2 if "plumb" in factor else 1, levels=True, marks=True, xyz={"arm": car.names},
        car_tapes=6,
        bars=[("rail1L", "rail4R"), ("outriggerL", "tailR")], plumb=factor.get("plumb", 1.0), tape_class="I", **noise,  # type: ignore[arg-type]
    )  # fmt: skip
    sheet.settings["sd"] = {"tape_class": "I"}
    return adjusted(car, sheet)[1]


def ratios(solved: Solved) -> dict[str, set[float]]:
    """kind -> the factors its rows got, rounded."""
    by_kind: dict[str, set[float]] = {}
    for kind, before, after in zip(solved.final.network.kinds, solved.as_stated.sd, solved.final.sd, strict=True):
        by_kind.setdefault(kind, set()).add(round(float(after / before), 6))
    return by_kind


@pytest.mark.parametrize("kind", ["tape", "heights", "levels", "marks", "xyz"])
@pytest.mark.parametrize("seed", range(2))
def test_the_kind_that_scatters_is_the_one_that_is_scaled(kind: str, seed: int) -> None:
    solved = rough(seed, **{kind: 5.0})
    worst = max(solved.scaled, key=lambda s: s.factor)
    assert worst.kind == kind
    assert 2.5 < worst.factor < 8.0
    assert all(s.factor < 2.0 for s in solved.scaled if s.kind != kind)
    assert worst.degrees_of_freedom > 3
    for name, factors in ratios(solved).items():
        assert min(factors) >= 1.0
        if SCALABLE.get(name) not in {s.kind for s in solved.scaled}:
            assert factors == {1.0}, name
    assert ratios(solved)["plumb"] == ratios(solved)["bar"] == ratios(solved)["scale"] == {1.0}


def test_all_readings_of_a_kind_get_the_same_factor() -> None:
    solved = rough(3, tape=5.0)
    factors = ratios(solved)
    assert factors["floor"] == factors["car"] and len(factors["floor"]) == 1
    # a scaled kind then scatters as its sd says
    rows = np.isin(solved.final.network.kinds, ["floor", "car"]) & solved.final.active
    left = np.sum(solved.final.misclosure[rows] ** 2) / solved.final.redundancy[rows].sum()
    assert left == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("factor", [0.2, 1.0])
def test_a_quiet_sheet_and_one_as_stated_are_left_alone(factor: float) -> None:
    kinds = dict.fromkeys(("tape", "heights", "levels", "marks", "xyz"), factor)
    solved = rough(1, **kinds)
    assert solved.scaled == ()
    assert solved.final is solved.as_stated


def test_the_bob_is_never_scaled_however_it_swings() -> None:
    solved = rough(2, plumb=4.0)
    assert ratios(solved)["plumb"] == {1.0}


def test_scaling_starts_from_the_sd_as_stated() -> None:
    solved = rough(4, heights=5.0)
    stated = solved.as_stated.network.sd
    np.testing.assert_array_equal(solved.as_stated.sd, stated)
    again, scaled = scale_components(solved.as_stated, stated)
    np.testing.assert_allclose(again.sd, solved.final.sd)
    assert [s.kind for s in scaled] == [s.kind for s in solved.scaled]
    assert set(components(solved.final.network)) == {"tape", "heights", "levels", "marks", "xyz"}


def test_critical_values() -> None:
    assert normal_critical(1) == pytest.approx(1.959964, abs=1e-6)
    assert normal_critical(100) == pytest.approx(3.474, abs=1e-3)  # Sidak: 1 - 0.95^(1/100)
    assert tau_critical(60, 1e7) == pytest.approx(normal_critical(60), abs=1e-3)
    assert tau_critical(20, 8) < np.sqrt(8.0)  # tau cannot pass root f
    assert sigma0_limits(10) == pytest.approx((np.sqrt(0.3247), np.sqrt(2.0483)), abs=1e-4)
    assert sigma0_limits(0) == (0.0, float("inf"))
    assert coverage_factor(5.0) == pytest.approx(2.5706, abs=1e-4)
    assert coverage_factor(float("inf")) == pytest.approx(1.96, abs=1e-4)
