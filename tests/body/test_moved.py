"""A section a few millimetres off does not tilt the centreline towards it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.body.judging import figures, judged, u95, value
from tests.synthetic import make_car, survey, truth

CARS = 12


@pytest.mark.parametrize("keys", [("rail4", "tail"), ("outrigger", "rail1"), ("tail",)])
def test_intervals_hold_on_a_car_with_a_section_8_mm_off(tmp_path: Path, keys: tuple[str, ...]) -> None:
    held, wrong = [], 0
    for seed in range(CARS):
        rng = np.random.default_rng([72, seed])
        car = make_car(rng, damage=dict.fromkeys(keys, (0.0, 8.0, 0.0)), axle_offset=float(rng.normal(0.0, 3.0)))
        true = truth(car)
        for name, c in figures(judged(tmp_path / str(seed), car, survey(car, rng, roll_deg=0.4))).items():
            if name.endswith(".offset") and c.limit is not None:
                held.append(abs(value(c) - true[name]) <= u95(c))
                wrong += c.verdict == ("within" if abs(true[name]) > c.limit else "outside")
    assert np.mean(held) >= 0.82
    assert wrong == 0
