"""Lengths that no triangle has: where a network cannot be solved, they say which readings to look at."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import sqrt

from measure.job import Job
from measure.readings.kind import point_of
from measure.readings.reading import Reading

BROKEN = 5.0
"""Standard deviations by which a length must outreach the way round before it is called impossible."""


def broken_triangles(readings: Sequence[Reading], job: Job) -> list[tuple[Reading, Reading, Reading]]:
    """(long, other, other) of lengths that break the triangle inequality beyond their sd, worst first."""
    found = []
    for kinds in (("floor",), ("car", "bar")):
        drop = job.sd.plumb if kinds == ("floor",) else 0.0
        by_ends: dict[frozenset[str], Reading] = {}
        near: dict[str, set[str]] = {}
        for reading in (r for r in readings if r.kind in kinds):
            a, b = (point_of(name) for name in reading.names)
            if a != b:
                by_ends.setdefault(frozenset((a, b)), reading)
                near.setdefault(a, set()).add(b)
                near.setdefault(b, set()).add(a)
        for ends in by_ends:
            a, b = sorted(ends)
            for c in sorted(near[a] & near[b]):
                if c < b:
                    continue
                sides = sorted((by_ends[frozenset(e)] for e in combinations((a, b, c), 2)), key=lambda r: -r.values[0])
                excess = sides[0].values[0] - sides[1].values[0] - sides[2].values[0]
                spread = sqrt(sum(r.sd**2 + 2.0 * drop**2 for r in sides))
                if excess > BROKEN * spread:
                    found.append((excess, (sides[0], sides[1], sides[2])))
    return [sides for _, sides in sorted(found, key=lambda f: -f[0])]
