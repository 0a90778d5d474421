"""What a person must know before believing a comparison, gravest first."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

from measure.compare.congruence import GlobalTest
from measure.compare.laid import Laid
from measure.compare.refusals import FAR, FEWEST
from measure.compare.result import MovementResult


def cautions(
    laid: Laid, made: Sequence[MovementResult], together: Sequence[Sequence[str]], test: GlobalTest
) -> list[str]:
    """All cautions of one comparison."""
    return [
        *_changed_about(made),
        *_of_what_stood_still(laid, together),
        *_of_the_stages(laid),
        *_of_what_moved(made, test),
    ]


def _changed_about(made: Sequence[MovementResult]) -> list[str]:
    """Points that lie where another one lay: nobody welds a rail's end onto the other side."""
    far = [m for m in made if m.length is not None and m.length > FAR]
    lies_at = {(a.name, b.name) for a in far for b in far if a is not b and _gap(a, b) <= FAR}
    return [
        f"{a} lies where {b} lay, and the other way round: were the two names changed about in one of the stages?"
        for a, b in sorted(lies_at)
        if a < b and (b, a) in lies_at
    ]


def _gap(a: MovementResult, b: MovementResult) -> float:
    """How far in plan a lies now from where b lay, mm."""
    return hypot(a.x + (a.dx or 0.0) - b.x, a.y + (a.dy or 0.0) - b.y)


def _of_what_stood_still(laid: Laid, together: Sequence[Sequence[str]]) -> list[str]:
    still, told = len(laid.agreement.best), []
    if laid.few:
        told.append(
            f"Only {still} of {len(laid.names)} common points kept their shape: is it the same car, and do the names "
            "mean the same points in both? Nothing is called moved or held."
        )
    if laid.agreement.rivals:
        told.append(
            "The readings leave a choice of what stood still, and whatever depends on it is undecided. Another point "
            "that is known to stand still, measured in both stages, settles it."
        )
    if together and 2 * len(together[0]) > still:
        told.append(
            f"{', '.join(together[0])} kept their own shape too. A comparison shows that two parts moved against each "
            "other, not which of them: the larger one is taken to have stood still."
        )
    if still <= FEWEST < len(laid.names):
        told.append("So few points stand still that each hangs on the others: measure more that the repair left alone.")
    return told


def _of_the_stages(laid: Laid) -> list[str]:
    told = []
    if laid.overlay.plan_only:
        told.append(
            "Heights were not measured in both stages: movements are in plan, and a lean that was not measured is "
            "allowed for in their uncertainty."
        )
    for stage, title in zip((laid.before, laid.after), laid.titles, strict=True):
        if stage.solved.loose:
            loose = ", ".join(name for part in stage.solved.loose for name in part.points)
            told.append(f"Not held by the readings of {title}: {loose}.")
        if stage.solved.suspects:
            count = len(stage.solved.suspects)
            readings = "1 reading is" if count == 1 else f"{count} readings are"
            told.append(f"In {title} {readings} suspect: see `plumbsquare check` with --stage.")
    return told


def _of_what_moved(made: Sequence[MovementResult], test: GlobalTest) -> list[str]:
    told = []
    if test.passed and any(m.verdict == "moved" for m in made):
        told.append("All points together do not show a movement (5 %), single ones do: measure those again.")
    if any(m.single_drops for m in made):
        told.append(
            "Some of what moved rests on a single drop of the bob in one of the stages: a bob dropped wrong looks "
            "exactly like a movement. Drop again before cutting."
        )
    return told
