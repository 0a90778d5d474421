"""From a stage's readings to adjusted points: starting values, adjustment, mistakes, scatter, what is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.adjust.held import Loose, bodies, loose_parts, pieces
from measure.adjust.mistakes import Search, Suspect, find, without_gross
from measure.adjust.network import NDArrayBool, Network
from measure.adjust.solver import Adjustment, NotConvergedError, solve
from measure.adjust.starting import Start, starting_state
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
    adjustment = _first(Network(site.unknowns, blocks_of(readings, site)), start)
    search = _search(adjustment)
    offsets: list[Suspect] = []
    while search.offset_tape is not None and search.offset_tape.tape not in {s.tape for s in offsets}:
        offsets.append(search.offset_tape)
        sizes = {s.tape: s.size for s in offsets if s.tape is not None}
        site = site_of(job, stage, readings, frozenset(sizes))
        start = _start_without(sizes, site, readings)
        adjustment = _plain(Network(site.unknowns, blocks_of(readings, site)), start.state)
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
    offsets = [_as_solved(s, as_stated) for s in offsets]
    suspects = tuple(sorted([*offsets, *search.suspects], key=lambda s: -abs(s.w)))
    apart = tuple(tuple(p) for p in pieces(readings))
    return Solved(site, as_stated, final, suspects, tuple(scaled), held, tuple(loose), apart)


def _search(adjustment: Adjustment) -> Search:
    try:
        return find(adjustment)
    except NotConvergedError:
        raise ContradictionError from None


def _first(network: Network, start: Start) -> Adjustment:
    """The first adjustment: without what the starting values contradict by far, else of everything."""
    if start.floating:
        return _best_of(network, [start.state, *start.at_other_heights()])
    return without_gross(network, start.state) or _plain(network, start.state)


def _best_of(network: Network, starts: Sequence[State]) -> Adjustment:
    """The adjustment with the least misfit over several starts, the first of equals."""
    best = None
    for state in starts:
        try:
            found = solve(network, state)
        except NotConvergedError:
            continue
        if best is None or found.sum_of_squares < best.sum_of_squares * (1 - 1e-6):
            best = found
    return best or _plain(network, starts[0])


def _plain(network: Network, start: State) -> Adjustment:
    """All rows; where misread lengths keep it from converging, from a flattened start."""
    try:
        return solve(network, start)
    except NotConvergedError:
        pass
    try:
        flattened = solve(network, start, np.where(network.tested, network.sd * 30.0, network.sd))
        return solve(network, flattened.state)
    except NotConvergedError:
        raise ContradictionError from None


def _as_solved(offset: Suspect, adjustment: Adjustment) -> Suspect:
    """The common offset of a tape as the adjustment found it: what raised the suspicion was linear only."""
    u = adjustment.network.unknowns
    i = u.tapes.index(str(offset.tape))
    column = u.tape_columns[i, 1]
    size, sd = float(adjustment.state.tapes[i, 1]), float(np.sqrt(adjustment.Q[column, column]))
    return replace(offset, size=size, sd=sd, w=size / sd)


def _start_without(sizes: dict[str, float], site: Site, readings: Sequence[Reading]) -> Start:
    """Starting values anew, with the common offsets taken off: before, they had bent the whole arrangement."""

    def freed(reading: Reading) -> Reading:
        if reading.kind not in ("floor", "car") or reading.via not in sizes:
            return reading
        return replace(reading, values=(max(reading.values[0] - sizes[reading.via], 1.0),))

    start = starting_state(site, [freed(reading) for reading in readings])
    tapes = start.state.tapes.copy()
    for name, size in sizes.items():
        tapes[site.unknowns.tapes.index(name), 1] = size
    return replace(start, state=replace(start.state, tapes=tapes))


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
