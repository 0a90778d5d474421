"""Small versions of each benchmark: that they run, and that what they measure is not far off. No clock is judged."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.benchmarks.coverage import coverage
from tests.benchmarks.growth import exponent, grow
from tests.benchmarks.mistakes import mistakes
from tests.benchmarks.speed import help_command


def test_intervals_hold_and_are_as_narrow_as_promised() -> None:
    by_figure = {c.figure: c for c in coverage(60, processes=1)}
    assert by_figure["axle.rear.offset"].held >= 0.85
    assert by_figure["axle.rear.thrust"].held >= 0.85
    assert 0.91 <= by_figure["pair offsets"].held <= 0.985
    assert by_figure["axle.rear.thrust"].u95_most <= 0.14
    assert by_figure["axle.rear.offset"].u95_most <= 2.0


def test_mistakes_are_found() -> None:
    found = mistakes(30, processes=1)
    assert found.clean >= 0.85
    assert found.first >= 0.85
    assert found.both >= 0.7


def test_a_grid_grows_and_stays_sound(tmp_path: Path) -> None:
    sizes = grow(tmp_path, (10, 40))
    assert [s.points for s in sizes] == [10, 40]
    assert all(s.defect == 3 and 0.6 < s.sigma0 < 1.4 for s in sizes)
    assert np.isfinite(exponent(sizes))


def test_a_ratio_comes_out() -> None:
    ratio, own, other = help_command(runs=1)
    assert ratio == own / other > 0
