"""One sheet of paper to draw on, in mm: the same drawing gives the same bytes on one machine, and bears no date."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal

from measure.typeface import FAMILIES, register_for_drawings
from measure.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Kind = Literal["svg", "png", "pdf"]


def drawn_on(paper: tuple[float, float], kind: Kind, version: str, draw: Callable[[Axes], None]) -> bytes:
    """The bytes of a file with what `draw` puts on axes that count mm of the paper (width, height)."""
    import matplotlib
    import matplotlib.style
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    register_for_drawings()
    # The person's own settings must not change the sheet, and a "$" in a name is no formula.
    settings: Any = {
        "svg.hashsalt": "plumbsquare",
        "text.parse_math": False,
        "font.family": FAMILIES,
        "pdf.fonttype": 42,  # type as type, so that the sheet can be searched
    }
    undated: dict[str, dict[str, Any]] = {
        "svg": {"Date": None, "Creator": f"plumbsquare {version}"},
        "png": {"Software": None},
        "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
    }
    with matplotlib.style.context("default"), matplotlib.rc_context(settings), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure = Figure(figsize=(paper[0] / MM_PER_INCH, paper[1] / MM_PER_INCH))
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0, 0, 1, 1), xlim=(0, paper[0]), ylim=(0, paper[1]))
        axes.set_axis_off()
        draw(axes)
        buffer = io.BytesIO()
        figure.savefig(buffer, format=kind, dpi=200, metadata=undated[kind])
    return buffer.getvalue()
