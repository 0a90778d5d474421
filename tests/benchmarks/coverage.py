"""How many 95 % intervals of simulated straight cars hold the truth, and how wide they are at most."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from math import sqrt

import numpy as np

from tests.benchmarks.simulated import judged, many, measured_car
from tests.synthetic import truth

FAMILIES = ("axle.rear.offset", "axle.rear.thrust", "pair offsets", "all figures")


@dataclass(frozen=True)
class Coverage:
    """Figures (cars, per car) of one family: error and u95, each in the figure's own unit."""

    name: str
    errors: np.ndarray
    u95: np.ndarray

    @property
    def held(self) -> float:
        """Share of the intervals that hold the truth."""
        return float(np.mean(np.abs(self.errors) <= self.u95))

    @property
    def held_sd(self) -> float:
        """Standard error of that share over cars: the figures of one car are not independent."""
        return float(np.std(np.mean(np.abs(self.errors) <= self.u95, axis=1), ddof=1) / sqrt(len(self.errors)))

    @property
    def widest(self) -> float:
        return float(self.u95.max())


@dataclass(frozen=True)
class Cars:
    families: dict[str, Coverage]
    suspected: float  # share of cars with any suspect, of whom none has a mistake
    set_aside: float  # share of cars of whom a pair was set aside
    ambiguous: float


def one(seed: int, first: int) -> tuple[dict[str, tuple[float, float]], bool, bool, bool]:
    """(check -> (error, u95), any suspect, any pair set aside, ambiguous) of one car."""
    car, sheet = measured_car(np.random.default_rng([first, seed]))
    doc, true = judged(car, sheet), truth(car)
    found = {c.name: (c.value - true[c.name], c.u95) for c in doc.checks if c.name in true and c.u95 is not None}
    return found, bool(doc.suspects), bool(doc.centreline.pairs_set_aside), doc.centreline.ambiguous  # type: ignore[return-value]


def run(cars: int, workers: int = 2, first: int = 2026) -> Cars:
    """Simulate `cars` cars."""
    made = many(partial(one, first=first), range(cars), workers)
    names = sorted(set.intersection(*(set(figures) for figures, *_ in made)))
    groups = {family: [n for n in names if n == family] for family in FAMILIES[:2]}
    groups["pair offsets"] = [n for n in names if n.startswith("pair.") and n.endswith(".offset")]
    groups["all figures"] = [n for n in names if n != "rails.asymmetry"]  # the worst of several is not one figure
    families = {}
    for family, members in groups.items():
        table = np.array([[figures[n] for n in members] for figures, *_ in made])
        families[family] = Coverage(family, table[..., 0], table[..., 1])
    suspected, aside, ambiguous = (float(np.mean([m[k] for m in made])) for k in (1, 2, 3))
    return Cars(families, suspected, aside, ambiguous)


def table(cars: int, workers: int = 2) -> list[str]:
    """Lines to print."""
    made = run(cars, workers)
    lines = [f"{cars} simulated straight cars, seven pairs, 64 floor tapes as the sheet asks, single drops, heights"]
    for name, c in made.families.items():
        unit = {"axle.rear.thrust": "deg", "all figures": ""}.get(name, "mm")
        width = "" if name == "all figures" else f", u95 at most {c.widest:.3f} {unit}, mean {c.u95.mean():.3f}"
        lines.append(f"  {name:18s} 95 % intervals held {100 * c.held:5.1f} % (+- {100 * c.held_sd:.1f}){width}")
    lines.append(
        f"  cars with a suspect {100 * made.suspected:.1f} %, with a pair set aside {100 * made.set_aside:.1f} %, "
        f"ambiguous {100 * made.ambiguous:.1f} %"
    )
    return lines
