"""What everything set up on a car asks first: that it stands, on a centreline."""

from __future__ import annotations

from measure.body.stand import Stand
from measure.findings import BadInput, Findings
from measure.photo_scale import disagreeing_lengths
from measure.survey import Surveyed


def standing_car(surveyed: Surveyed, findings: Findings, purpose: str) -> Stand:
    """The car as it stands. Raises BadInput, with whatever was found before, where no centreline can be had.

    `purpose` says what the centreline is wanted for: "an axle is set from the centreline".
    """
    if surveyed.standing is None:
        would_do = f"{purpose}: measure two pairs that stand 100 mm or more apart along the car"
        findings.error(surveyed.stage, None, None, "no centreline", would_do)
        raise BadInput(findings)
    return surveyed.standing


def refuse_unsized(surveyed: Surveyed, standing: Stand, findings: Findings) -> None:
    """Raise BadInput, with whatever was found before, where no length to be believed says how large the car is."""
    if standing.points.scaled:
        return
    if disagreeing := disagreeing_lengths(surveyed.solved):
        found, would_do = f"lengths that disagree ({', '.join(disagreeing)})", "measure the bars again, or lay a third"
    else:
        found = "pictures without a measured length"
        would_do = "no tape, bar or instrument says how large the car is: measure one length between points"
    findings.error(surveyed.stage, None, None, found, would_do)
    raise BadInput(findings)
