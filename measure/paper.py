"""The paper that is printed on, and blank PDFs of it: recording sheet, targets, boards and templates begin here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from measure.typeface import register_for_pdf

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Paper = Literal["A4", "Letter"]
SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of the paper in mm."""
MM = 72 / 25.4
"""A millimetre in points of PDF."""


def blank_pdf(title: str, paper: Paper) -> Canvas:
    """A canvas of `paper`, the shipped type at hand, viewers asked not to shrink it. The same calls, the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    register_for_pdf()
    width, height = SIZES[paper]
    canvas = Canvas("", pagesize=(width * MM, height * MM), invariant=1)
    canvas.setTitle(title)
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas
