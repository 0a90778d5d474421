"""The guarded decision against the probability that the figure conforms.

JCGM 106:2012, "The role of measurement uncertainty in conformity assessment", 7.3.3 Examples 1 and 2, 7.4 (inputs of
7.4 read in a public article, metrologyrules.com; those of 7.3.3 and the printed results from memory), 8.3.2 and 8.3.3;
ISO 14253-1:2017 (default 95 %; its factor 1.65 from memory). p = Phi((upper - y)/u) - Phi((lower - y)/u).
"""

from __future__ import annotations

from math import erf, inf, sqrt

import pytest

from measure.adjust.critical import K95
from measure.body.verdict import Verdict, judge

GUARD_BANDS = [  # probability of conformity at the acceptance limit, guard band / standard uncertainty
    (0.80, 0.841621),
    (0.90, 1.281552),
    (0.95, 1.644854),
    (0.975, 1.959964),
    (0.99, 2.326348),
]
EXAMPLES = [  # y, u, lower, upper, printed p, computed p, verdict under a guard of 1.96 u
    (13.6, 1.8, 12.5, 16.3, 0.66, 0.6626297865, "undecided"),  # 7.4, kinematic viscosity, mm2/s
    (-5.47, 0.05, -inf, -5.40, 0.92, 0.9192433408, "undecided"),  # 7.3.3 Ex 1, breakdown voltage, V
    (509.7, 8.6, 490.0, inf, 0.99, 0.9890095474, "within"),  # 7.3.3 Ex 2, bursting strength, kPa
]
FAR = 1e6
"""Stands for a limit that is not there."""


def phi(z: float) -> float:
    return 0.5 * (1 + erf(z / sqrt(2)))


def conforms(y: float, u: float, lower: float, upper: float) -> float:
    return phi((upper - y) / u) - phi((lower - y) / u)


def judged(y: float, u95: float, lower: float, upper: float) -> Verdict:
    """Limits anywhere, as a distance from their middle."""
    low, high = max(lower, -FAR), min(upper, FAR)
    return judge(y - (low + high) / 2, u95, (high - low) / 2)


@pytest.mark.parametrize(("y", "u", "lower", "upper", "printed", "computed", "verdict"), EXAMPLES)
def test_examples(
    y: float, u: float, lower: float, upper: float, printed: float, computed: float, verdict: str
) -> None:
    p = conforms(y, u, lower, upper)
    assert p == pytest.approx(printed, abs=0.005)
    assert p == pytest.approx(computed, abs=1e-10)
    assert judged(y, K95 * u, lower, upper) == verdict
    # a guarded acceptance is one that is probable enough
    assert (p >= 0.975) == (verdict == "within")


@pytest.mark.parametrize(("p", "factor"), GUARD_BANDS)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_at_the_acceptance_limit_the_probability_is_the_tabled_one(p: float, factor: float, side: float) -> None:
    limit, u = 3.0, 0.2  # so that the far limit plays no part
    guard = factor * u
    at_limit = side * (limit - guard)
    assert conforms(at_limit, u, -limit, limit) == pytest.approx(p, abs=1e-6)
    assert judge(at_limit - side * 1e-9, guard, limit) == "within"
    assert judge(at_limit + side * 1e-9, guard, limit) == "undecided"


@pytest.mark.parametrize(("p", "factor"), GUARD_BANDS)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_at_the_rejection_limit_it_is_the_rest(p: float, factor: float, side: float) -> None:
    limit, u = 3.0, 0.2
    guard = factor * u
    at_limit = side * (limit + guard)
    assert conforms(at_limit, u, -limit, limit) == pytest.approx(1 - p, abs=1e-6)
    assert judge(at_limit + side * 1e-9, guard, limit) == "outside"
    assert judge(at_limit - side * 1e-9, guard, limit) == "undecided"


def test_the_guard_is_the_full_expanded_uncertainty() -> None:
    """k = 1.96, p = 97.5 % at the limit: stricter than the 95 % of ISO 14253-1, whose factor is 1.65 (p = 95.05 %)."""
    assert pytest.approx(1.959964, abs=5e-7) == K95
    assert phi(K95) == pytest.approx(0.975, abs=1e-12)
    assert phi(1.65) == pytest.approx(0.9505, abs=5e-5)
    u = 0.2
    between = 3.0 - 1.8 * u  # accepted there, not here
    assert judge(between, 1.65 * u, 3.0) == "within"
    assert judge(between, K95 * u, 3.0) == "undecided"


@pytest.mark.parametrize("u", [0.1, 0.8, 1.5])
def test_no_wide_uncertainty_buys_an_acceptance(u: float) -> None:
    """Two limits that both count: what is within conforms with 95 % or more, what is outside with 2.5 % or less."""
    for step in range(-80, 81):
        y = step / 10
        verdict, p = judge(y, K95 * u, 3.0), conforms(y, u, -3.0, 3.0)
        assert verdict != "within" or p >= 0.95
        assert verdict != "outside" or p <= 0.025
