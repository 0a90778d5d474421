"""How every text for the shop ends: what to mind, the safety of whoever works on the car, and whence the figures."""

from collections.abc import Sequence

from measure.report.lines import Lines
from measure.report.words import SAFETY


def mind(cautions: Sequence[str], notes: Sequence[str], lines: Lines) -> None:
    """Cautions and notes, each under its heading where there are any."""
    for heading, sentences in (("Mind", cautions), ("Notes on the tables", notes)):
        if sentences:
            lines.heading(heading)
            for sentence in sentences:
                lines.item(sentence)


def safety(lines: Lines) -> None:
    """What holds for every car."""
    lines.heading("Before anyone cuts, drills or welds")
    for sentence in SAFETY:
        lines.item(sentence)


def foot(version: str, inputs: str, lines: Lines) -> None:
    """The version and the fingerprint of the inputs, whole or its first digits."""
    lines.blank()
    lines.line(f"plumbsquare {version}, inputs {inputs}")
