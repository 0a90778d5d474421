"""What is to be said of a factory chart: refused where it is another car's, and what to mind where it is used."""

from __future__ import annotations

import numpy as np

from measure.body.chart_fit import ChartFit
from measure.body.stand import Stand
from measure.findings import BadInput, Findings
from measure.job import Job
from measure.units import MM_PER_INCH

ANOTHER_CAR = 20.0
"""mm; no half of the points agrees with the chart, and half of them stand off it by more: it is another car's."""
FARTHEST = 200.0
"""mm off a chart that fits otherwise: a slip in its row, or a wrong arrangement; no car is bent so far."""
IS_IT = "is it the chart of this car, and are its names those of points.csv?"
COUNTS_BACK = "x counts forward, here it seems to count rearward: change its sign"
COUNTS_RIGHT = "y counts to the car's left, here it seems to count right: change its sign"
MOST_NAMED = 6


def refuse_the_chart_of_another_car(job: Job, standing: Stand | None, findings: Findings) -> None:
    """Raise BadInput where most points stand so far off the chart that fitting it would mean nothing, or one does."""
    fit = None if standing is None else standing.chart
    if standing is None or fit is None:
        return
    upside_down = bool(standing.frame.car_from_network[2, 2] < 0)
    if upside_down and _counts_rearward(job):
        found = "the pair listed first has the least x"
        findings.error("points.csv", None, "x", found, "list the front first, and let x count forward: change its sign")
        raise BadInput(findings)
    if fit.rests_on == "disagree":
        _refuse_whole(job, standing, fit, upside_down, findings)
        return
    off = np.sqrt(np.nansum(fit.deviations**2, axis=1))
    alike = _on_one_side(job)
    if alike is not None and (off > FARTHEST).any():
        findings.error("points.csv", None, "y", "both sides of pairs on one side of the centreline", alike)
        raise BadInput(findings)
    for i in np.flatnonzero(off > FARTHEST).tolist():
        would_do = "look for its y on the wrong side, another unit, or another point of this name"
        found = f"{fit.names[i]} charted {off[i]:.0f} mm from where it stands"
        findings.error("points.csv", job.point(fit.names[i]).line, None, found, would_do)
    findings.raise_if_errors()


def _refuse_whole(job: Job, standing: Stand, fit: ChartFit, upside_down: bool, findings: Findings) -> None:
    body = list(fit.body)
    off = np.sqrt(np.nansum((fit.placed[body] - fit.design[body]) ** 2, axis=1))
    hint = _likely_cause(job, standing, fit)
    if np.median(off) <= ANOTHER_CAR or (upside_down and hint is None):
        return  # a car with its left and right changed about is refused for that
    worst = fit.names[body[int(np.argmax(off))]]
    findings.error(
        "points.csv", None, "x y z", f"half of the points {np.median(off):.0f} mm or more off the chart",
        f"the chart does not fit this car, worst at {worst}, {off.max():.0f} mm off: {hint or IS_IT}; "
        "or leave the columns blank to judge the car without a chart",
    )  # fmt: skip
    raise BadInput(findings)


def _counts_rearward(job: Job) -> bool:
    x = [left.x for _, left, _ in job.pairs() if left.x is not None]
    return len(x) >= 2 and x[0] < x[-1]


def _on_one_side(job: Job) -> str | None:
    """What to do where the chart has left and right of several pairs on one side; None where it has not."""
    alike = [
        key for key, left, right in job.pairs()
        if left.y is not None and right.y is not None and left.y * right.y > 0 and abs(left.y + right.y) > 1.0
    ]  # fmt: skip
    where = ", ".join(alike[:MOST_NAMED])
    return f"y counts to the left, so that the right side's is negative (see {where})" if len(alike) > 1 else None


def _likely_cause(job: Job, standing: Stand, fit: ChartFit) -> str | None:
    """A slip that turns the right chart into a wrong one, in words."""
    alike = _on_one_side(job)
    if alike is not None:
        return alike
    X = standing.frame.xyz[fit.points]
    for k, words in (
        (0, COUNTS_BACK),
        (1, COUNTS_RIGHT),
    ):
        known = np.isfinite(fit.design[:, k])
        car, chart = X[known, k] - X[known, k].mean(), fit.design[known, k] - fit.design[known, k].mean()
        if car @ chart < -0.5 * np.linalg.norm(car) * np.linalg.norm(chart):
            return words
        size = float(np.linalg.norm(chart)) / max(float(np.linalg.norm(car)), 1e-9)
        for factor, unit in ((MM_PER_INCH, "inches"), (1 / MM_PER_INCH, "mm")):
            if abs(size * factor - 1.0) < 0.05:
                return f"its figures look like {unit}: write them with their unit, or set units in job.toml"
    return None


def chart_cautions(standing: Stand | None) -> list[str]:
    """What a person must know before believing the figures of the chart."""
    fit = None if standing is None else standing.chart
    if fit is None:
        return []
    told = []
    if fit.rests_on == "disagree":
        told.append(
            "No half of the body's points agrees with the factory chart, so nothing measured against it is decided. "
            "Write trusted = yes at pairs known to be undamaged."
        )
    if fit.rivals:
        told.append(
            f"The chart can be laid over this car in {1 + len(fit.rivals)} ways that fit as well; a figure against it "
            "is decided only where all of them agree."
        )
    if fit.rests_on == "agree" and fit.set_aside:
        names = list(fit.set_aside)
        more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
        told.append(
            "The chart, and with it the centreline, rests on the points that agree; set aside: "
            f"{', '.join(names[:MOST_NAMED])}{more}."
        )
    if not fit.in_space:
        told.append("The chart was laid over the car in plan: too few heights are both charted and measured.")
    return told
