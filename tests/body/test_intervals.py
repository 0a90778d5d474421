"""Over many invented cars: the 95 % intervals of everything a shop acts on hold what they say."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.body.judging import figures, judged, u95, value
from tests.synthetic import make_car, survey, truth

CARS = 60


def test_intervals_hold_what_they_say(tmp_path: Path) -> None:
    """Factory scatter, bob, tape and its scale, heights, a lean up to 1 degree; the axle anywhere."""
    held: dict[str, list[bool]] = {"axle": [], "thrust": [], "pair": []}
    for number in range(CARS):
        rng = np.random.default_rng([21, number])
        car = make_car(rng, axle_offset=float(rng.normal(0.0, 5.0)), axle_yaw_deg=float(rng.normal(0.0, 0.3)))
        roll, pitch = rng.uniform(-1.0, 1.0, 2)
        sheet = survey(car, rng, tapes=60, roll_deg=float(roll), pitch_deg=float(pitch))
        seen, true = figures(judged(tmp_path / str(number), car, sheet)), truth(car)
        for name, check in seen.items():
            kind = "thrust" if name.endswith(".thrust") else name.split(".")[0] if name.endswith(".offset") else ""
            if kind:
                held[kind].append(abs(value(check) - true[name]) <= u95(check))
    together = [inside for each in held.values() for inside in each]
    assert len(together) == CARS * 9
    assert 0.90 <= np.mean(together) <= 0.985
    assert all(np.mean(each) >= 0.86 for each in held.values()), {k: np.mean(v) for k, v in held.items()}
