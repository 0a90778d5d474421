"""Simulated axles moved as told: do they stand within the stated u95 of what was said?"""

from __future__ import annotations

from functools import partial

import numpy as np

from tests.benchmarks.simulated import many
from tests.setup.true_axle import Moved, moved_as_told

CARE: dict[str, dict[str, float]] = {
    "one drop of the bob, defaults": {},
    "two drops, a steady bob": {"plumb": 0.6, "drops": 2, "heights_sd": 0.5, "xyz_sd": 0.3},
}


def one(number: int, how: dict[str, float]) -> Moved | None:
    """One car of the series."""
    return moved_as_told([2026, 11, number], **how)


def table(cars: int = 300, workers: int = 2) -> list[str]:
    """Lines for a person."""
    lines = [f"axle set as told, {cars} cars each:   within u95   rms error   median u95   within the limit then"]
    for name, how in CARE.items():
        told = [each for each in many(partial(one, how=how), range(cars), workers) if each is not None]
        for figure, unit, limit in (("offset", "mm", 3.0), ("thrust", "deg", 0.2)):
            rows = np.array([getattr(each, figure) for each in told])
            error = rows[:, 0] - rows[:, 1]
            held = float(np.mean(np.abs(error) <= rows[:, 2]))
            lines.append(
                f"  {name:30} {figure:7} {100 * held:6.1f} %   {np.sqrt(np.mean(error**2)):.3f} {unit:3} "
                f"  {np.median(rows[:, 2]):.3f} {unit:3}   {100 * np.mean(np.abs(rows[:, 1]) <= limit):.1f} %"
            )
        lines.append(f"  {name:30} nothing told (axle not held): {cars - len(told)}")
    return lines


def main() -> None:
    """Print it."""
    print("\n".join(table()))


if __name__ == "__main__":
    main()
