"""Which floor tapes a person would run: bracing first, then long ones, then those to second drops."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np

from tests.synthetic.car import Car

Leg = tuple[str, str]


def tape_plan(car: Car, rng: np.random.Generator, tapes: int, marks: list[str]) -> list[Leg]:
    """`tapes` legs between first drops, then four for every second drop (NAME#2) in `marks`.

    The first legs hold every point in plan; the others are drawn from what is left. All different. ValueError
    where `tapes` are too few to hold the car or more than there are pairs of points.
    """
    first = [mark for mark in marks if "#" not in mark]
    core = [leg for leg in _core(car) if set(leg) <= set(first)]
    rest = [leg for leg in _legs(first) if leg not in core and leg[::-1] not in core]
    if not len(core) <= tapes <= len(core) + len(rest):
        raise ValueError(f"{tapes} tapes: this car takes {len(core)} to {len(core) + len(rest)}")
    chosen = sorted(rng.choice(len(rest), size=tapes - len(core), replace=False)) if rest else []
    again = [leg for mark in marks if "#" in mark for leg in _to_second_drop(car, mark, first)]
    return core + [rest[i] for i in chosen] + again


def _legs(marks: list[str]) -> list[Leg]:
    return list(combinations(marks, 2))


def _core(car: Car) -> list[Leg]:
    """Width of each pair, both diagonals and the left side to the next; axle ends to the pairs around."""
    pairs = [(car.names[i], car.names[j]) for _, i, j in car.pairs()]
    legs: list[Leg] = [pairs[0]] if pairs else []
    for (front_l, front_r), (rear_l, rear_r) in pairwise(pairs):
        legs += [(rear_l, rear_r), (front_l, rear_r), (front_r, rear_l), (front_l, rear_l)]
    ends = [car.names[i] for side in "LR" for i in car.part("axle:rear", side)]
    station = {name: car.design[car.idx(name), 0] for name in car.names}
    for end in ends:
        ahead = [pair for pair in pairs if station[pair[0]] > station[end] + 300.0] or pairs
        legs += [(ahead[-1][0], end), (ahead[-1][1], end), (pairs[-1][0], end), (pairs[-1][1], end)]
    return legs


def _to_second_drop(car: Car, mark: str, first: list[str]) -> list[Leg]:
    """Four long tapes in different directions. None from mark to mark: 2 mm are no length for a tape."""
    name = mark.partition("#")[0]
    here = car.design[car.idx(name), :2]
    others = [other for other in first if other != name]
    leg = np.array([car.design[car.idx(other), :2] - here for other in others])
    length = np.linalg.norm(leg, axis=1)
    direction = np.degrees(np.arctan2(leg[:, 1], leg[:, 0]))
    chosen: list[int] = []
    # Farthest first, each at least 20 degrees (as a line) from those before: they cross well.
    for apart in (20.0, 5.0, 0.0):
        for k in np.argsort(-length, kind="stable"):
            turn = [abs((direction[k] - direction[c] + 90.0) % 180.0 - 90.0) for c in chosen]
            if len(chosen) < 4 and k not in chosen and all(t >= apart for t in turn):
                chosen.append(int(k))
    return [(others[k], mark) for k in chosen]
