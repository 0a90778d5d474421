"""The driveline for the shop: words first, then the angles, sources and cautions last."""

from __future__ import annotations

from rich.console import Console

from measure.report import closing
from measure.report.lines import Lines
from measure.report.words import VERDICT_WORDS
from measure.setup.driveline_result import DrivelineDocument, DrivelineResult


def render(doc: DrivelineDocument, console: Console) -> None:
    """Print the document for a person."""
    lines = Lines(console)
    lines.line(f"{doc.job}: driveline, {doc.stage}", "bold")
    for one in doc.drivelines:
        _driveline(one, lines)
    closing.mind(doc.cautions, doc.notes, lines)
    closing.foot(doc.version, doc.inputs_sha256[:12], lines)


def _driveline(one: DrivelineResult, lines: Lines) -> None:
    lines.heading(f"To the {one.name} axle")
    lines.keyed(VERDICT_WORDS[one.verdict], one.words, width=9)
    if not one.lines:
        return
    rows = [
        (line.name, f"{line.drop:+.2f} ± {line.drop_u95:.2f}", f"{line.left:+.2f} ± {line.left_u95:.2f}",
         ", ".join(line.points))
        for line in one.lines
    ]  # fmt: skip
    lines.blank()
    lines.table(("degrees", ">down to rear", ">left to rear", "through"), rows, wrap=("through",))
    if one.engine is not None:
        lines.item(f"{one.engine.words} ({one.engine.source}).")
    for joint in one.joints:
        lines.item(f"{joint.words}. Limit {joint.limit:g} degrees ({joint.source}): {VERDICT_WORDS[joint.verdict]}.")
    if one.ripple is not None:
        yokes = "in line" if one.phase == 0 else f"{abs(one.phase):g} degrees out of line"
        lines.item(
            f"With the shaft's yokes {yokes}, {one.ripple.words}. Limit {one.ripple.limit:g} degrees "
            f"({one.ripple.source}): {VERDICT_WORDS[one.ripple.verdict]}."
        )
