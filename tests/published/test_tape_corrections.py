"""Temperature, pull and sag of a steel tape against worked examples.

Source: public lecture slides "Taping Corrections" (course on plane surveying), which print every result
below; the formulas also in J. Mahun's open-access surveying library, chapter "Taping". US units as printed:
the test converts, so that it checks the units too. Tolerance: half a unit of the last printed digit.
"""

import numpy as np
import pytest

from calib.tape_corrections import (
    ALPHA_STEEL,
    pull_correction,
    sag_correction,
    temperature_correction,
)

FOOT = 304.8  # mm
INCH = 25.4  # mm
POUND = 4.4482216152605  # N
HALF_DIGIT = 0.005  # ft


def test_temperature() -> None:
    correction = temperature_correction(368.50 * FOOT, 22.0, 68.0, alpha=6.5e-6) / FOOT
    assert correction == pytest.approx(-0.11, abs=HALF_DIGIT)
    assert correction == pytest.approx(-0.1101815, abs=1e-9)
    assert 368.50 + correction == pytest.approx(368.39, abs=HALF_DIGIT)


def test_the_coefficient_per_degree_fahrenheit_is_that_of_steel() -> None:
    per_fahrenheit = 6.45e-6  # as textbooks round it, to 0.05
    assert pytest.approx(per_fahrenheit, abs=0.025e-6) == ALPHA_STEEL * 5.0 / 9.0


@pytest.mark.parametrize(
    ("spans_ft", "pull_lb", "published_ft", "computed_ft"),
    [
        ([100.0, 100.0, 100.0, 48.75], 12.0, -0.71, -0.706838026),
        ([100.0, 100.0, 100.0, 48.75], 18.0, -0.31, -0.314150234),
        ([50.0] * 6 + [48.75], 12.0, -0.20, -0.196421360),
    ],
)
def test_sag(spans_ft: list[float], pull_lb: float, published_ft: float, computed_ft: float) -> None:
    weight = 0.028 * POUND / (FOOT / 1000.0)  # 2.8 lb for 100 ft, in N per m
    spans = np.array(spans_ft) * FOOT
    correction = sag_correction(spans, weight, pull_lb * POUND).sum() / FOOT
    assert correction == pytest.approx(published_ft, abs=HALF_DIGIT)
    assert correction == pytest.approx(computed_ft, abs=1e-8)


def test_pull() -> None:
    correction = pull_correction(
        100.0 * FOOT,
        18.0 * POUND,
        12.0 * POUND,
        0.015 * INCH**2,
        modulus=29_000_000.0 * POUND / INCH**2,
    )
    assert correction / FOOT == pytest.approx(0.0014, abs=0.00005)
    assert correction / FOOT == pytest.approx(0.001379310, abs=1e-9)


def test_a_tape_as_warm_as_the_body_needs_no_correction() -> None:
    assert temperature_correction(2500.0, 31.0, 31.0) == 0.0


def test_corrected_readings_give_back_the_length() -> None:
    """A tape 15 K warmer than the body and pulled 30 N harder than standard, and the body at 20 deg C."""
    length, area = np.array([400.0, 2500.0]), 2.0
    stretch = ALPHA_STEEL * 15.0 + 30.0 / (area * 2.0e5)
    reading = length / (1.0 + stretch)
    fixed = reading + temperature_correction(reading, 35.0, 20.0) + pull_correction(reading, 80.0, 50.0, area)
    np.testing.assert_allclose(fixed, length, atol=1e-3)


def test_a_hanging_tape_reads_long_by_its_arc() -> None:
    """Against the arc of a parabola of the same sag, by its exact length."""
    span, weight, pull = 2500.0, 0.5, 10.0
    drop = weight / 1000.0 * span**2 / (8.0 * pull)
    k = 4.0 * drop / span
    arc = span / 2.0 * (np.sqrt(1.0 + k**2) + np.arcsinh(k) / k)
    assert sag_correction(span, weight, pull) == pytest.approx(span - arc, rel=0.01)


def test_shapes_broadcast() -> None:
    lengths = np.array([[1000.0], [2000.0]])
    assert temperature_correction(lengths, np.array([20.0, 25.0, 30.0]), 20.0).shape == (2, 3)
