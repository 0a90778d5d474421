"""The type that is shipped: one family for page, sheet, printed targets and drawings, whatever a computer has.

fonts/README.md says where it comes from. All its figures are of one width.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

FAMILY = "Plumbsquare Sans"
FAMILIES = [FAMILY, "DejaVu Sans"]
"""For drawings: letters that the first has not come from the font that the drawing library brings."""
FOLDER = Path(__file__).parent / "fonts"
STYLES = ("Regular", "Bold")
PLAIN, BOLD = "PlumbsquareSans-Regular", "PlumbsquareSans-Bold"
"""Names by which a PDF knows the two weights."""


def face(style: str, kind: str) -> Path:
    """The file of one of STYLES; `kind` is "ttf" for PDF and drawings, "woff2" for browsers."""
    return FOLDER / f"{style}.{kind}"


@cache
def register_for_pdf() -> None:
    """Make both weights known to reportlab, which embeds the letters that are used."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name, style in zip((PLAIN, BOLD), STYLES, strict=True):
        pdfmetrics.registerFont(TTFont(name, face(style, "ttf")))


@cache
def register_for_drawings() -> None:
    """Make both weights known to matplotlib."""
    from matplotlib.font_manager import fontManager

    for style in STYLES:
        fontManager.addfont(face(style, "ttf"))
