"""Points that stand where no pair has them: two names, or the numbers of two targets, were changed about.

The readings fit all the same, since the sheets are where they are; only the names are wrong.
"""

from __future__ import annotations

import numpy as np

from measure.body.stand import Stand
from measure.findings import Findings
from measure.job import Job
from measure.readings.unknowns import Array

ASTRAY = 100.0
"""mm by which one of a pair may stand ahead of the other, or both to one side; no car about to be drilled is bent so
(our judgement)."""
OPPOSITE = 40.0
"""mm by which a point may miss the place opposite another and still be taken to belong there."""


def refuse_exchanged(job: Job, stage: str, standing: Stand | None, findings: Findings) -> None:
    """Raise BadInput where a pair stands where no car has it, and name what one of them may have been taken for."""
    if standing is None:
        return
    at = dict(zip(standing.points.names, standing.frame.xyz, strict=True))
    told: set[str] = set()
    for _, left, right in job.pairs():
        if left.name not in at or right.name not in at:
            continue
        ahead = float(at[left.name][0] - at[right.name][0])
        # where the centreline itself is in doubt, what stands to one side of it is too
        aside = 0.0 if standing.centreline.ambiguous else float(at[left.name][1] + at[right.name][1]) / 2
        if abs(ahead) <= ASTRAY and abs(aside) <= ASTRAY:
            continue
        ways = [_taken_for(left.name, right.name, at), _taken_for(right.name, left.name, at)]
        would_do = " or ".join(sorted(f"{a} and {b}" for a, b in filter(None, ways)))
        if would_do in told:
            continue
        told |= {would_do} if would_do else set()
        found = f"{left.name} stands {abs(ahead):.0f} mm {'ahead of' if ahead > 0 else 'behind'} {right.name}"
        if abs(ahead) <= ASTRAY:
            found = f"{left.name} and {right.name} stand {abs(aside):.0f} mm to the {'left' if aside > 0 else 'right'}"
        findings.error(
            stage, None, None, found,
            f"{would_do}: are their names or the numbers of their targets changed about?" if would_do
            else "one of the two is measured at another place, or has another point's name or target number",
        )  # fmt: skip
    findings.raise_if_errors()


def _taken_for(name: str, partner: str, at: dict[str, Array]) -> tuple[str, str] | None:
    """The point and the one that lies opposite its partner instead of it, by name; None where there is none."""
    opposite = at[partner] * [1.0, -1.0, 1.0]
    others = [n for n in at if n not in (name, partner)]
    if not others:
        return None
    gaps = [float(np.linalg.norm((at[n] - opposite)[:2])) for n in others]
    nearest = int(np.argmin(gaps))
    a, b = sorted((name, others[nearest]))
    return (a, b) if gaps[nearest] <= OPPOSITE else None
