"""How to set the axles, for the shop: what to turn first, then the figures, cautions last."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from measure.report import closing
from measure.report.lines import Lines
from measure.report.words import VERDICT_WORDS, signed
from measure.setup.axle_result import Adjuster, AxleDocument, AxleResult, SetupFigure
from measure.units import MM_PER_INCH

LABELS = ("sideways", "squareness", "rolling direction")
STATUS_WORDS = {"move": "MOVE", "not yet": "NOT YET", "leave it": "leave it"}


def render(doc: AxleDocument, console: Console) -> None:
    """Print the document for a person."""
    lines = Lines(console)
    lines.line(f"{doc.job}: setting the axles, {doc.stage}", "bold")
    for axle in doc.axles:
        _axle(axle, doc.units, lines)
    closing.mind(doc.cautions, doc.notes, lines)
    closing.foot(doc.version, doc.inputs_sha256[:12], lines)


def _axle(axle: AxleResult, units: str, lines: Lines) -> None:
    lines.heading(f"The {axle.name} axle")
    lines.keyed(STATUS_WORDS[axle.status], f"{axle.words}.", width=9)
    if axle.adjusters:
        lines.heading("What to turn, all of it before measuring again")
        for adjuster in axle.adjusters:
            lines.item(_adjuster(adjuster, units))
    if axle.ends:
        lines.heading("What the axle's ends do")
        for end in axle.ends:
            lines.item(f"{end.words}.")
    if axle.after:
        lines.heading("Expected afterwards, all of it done, against now")
        lines.table(("the axle", ">now", ">then", ">limit", "verdict then"), _now_and_then(axle))
    if axle.remeasure is not None:
        lines.item(f"Measuring more first: {axle.remeasure.words}.")
    if axle.housing:
        _figures("Faces against their own axle: what no arm or link can set", axle.housing, lines)
    if axle.setup:
        stands = "will stand, once moved" if axle.ends else "stands"
        _figures(f"How the linkage {stands}, for setting up", axle.setup, lines)


def _adjuster(a: Adjuster, units: str) -> str:
    """One adjuster in a sentence or two."""
    name = f"{a.name[0].upper()}{a.name[1:]} ({a.body_end} to {a.axle_end}, now {a.length:.1f} mm)"
    if a.status == "leave it":
        return f"{name}: leave it."
    mark = " NOT YET." if a.status == "not yet" else ""
    inches = f" ({abs(a.move) / MM_PER_INCH:.2f} in)" if units == "in" else ""
    grows = f"{abs(a.move):.1f} ± {a.u95:.1f} mm{inches} {'longer' if a.move > 0 else 'shorter'}"
    if a.turns is None:
        return f"{name}:{mark} {grows}."
    return f"{name}:{mark} {grows} = {a.turn_words} ({abs(a.set_to):.2f} mm): {a.which_way}."


def _now_and_then(axle: AxleResult) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for label, now, then in zip(LABELS, axle.now, axle.after, strict=True):
        limit = "" if then.limit is None else f"{then.limit:g} {then.unit}"
        rows.append((label, figure_text(now), figure_text(then), limit, VERDICT_WORDS[then.verdict]))
    return rows


def figure_text(figure: SetupFigure) -> str:
    """A figure with its u95 and unit."""
    if figure.value is None or figure.u95 is None:
        return "not held"
    places = 1 if figure.unit == "mm" else 2
    return f"{signed(figure.value, places)} ± {figure.u95:.{places}f} {figure.unit}"


def _figures(heading: str, figures: Sequence[SetupFigure], lines: Lines) -> None:
    lines.heading(heading)
    sources = dict.fromkeys(f.source for f in figures if f.source)
    for f in figures:
        places = 1 if f.unit == "mm" else 2
        spread = "" if f.u95 is None else f" ± {f.u95:.{places}f}"
        limit = "" if f.limit is None else f", limit {f.limit:g} {f.unit}: {VERDICT_WORDS[f.verdict]}"
        lines.item(f"{f.words[0].upper()}{f.words[1:]}{f' ({spread.strip()})' if spread else ''}{limit}.")
    if sources:
        lines.line(f"Limits and starting points: {'; '.join(sources)}.", indent=2)
