"""From a stage's readings to adjusted points: starting values, adjustment, mistakes, scatter, what is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.adjust.held import Loose, bodies, loose_parts, pieces
from measure.adjust.mistakes import Search, Suspect, find, without_gross
from measure.adjust.network import NDArrayBool, Network
from measure.adjust.solver import Adjustment, NotConvergedError, solve
from measure.adjust.starting import starting_state
from measure.adjust.variance import Scaled, scale_components
from measure.job import Job
from measure.readings.kind import Site
from measure.readings.reading import Reading
from measure.readings.stage import blocks_of, site_of
from measure.readings.unknowns import State


class ContradictionError(Exception):
    """No arrangement of the points comes near the readings."""


@dataclass(frozen=True)
class Solved:
    """An adjusted stage.

    `as_stated` has the suspects set aside and every sd as written; `final` may have some kinds' sd raised
    (`scaled`). `held` (points,) marks the one rigid body that the car's figures may be taken from.
    """

    site: Site
    as_stated: Adjustment
    final: Adjustment
    suspects: tuple[Suspect, ...]
    scaled: tuple[Scaled, ...]
    held: NDArrayBool
    loose: tuple[Loose, ...]
    pieces: tuple[tuple[str, ...], ...]


def adjust_stage(job: Job, stage: str, readings: Sequence[Reading]) -> Solved:
    """Adjust one stage. Raises ContradictionError where no solution is found."""
    site = site_of(job, stage, readings)
    start = starting_state(site, readings)
    adjustment = _first(Network(site.unknowns, blocks_of(readings, site)), start.state)
    search = _search(adjustment)
    offsets: list[Suspect] = []
    while search.offset_tape is not None:
        offsets.append(search.offset_tape)
        tapes = frozenset(s.tape for s in offsets if s.tape is not None)
        site = site_of(job, stage, readings, tapes)
        state = _carried(adjustment.state, site)
        adjustment = _first(Network(site.unknowns, blocks_of(readings, site)), state)
        search = _search(adjustment)
    as_stated = search.adjustment
    final, scaled = scale_components(as_stated, as_stated.network.sd)
    found = bodies(final)
    held = np.zeros(len(site.unknowns.points), dtype=bool)
    held[found[0] if found else []] = True
    loose = loose_parts(final, found) if len(found) > 1 else []
    for part in start.either_way:
        if not held[[site.unknowns.point_idx[name] for name in part]].any():
            continue  # loose anyway
        held[[site.unknowns.point_idx[name] for name in part]] = False
        loose.append(Loose(part, "to its mirror image", _settles_mirror(final, part)))
    suspects = tuple(sorted([*offsets, *search.suspects], key=lambda s: -abs(s.w)))
    apart = tuple(tuple(p) for p in pieces(readings))
    return Solved(site, as_stated, final, suspects, tuple(scaled), held, tuple(loose), apart)


def _search(adjustment: Adjustment) -> Search:
    try:
        return find(adjustment)
    except NotConvergedError:
        raise ContradictionError from None


def _first(network: Network, start: State) -> Adjustment:
    """The plain adjustment, without what is far off; where it does not converge, from a flattened start."""
    rest = without_gross(network, start)
    if rest is not None:
        return rest
    try:
        return solve(network, start)
    except NotConvergedError:
        pass
    try:
        flattened = solve(network, start, np.where(network.tested, network.sd * 30.0, network.sd))
        return solve(network, flattened.state)
    except NotConvergedError:
        raise ContradictionError from None


def _carried(state: State, site: Site) -> State:
    """The same positions for a site with further unknowns of its tapes."""
    return State(site.unknowns, state.positions, state.marks, state.tapes, state.rotations, state.origins)


def _settles_mirror(adjustment: Adjustment, part: tuple[str, ...]) -> tuple[str, ...]:
    """One tape to the point farthest from the part tells the two images apart."""
    u = adjustment.network.unknowns
    xy = adjustment.state.positions[:, :2]
    mine = u.point_idx[part[0]]
    others = [i for i, name in enumerate(u.points) if name not in part]
    if not others:
        return ()
    far = max(others, key=lambda i: (float(np.linalg.norm(xy[i] - xy[mine])), -i))
    return (f"floor tape {part[0]} to {u.points[far]}",)
