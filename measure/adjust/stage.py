"""From a stage's readings to adjusted points: starting values, adjustment, mistakes, scatter, what is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.adjust.held import Loose, bodies, loose_parts, pieces
from measure.adjust.mistakes import Search, Suspect, find, without_gross
from measure.adjust.network import NDArrayBool, Network
from measure.adjust.plans import APART
from measure.adjust.rises import rises_held
from measure.adjust.solver import Adjustment, NotConvergedError, solve
from measure.adjust.starting import Start, starting_state
from measure.adjust.variance import Scaled, scale_components
from measure.job import Job
from measure.readings.kind import Site
from measure.readings.reading import Reading
from measure.readings.stage import blocks_of, site_of
from measure.readings.unknowns import Array, Index, State
from measure.rigid_fit import rigid_fit

RIVAL = 6.0
"""Arrangements are rivals while their misfits differ by less: a likelihood ratio of 20 to 1."""
MISREAD = 30.0
"""Square of a standardised misfit from which a reading counts as misread."""
ASTRAY = MISREAD / 4
"""What one point of the score by sides and order weighs: a twin on the wrong side, four points, is as unlikely as a
misread length. Weighing more, a side entered wrongly would outweigh the length that shows it."""
ELSEWHERE = 3.0
"""mm beyond which a point stands elsewhere in an arrangement that is another one."""
HOPELESS = 8 * MISREAD
"""Misfit beyond the best from which mistakes are not looked for."""


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
    adjustment, rivals = _first(Network(site.unknowns, blocks_of(readings, site)), start)
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
    elsewhere = [part for rival in rivals if (part := _elsewhere(as_stated, rival, held, site.level_sets))]
    for part in dict.fromkeys([*start.either_way, *elsewhere]):
        if not held[[site.unknowns.point_idx[name] for name in part]].any():
            continue  # loose anyway
        held[[site.unknowns.point_idx[name] for name in part]] = False
        loose.append(Loose(part, "its mirror image fits as well", _settles_mirror(final, part)))
    offsets = [_as_solved(s, as_stated) for s in offsets]
    suspects = tuple(sorted([*offsets, *search.suspects], key=lambda s: -abs(s.w)))
    apart = tuple(tuple(p) for p in pieces(readings))
    return Solved(site, as_stated, final, suspects, tuple(scaled), held, tuple(loose), apart)


def _search(adjustment: Adjustment) -> Search:
    try:
        return find(adjustment)
    except NotConvergedError:
        raise ContradictionError from None


def _first(network: Network, start: Start) -> tuple[Adjustment, list[Adjustment]]:
    """The first adjustment: without what the starting values contradict by far, else of everything.

    Where several arrangements come near the readings, the one that fits them, the sides and the order of points.csv
    best; misread ones count no more than `MISREAD` each, or the arrangement that bends itself around a misreading
    would win. Also those that fit about as well.
    """
    states = [start.state, *start.rivals]
    if len(states) == 1:
        return without_gross(network, start.state) or _plain(network, start.state), []
    solved: list[tuple[float, float, int, Adjustment]] = []
    for i, state in enumerate(states):
        try:
            adjustment = without_gross(network, state) or solve(network, state)
        except NotConvergedError:
            continue
        solved.append((_capped_misfit(adjustment), ASTRAY * start.scores[i], i, adjustment))
    if not solved:
        return _plain(network, start.state), []
    hopeless = min(f[0] for f in solved) + HOPELESS
    near = [(*_with_mistakes(a, misfit), score, i, a) for misfit, score, i, a in solved if misfit < hopeless]
    near.sort(key=lambda f: (f[0] - f[2], f[3]))
    least = near[0][0] - near[0][2]
    return near[0][4], [cleaned for misfit, cleaned, score, *_ in near[1:] if misfit - score < least + RIVAL]


def _least_gaps(a: Array, b: Array) -> Array:
    """Distances (n,) once b (n, d) is laid over a where most points agree: begun from each point's likest three."""
    change = np.abs(np.linalg.norm(a[:, None] - a, axis=2) - np.linalg.norm(b[:, None] - b, axis=2))
    gaps = []
    for likest in np.argsort(np.round(change, 6), axis=1, kind="stable")[:, :4]:
        near = likest
        for _ in range(5):
            R, t = rigid_fit(b[near], a[near])
            gap = np.linalg.norm(b @ R.T + t - a, axis=1)
            near = np.argsort(gap, kind="stable")[: max(3, len(a) // 2)]
        gaps.append(gap)
    return np.asarray(min(gaps, key=lambda gap: (int(np.sum(gap > ELSEWHERE)), float(np.median(gap)))))


def _with_mistakes(adjustment: Adjustment, capped: float) -> tuple[float, Adjustment]:
    """Sum of squares once what does not fit is set aside, at MISREAD a mistake, and the adjustment then.

    As it is where that is no less than the capped misfit.
    Two mistakes that are not set aside bend an arrangement that is right into one that fits worse than a wrong one.
    Of readings that nobody can tell apart all are set aside, but one is wrong: the freedoms lost count the mistakes.
    """
    try:
        found = find(adjustment)
    except NotConvergedError:
        return capped, adjustment
    rest = found.adjustment
    aside = len(set(rest.network.group[~rest.active].tolist()))
    before = len(set(adjustment.network.group[~adjustment.active].tolist()))
    mistakes = min(aside, before + max(adjustment.degrees_of_freedom - rest.degrees_of_freedom, 0))
    misfit = round(rest.sum_of_squares + MISREAD * mistakes, 6)
    return (misfit, rest) if misfit < capped else (capped, adjustment)


def _elsewhere(best: Adjustment, rival: Adjustment, held: NDArrayBool, level_sets: Index) -> tuple[str, ...]:
    """Held points that a rival puts elsewhere, both laid over each other where they agree best.

    In space where all their heights hang together, since then how the whole leans is no matter; else in plan.
    """
    if held.sum() < 3:
        return ()
    one_body = len(np.unique(level_sets[held])) == 1 and rises_held(best, held, level_sets)[held].all()
    axes = 3 if one_body else 2
    a, b = best.state.positions[held, :axes], rival.state.positions[held, :axes]
    gap = _least_gaps(a, b)
    names = [name for name, on in zip(best.network.unknowns.points, held, strict=True) if on]
    return tuple(name for name, off in zip(names, gap, strict=True) if off > ELSEWHERE) if np.max(gap) > APART else ()


def _capped_misfit(adjustment: Adjustment) -> float:
    """Sum of squares of w, none above MISREAD; what is set aside counts as misread."""
    square = np.where(adjustment.active, np.minimum(adjustment.misclosure**2, MISREAD), MISREAD)
    return round(float(np.sum(square)), 6)


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
