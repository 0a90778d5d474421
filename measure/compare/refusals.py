"""Two stages that cannot be compared, in words, so that no figure is made of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.body.agreement import Agreement
from measure.compare.overlay import Overlay
from measure.compare.shape import Shape
from measure.findings import BadInput, Findings, did_you_mean
from measure.photo_scale import disagreeing_lengths
from measure.survey import Surveyed

FEWEST = 3
"""Common points: two lie over each other in any case but for their distance."""
FAR = 25.0
"""mm; where most points are farther off than this, no repair did it."""


def refuse_too_few(
    before: Surveyed, after: Surveyed, shape_before: Shape, shape_after: Shape, names: Sequence[str]
) -> None:
    """Raise BadInput where fewer than three points are common to both."""
    if len(names) >= FEWEST:
        return
    findings = Findings()
    common = ", ".join(names) or "none"
    strangers = [n for n in shape_after.names if n not in shape_before.names]
    hint = did_you_mean(strangers[0], shape_before.names) if strangers else ""
    near = f"; {after.stage} measures {strangers[0]}{hint}" if hint else ""
    found = f"{len(names)} points held in both stages ({common})"
    would_do = f"a comparison takes three: measure the same points under the same names{near}"
    findings.error(f"{before.stage} and {after.stage}", None, None, found, would_do)
    raise BadInput(findings)


def refuse_disagreeing_lengths(stages: Sequence[Surveyed]) -> None:
    """Raise BadInput where the lengths that size a stage's photographs contradict each other."""
    findings = Findings()
    for stage in stages:
        if lengths := disagreeing_lengths(stage.solved):
            found = f"lengths that disagree ({', '.join(lengths)})"
            findings.error(stage.stage, None, None, found, "measure the bars again: a wrong one looks like a movement")
    findings.raise_if_errors()


def refuse_two_cars(before: Surveyed, after: Surveyed, overlay: Overlay, agreement: Agreement) -> None:
    """Raise BadInput where most points are far off, whichever are laid over each other."""
    n, kept = len(overlay.names), len(agreement.best) if agreement.agrees else 0
    gaps = [float(np.linalg.norm(overlay.difference[rows])) for rows in overlay.rows]
    off = [gap for k, gap in enumerate(gaps) if not (agreement.agrees and k in agreement.best)]
    if (kept >= FEWEST and 2 * kept >= n) or not off or float(np.median(off)) <= FAR:
        return
    findings = Findings()
    half = float(np.median(off))
    told = f"{n - kept} of {n} common points off, half of them by more than {half:.0f} mm"
    would_do = (
        "is it the same car? Look whether the folders were changed about, and whether left and right or two names were"
    )
    findings.error(f"{before.stage} and {after.stage}", None, None, told, would_do)
    raise BadInput(findings)
