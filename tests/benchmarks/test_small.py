"""Small versions of the benchmarks: that they run, and that their figures are not far off. No clock is asserted on."""

from __future__ import annotations

import sys

import pytest

from tests.benchmarks import __main__ as printed
from tests.benchmarks import coverage, growth, sheets, start_up


def test_most_intervals_hold_the_truth() -> None:
    cars = coverage.run(20, workers=1)
    for family in ("axle.rear.offset", "axle.rear.thrust"):
        assert cars.families[family].held >= 0.75, family
    assert 0.88 <= cars.families["pair offsets"].held <= 1.0
    assert 0.90 <= cars.families["all figures"].held <= 0.99
    assert cars.families["axle.rear.thrust"].u95.mean() < 0.15
    assert cars.families["axle.rear.offset"].u95.mean() < 2.0
    assert cars.suspected <= 0.3


def test_most_mistakes_are_found() -> None:
    found = sheets.run(12, workers=1)
    assert found.clean >= 0.75
    assert found.first >= 0.75
    assert found.both >= 0.6
    assert found.first_alone <= found.first
    assert found.both_alone <= found.both


@pytest.mark.parametrize("pairs", [False, True])
def test_memory_does_not_run_away(pairs: bool) -> None:
    few, many = (growth.measure(n, pairs=pairs) for n in (20, 100))
    assert (few.tapes, many.tapes) == (200, 1000)
    assert few.loose == many.loose == 0
    assert 0.8 < many.sigma0 < 1.2
    assert many.megabytes < 3 * few.megabytes


def test_a_ratio_is_of_two_commands_of_one_run() -> None:
    ratio, ours, theirs = start_up.ratio([sys.executable, "-c", "0"], [sys.executable, "-c", "0"], runs=1)
    assert ratio == pytest.approx(ours / theirs)
    with pytest.raises(RuntimeError, match="ValueError"):
        start_up.ratio([sys.executable, "-c", "raise ValueError"], [sys.executable, "-c", "0"], runs=1)


def test_an_exponent_is_a_slope_in_logarithms() -> None:
    assert growth.exponent([10, 100, 1000], [2.0, 20.0, 200.0]) == pytest.approx(1.0)


def test_what_is_unknown_is_refused(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["benchmarks", "speed"])
    with pytest.raises(SystemExit):
        printed.main()
    assert "there is no speed" in capsys.readouterr().err
