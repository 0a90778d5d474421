"""Which mounts are to be drilled: job.toml and mounts.csv brought together, and what is wrong with them told."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import hypot

from measure.findings import Findings, did_you_mean
from measure.job import Job, Mount, MountHole

TWIN = 0.5
"""mm within which two holes count as mirror images of each other."""


@dataclass(frozen=True)
class Wanted:
    """A mount with its holes, in the mount's own axes: x forward, y left, z up from its middle, mm."""

    name: str
    mount: Mount
    holes: tuple[MountHole, ...]

    def edges(self) -> list[tuple[float, float, str]]:
        """(x, y, side) of what comes nearest to each rail: the holes' edges, and the ends where `width` is given."""
        found = []
        for hole in self.holes:
            r = hole.diameter / 2
            found += [(hole.x, hole.y + r, "L"), (hole.x, hole.y - r, "R")]
        if self.mount.width is not None:
            half = self.mount.width / 2
            for x in (max(h.x + h.diameter / 2 for h in self.holes), min(h.x - h.diameter / 2 for h in self.holes)):
                found += [(x, half, "L"), (x, -half, "R")]
        return found

    def clearance(self, hole: MountHole) -> float | None:
        """How far the bolt may stand from the middle of its hole, mm; None where no bolt is given."""
        return None if hole.bolt is None else (hole.diameter - hole.bolt) / 2

    def forgives(self, hole: MountHole) -> float | None:
        """The same with the oversize or the slot that job.toml allows."""
        clear = self.clearance(hole)
        return None if clear is None else clear + max(self.mount.oversize / 2, self.mount.slot)


def wanted_mounts(job: Job, findings: Findings) -> list[Wanted]:
    """The mounts of mounts.csv in its order; everything wrong or odd goes to `findings`."""
    names = list(dict.fromkeys(hole.mount for hole in job.mount_holes))
    if not names:
        would_do = "list the holes to be drilled in it: mount, hole, x, y, diameter, bolt"
        findings.error("mounts.csv", None, None, "no holes", would_do)
    for name in job.mounts:
        if name not in names and names:
            near = did_you_mean(name, [n for n in names if n not in job.mounts])
            findings.error(
                "job.toml", None, f"mount.{name}", name, f"mounts.csv lists no hole of this mount{near}"
            )  # fmt: skip
    wanted = []
    for name in names:
        holes = tuple(hole for hole in job.mount_holes if hole.mount == name)
        mount = job.mounts.get(name)
        if mount is None or mount.from_ is None:
            keys = ", ".join(key for key, _, _ in job.pairs()) or "none"
            near = did_you_mean(name, [n for n in job.mounts if n not in names])
            would_do = f'job.toml must say where it goes: [mount.{name}] from = "KEY" of a pair ({keys}){near}'
            findings.error("mounts.csv", holes[0].line, "mount", name, would_do)
            continue
        _check_holes(name, mount, holes, findings)
        wanted.append(Wanted(name, mount, holes))
    _check_points(job, names, findings)
    return wanted


def _check_holes(name: str, mount: Mount, holes: tuple[MountHole, ...], findings: Findings) -> None:
    for a, b in combinations(holes, 2):
        apart = hypot(a.x - b.x, a.y - b.y)
        if apart < (a.diameter + b.diameter) / 2:
            would_do = f'it would cut into hole "{a.hole}" of line {a.line}, {apart:.1f} mm away: check the drawing'
            findings.error("mounts.csv", b.line, "hole", b.hole, would_do)
    alone = [h for h in holes if not any(abs(h.x - o.x) <= TWIN and abs(h.y + o.y) <= TWIN for o in holes)]
    if alone and mount.symmetric is not False:
        hole = alone[0]
        told = (
            f"no hole stands at x {hole.x:g}, y {-hole.y:g}, where its mirror image would: "
            f"a slip in the drawing, or write symmetric = false in [mount.{name}]"
        )
        tell = findings.error if mount.symmetric else findings.note
        tell("mounts.csv", hole.line, "hole", hole.hole, told)


def _check_points(job: Job, names: list[str], findings: Findings) -> None:
    """Points of part mount:NAME must name a mount that there is."""
    for point in job.points:
        if point.kind == "mount" and point.group not in names and names:
            would_do = f"mounts.csv lists no such mount{did_you_mean(point.group, names)}"
            findings.error("points.csv", point.line, "part", point.part, would_do)
