"""What kind of damage it is, and what must come back: the shop's words first, figures next, statistics last."""

from __future__ import annotations

from rich.console import Console

from measure.pattern.result import Corrections, Expected, Part, Pattern, Step, Told
from measure.report import closing
from measure.report.lines import Lines
from measure.report.words import VERDICT_WORDS, chance, label, signed
from measure.units import MM_PER_INCH

ANSWERS = {
    "none": "No pattern: nothing says that a part of this body moved.",
    "found": "A pattern, outside the limits.",
    "within": "A pattern, but inside the limits.",
    "undecided": "Undecided: the readings do not settle it.",
}
_TO_DO = {
    "none": "Nothing to correct.",
    "correct": "To correct, in this order; measure again after each step.",
    "undecided": "Undecided: the readings do not settle what must come back. Measure more before anything is pulled.",
}


def render_pattern(found: Pattern, console: Console) -> None:
    """Print a pattern for a person."""
    lines = Lines(console)
    _head(found, lines, ANSWERS[found.answer])
    parts = found.best.parts
    if parts:
        lines.heading("What explains the car best")
        lines.table(
            ("what moved", ">how far", ">limit", "verdict"), [_row(p, found.units) for p in parts], wrap=("what moved",)
        )
    if found.tied:
        lines.heading("Nothing that was measured tells this from")
        _list(found.tied, lines)
    if found.rivals:
        lines.heading("Nearly as likely" if parts else "What may hide in the scatter")
        _list(found.rivals, lines, with_odds=True)
        if found.more_rivals:
            lines.line(f"and {found.more_rivals} more", indent=2)
    if found.would_tell:
        lines.heading("What would tell")
        for words in found.would_tell:
            lines.item(words)
    if found.unexplained:
        lines.heading("What this leaves unexplained")
        for each in found.unexplained:
            lines.item(f"{each.words} ({abs(each.w):.1f} sd)")
    _smallest(found, lines)
    closing.mind(found.cautions, found.notes, lines)
    against = "the factory chart" if found.axes == "chart" else found.axes
    lines.heading("Statistics")
    best = found.best
    lines.line(
        f"Deviations from {against}. Misfit {best.misfit:.1f} on {best.degrees_of_freedom} degrees of freedom: "
        f"one as large or larger in {chance(best.left_over)} of cars of which this is true.",
        indent=2,
    )
    closing.foot(found.version, found.inputs_sha256[:12], lines)


def render_corrections(wanted: Corrections, console: Console) -> None:
    """Print the steps for a person."""
    lines = Lines(console)
    _head(wanted, lines, _TO_DO[wanted.answer])
    if wanted.steps and wanted.settle_first:
        lines.heading(
            "Settle first which it is: what follows rests on the likeliest explanation; it may as well be that"
        )
        for words in wanted.settle_first:
            lines.item(words)
        for words in wanted.would_tell:
            lines.keyed("  ?", words, gap=1)
    for step in wanted.steps:
        _step(step, wanted, lines)
    if wanted.still_off:
        lines.heading("What would still be off" if wanted.steps else "What is off, but fits no pattern")
        lines.table(("what", ">figure", ">limit", "verdict"), [_now(e) for e in wanted.still_off], wrap=("what",))
    closing.mind(wanted.cautions, wanted.notes, lines)
    closing.safety(lines)
    closing.foot(wanted.version, wanted.inputs_sha256[:12], lines)


def _head(doc: Pattern | Corrections, lines: Lines, answer: str) -> None:
    lines.line(f"{doc.job}, stage {doc.stage}", "bold")
    lines.line(answer)


def _row(part: Part, units: str) -> tuple[str, str, str, str]:
    return part.words, _mm(abs(part.size), part.u95, units), f"{part.limit:.1f} mm", VERDICT_WORDS[part.verdict]


def _mm(value: float, u95: float, units: str) -> str:
    text = f"{value:.1f} ± {u95:.1f} mm"
    return f"{text} ({value / MM_PER_INCH:.2f} ± {u95 / MM_PER_INCH:.2f} in)" if units == "in" else text


def _list(told: list[Told], lines: Lines, with_odds: bool = False) -> None:
    for each in told:
        odds = f" (score {each.behind:.1f} behind)" if with_odds else ""
        lines.item(f"{each.words}{odds}")


def _smallest(found: Pattern, lines: Lines) -> None:
    lines.heading("The smallest movement that would be found in four of five cars")
    rows = [(s.words, "not with these readings" if s.size is None else f"{s.size:.1f} mm") for s in found.smallest_seen]
    lines.table(("what", ">at least"), rows, wrap=("what",))


def _step(step: Step, wanted: Corrections, lines: Lines) -> None:
    lines.heading(f"{step.number}. {step.words}")
    lines.line(f"Because {step.why}.", indent=3)
    lines.line(f"It takes along: {', '.join(step.points)}.", indent=3)
    lines.line(f"Then measure again: {', '.join(step.measure_again)}.", indent=3)
    shown = [e for e in step.expected if _worth_a_line(e)]
    if shown:
        rows = [
            (label(e.name), _figure(e.before, e), f"{_figure(e.after, e)} ± {e.u95:.{_places(e)}f} {e.unit}",
             VERDICT_WORDS[e.verdict])
            for e in shown
        ]  # fmt: skip
        lines.table(("what", ">now", ">expected", "then"), rows, wrap=("what",))


def _worth_a_line(e: Expected) -> bool:
    """Not what was fine and stays so, nor what hardly changes; --json has them all."""
    least = 0.05 if e.unit == "deg" else 0.5
    if "outside" in (e.verdict_before, e.verdict):
        return True
    return abs(e.after - e.before) >= least and {e.verdict_before, e.verdict} != {"within"}


def _places(e: Expected) -> int:
    return 2 if e.unit == "deg" else 1


def _figure(value: float, e: Expected) -> str:
    return signed(value, _places(e))


def _now(e: Expected) -> tuple[str, str, str, str]:
    return (
        label(e.name), f"{_figure(e.after, e)} ± {e.u95:.{_places(e)}f} {e.unit}", f"{e.limit:g} {e.unit}",
        VERDICT_WORDS[e.verdict],
    )  # fmt: skip
