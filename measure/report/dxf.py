"""The plan as DXF (R2010), true size in millimetres: what it shows can be measured in any CAD program.

x forward, y to the car's left, everything at z = 0. Nothing is exaggerated: ellipses hold their point at 95 %.
"""

import io
import math
import re
from itertools import pairwise
from typing import TYPE_CHECKING

from measure.report import plan_layout as layout
from measure.report.plain_ascii import plain_ascii
from measure.result import Document, PointResult

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

LAYERS = {
    "points": 7,
    "pairs": 8,
    "centreline": 1,
    "ellipses": 4,
    "rails": 30,
    "axle": 3,
    "faces": 3,
    "words": 7,
    "scale": 2,
}
"""Layer -> colour index; the colour means nothing."""
BAR = 1000.0
"""mm, the line to check the scale by."""
TEXT = 25.0
_AHEAD = 150.0
_LEAST_RATIO = 1e-4


def dxf_bytes(doc: Document) -> bytes:
    """The drawing, without errors in its own library's audit; the same document gives the same bytes."""
    import ezdxf
    from ezdxf import units

    options = ezdxf.options  # type: ignore[attr-defined]
    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no date, no random mark
    try:
        drawing = ezdxf.new("R2010", units=units.MM)  # type: ignore[attr-defined]
        drawing.header["$INSUNITS"], drawing.header["$MEASUREMENT"] = units.MM, 1
        drawing.linetypes.add("DASHDOT", [60.0, 40.0, -10.0, 0.0, -10.0], description="Dash dot __ . __ . __")
        for name, colour in LAYERS.items():
            drawing.layers.add(name, color=colour, linetype="DASHDOT" if name == "centreline" else "Continuous")
        _draw(doc, drawing)
        auditor = drawing.audit()
        if auditor.has_errors:
            raise RuntimeError(f"the drawing is not sound: {auditor.errors[0].message}")
        text = io.StringIO()
        drawing.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = fixed
    return text.getvalue().encode("ascii", "replace")


def _draw(doc: Document, drawing: "Drawing") -> None:
    space = drawing.modelspace()
    placed = [p for p in doc.points if p.x is not None and p.y is not None]
    for point in placed:
        _point(point, space)
    _lines(doc, placed, space)
    xs, ys = [p.x or 0.0 for p in placed] or [0.0], [p.y or 0.0 for p in placed] or [0.0]
    front, rear, left, right = max(xs), min(xs), max(ys), min(ys)
    if doc.frame == "car":
        space.add_line((rear - _AHEAD, 0.0), (front + _AHEAD, 0.0), dxfattribs={"layer": "centreline"})
        _text("FRONT", (front + _AHEAD + TEXT, -TEXT / 2), TEXT, "words", space)
    bottom = right - 8 * TEXT
    _scale_bar(rear, bottom, space)
    told = (
        f"{doc.job}, stage {doc.stage}",
        "x forward, y to the left" if doc.frame == "car" else "the network's own axes",
        "ellipses hold their point at 95 %, true size",
        f"plumbsquare {doc.version}, inputs {doc.inputs_sha256[:16]}",
    )
    for i, words in enumerate(told):
        _text(words, (rear, bottom - (i + 3) * 1.6 * TEXT), TEXT, "words", space)
    height = (left + 4 * TEXT) - (bottom - 9 * TEXT)
    width = front - rear + 4 * _AHEAD
    centre = ((front + rear) / 2, left + 4 * TEXT - height / 2)
    drawing.set_modelspace_vport(max(height, width / 1.5) * 1.05, center=centre)


def _point(point: PointResult, space: "Modelspace") -> None:
    x, y = point.x or 0.0, point.y or 0.0
    space.add_point((x, y), dxfattribs={"layer": "points"})
    for a, b in (((x - 8, y), (x + 8, y)), ((x, y - 8), (x, y + 8))):  # a point alone is hardly seen
        space.add_line(a, b, dxfattribs={"layer": "points"})
    outwards = -1.0 if point.side == "R" else 1.0
    _text(point.name, (x + 10, y + (10 if outwards > 0 else -10 - TEXT)), TEXT, "points", space)
    shape = layout.ellipse(point)
    if shape is None or shape[0] <= 0:
        return
    turn = math.radians(shape[2] - 90.0)  # on paper the car's x runs upwards
    axis = (shape[0] * math.cos(turn), shape[0] * math.sin(turn))
    ratio = min(max(shape[1] / shape[0], _LEAST_RATIO), 1.0)
    space.add_ellipse((x, y), axis, ratio, dxfattribs={"layer": "ellipses"})


def _lines(doc: Document, placed: list[PointResult], space: "Modelspace") -> None:
    for station in layout.stations(doc):
        if len(station.places) == 2:
            a, b = ((place.point.x or 0.0, place.point.y or 0.0) for place in station.places)
            space.add_line(a, b, dxfattribs={"layer": "axle" if station.kind == "axle" else "pairs"})
            if station.kind == "axle":
                at = (0.75 * a[0] + 0.25 * b[0] + TEXT / 2, 0.75 * a[1] + 0.25 * b[1])  # clear of the centreline
                _text(f"axle {station.name}", at, TEXT, "axle", space)
    for face in layout.face_points(doc).values():
        corners = [(p.x or 0.0, p.y or 0.0) for p in face]
        for a, b in pairwise([*corners, corners[0]]):
            space.add_line(a, b, dxfattribs={"layer": "faces"})
    for side in ("L", "R"):
        rail = sorted((p.x or 0.0, p.y or 0.0) for p in placed if p.part == "rail" and p.side == side)
        for a, b in pairwise(rail):
            space.add_line(a, b, dxfattribs={"layer": "rails"})


def _scale_bar(x: float, y: float, space: "Modelspace") -> None:
    """A line of 1000 mm with ticks, and words that say so."""
    space.add_line((x, y), (x + BAR, y), dxfattribs={"layer": "scale"})
    for end in (x, x + BAR):
        space.add_line((end, y - TEXT / 2), (end, y + TEXT / 2), dxfattribs={"layer": "scale"})
    _text(f"{BAR:.0f} mm", (x, y + TEXT * 0.7), TEXT, "scale", space)
    _text("units: mm", (x, y - TEXT * 1.9), TEXT, "scale", space)


def _text(words: str, at: tuple[float, float], height: float, layer: str, space: "Modelspace") -> None:
    """One line; `%%`, `^` and a backslash steer the type in this format, so they are written apart or turned."""
    plain = re.sub("%(?=%)", "% ", plain_ascii(words)).replace("^", "^ ").replace("\\", "/").strip()
    space.add_text(plain or "?", height=height, dxfattribs={"layer": layer}).set_placement(at)
