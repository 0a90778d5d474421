"""Points whose tapes all run nearly in line: nothing says where they stand across that line.

Across the line a length changes with the square of the way, so noise of a millimetre leaves centimetres open, on
both sides of the line; the straight-line reckoning of uncertainty does not see it, and the sums may find no bottom.
Such points are left out and named, not judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import hypot

import numpy as np

from measure.adjust.held import Loose
from measure.adjust.stage import ContradictionError, Solved, adjust_stage
from measure.adjust.starting import starting_state
from measure.adjust.triangles import broken_triangles
from measure.job import Job
from measure.readings.kind import Site, point_of
from measure.readings.reading import Reading
from measure.readings.stage import site_of
from measure.readings.tape import LENGTHS
from measure.readings.unknowns import Array

OPEN = 3.0
"""Standard deviations that a point may stand off across its tapes."""
CURVED = 0.5
"""Share of a length's sd by which so wide a swing may change it; beyond, the swing is no straight line."""
FAR = 300.0
"""mm, the shortest tape worth proposing."""


def adjust_what_is_held(job: Job, stage: str, readings: Sequence[Reading]) -> Solved:
    """Adjust one stage; points that hang in line are loose. Raises ContradictionError where no solution is found."""
    try:
        solved = adjust_stage(job, stage, readings)
    except ContradictionError:
        if broken_triangles(readings, job):
            raise
        site = site_of(job, stage, readings)
        vague = _hanging(site, readings, starting_state(site, readings).state.positions)
        rest = [r for r in readings if not (_taped(r) and {point_of(n) for n in r.names} & vague.keys())]
        if not vague or not rest:
            raise
        solved = adjust_stage(job, stage, rest)
        return replace(solved, loose=(*solved.loose, *vague.values()))
    aside = {id(row.reading) for row, on in zip(solved.final.network.rows, solved.final.active, strict=True) if not on}
    counted = [r for r in readings if id(r) not in aside]
    vague = _hanging(solved.site, counted, solved.final.state.positions)
    u, held = solved.site.unknowns, solved.held.copy()
    vague = {name: loose for name, loose in vague.items() if held[u.point_idx[name]]}
    if not vague:
        return solved
    held[[u.point_idx[name] for name in vague]] = False
    return replace(solved, held=held, loose=(*solved.loose, *vague.values()))


def _taped(reading: Reading) -> bool:
    return reading.kind in LENGTHS


def _hanging(site: Site, readings: Sequence[Reading], positions: Array) -> dict[str, Loose]:
    """Points held by tapes alone that run nearly in line, with the neighbours taken as true; positions (points, 3)."""
    u, xy = site.unknowns, positions[:, :2]
    otherwise = {point_of(r.names[0]) for r in readings if r.kind in ("marks", "xyz", "target")}
    legs: dict[str, list[tuple[Array, float, float]]] = {}
    for reading in filter(_taped, readings):
        a, b = (point_of(name) for name in reading.names)
        leg = xy[u.point_idx[b]] - xy[u.point_idx[a]]
        length = float(np.linalg.norm(leg))
        sd = hypot(reading.sd, np.sqrt(2.0) * site.job.sd.plumb if reading.kind == "floor" else 0.0)
        if a == b or sd == 0 or length < 1.0:
            continue
        for name in {a, b} - otherwise:
            legs.setdefault(name, []).append((leg / length, length, sd))
    found = {}
    for name, own in legs.items():
        if len(own) < 2:
            continue  # a single tape: free at first order, and found as such
        units, lengths, sds = (np.array(column) for column in zip(*own, strict=True))
        normal = (units / sds[:, None] ** 2).T @ units
        weakest, directions = np.linalg.eigh(normal)
        across = directions[:, 0]
        swing = OPEN / np.sqrt(max(float(weakest[0]), 1e-300))
        change = swing**2 / (2.0 * lengths) * (1.0 - (units @ across) ** 2)
        if np.max(change / sds) > CURVED:
            found[name] = Loose(
                (name,), "across its tapes, which run nearly in line", _crosswise(site, xy, name, across)
            )
    return found


def _crosswise(site: Site, xy: Array, name: str, across: Array) -> tuple[str, ...]:
    """The floor tape that runs most nearly across the others."""
    u = site.unknowns
    leg = xy - xy[u.point_idx[name]]
    length = np.linalg.norm(leg, axis=1)
    share = np.where(length > FAR, np.abs(leg @ across) / np.maximum(length, FAR), 0.0)
    best = int(np.argmax(np.round(share, 6)))
    return (f"floor tape {name} to {u.points[best]}",) if share[best] > 0 else ()
