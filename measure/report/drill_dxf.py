"""The drill plan as a DXF in full size: millimetres, R2010, one layer for each kind of thing.

Drawn as seen from above with the car's front up: DXF x runs to the car's right, DXF y forward, origin on the centreline
at the middle of the first pair. Names are put into ASCII, since some readers garble anything else.
"""

from __future__ import annotations

import io
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from measure.atomic import write_atomically
from measure.setup.drill_result import DrillPlan

if TYPE_CHECKING:
    from ezdxf.document import Drawing

LAYERS = {  # name: colour of the palette
    "HOLES": 1, "HOLE_CENTRES": 1, "HOLE_NAMES": 7, "MOUNTS": 3, "CENTRELINE": 4, "FRONT": 4, "RAIL_POINTS": 5,
    "POINTS": 8, "SCALE_1000_MM": 6,
}  # fmt: skip
_CODES = str.maketrans({"%": " pct ", "^": " "})
"""Characters that a TEXT takes for codes: %%c is a diameter sign, ^J a new line."""
TYPE = 12.0
"""mm, height of letters."""


def write_dxf(plan: DrillPlan, path: Path) -> None:
    """Write the drawing; RuntimeError where it would not be sound."""
    write_atomically(path, dxf_bytes(plan))


def dxf_bytes(plan: DrillPlan) -> bytes:
    """The drawing as the bytes of a file; the same plan gives the same bytes."""
    import ezdxf
    from ezdxf import units

    cad: Any = ezdxf
    fixed = cad.options.write_fixed_meta_data_for_testing  # no date, no random numbers
    cad.options.write_fixed_meta_data_for_testing = True
    try:
        doc = cad.new("R2010", units=units.MM)
        doc.header["$INSUNITS"] = units.MM
        doc.header["$MEASUREMENT"] = 1
        _draw(plan, doc)
        problems = doc.audit()
        if problems.has_errors or problems.has_fixes:
            raise RuntimeError("the DXF would not be sound")
        text = io.StringIO()
        doc.write(text)
    finally:
        cad.options.write_fixed_meta_data_for_testing = fixed
    return text.getvalue().encode("ascii")


def _draw(plan: DrillPlan, doc: Drawing) -> None:
    for name, colour in LAYERS.items():
        doc.layers.add(name, color=colour)
    space: Any = doc.modelspace()

    def write(words: str, x: float, y: float, layer: str, height: float = TYPE) -> None:
        space.add_text(ascii_of(words), height=height, dxfattribs={"layer": layer, "insert": (x, y)})

    for hole in plan.holes:
        x, y, r = -hole.y, hole.x, hole.diameter / 2
        space.add_circle((x, y), r, dxfattribs={"layer": "HOLES"})
        space.add_line((x - r - 5, y), (x + r + 5, y), dxfattribs={"layer": "HOLE_CENTRES"})
        space.add_line((x, y - r - 5), (x, y + r + 5), dxfattribs={"layer": "HOLE_CENTRES"})
        write(f"{hole.mount} {hole.hole} d {hole.diameter:g} {hole.status}", x + r + 6, y + 4, "HOLE_NAMES")
    for mount in plan.mounts:
        space.add_line((-mount.y - 20, mount.x), (-mount.y + 20, mount.x), dxfattribs={"layer": "MOUNTS"})
        space.add_line((-mount.y, mount.x - 20), (-mount.y, mount.x + 20), dxfattribs={"layer": "MOUNTS"})
        write(mount.name, -mount.y + 6, mount.x + 6, "MOUNTS")
    for point in plan.points:
        layer = "RAIL_POINTS" if point.part == "rail" else "POINTS"
        space.add_point((-point.y, point.x), dxfattribs={"layer": layer})
        write(point.name, -point.y + 6, point.x + 6, layer)
    xs = [-p.y for p in plan.points] + [-h.y for h in plan.holes]
    ys = [p.x for p in plan.points] + [h.x for h in plan.holes]
    front, rear = max(ys) + 150.0, min(ys) - 150.0
    space.add_line((0.0, rear), (0.0, front), dxfattribs={"layer": "CENTRELINE"})
    write("centreline", 6, rear, "CENTRELINE")
    for side in (-1, 1):
        space.add_line((0.0, front), (15.0 * side, front - 40.0), dxfattribs={"layer": "FRONT"})
    write("FRONT", 20.0, front - 20.0, "FRONT", 2 * TYPE)
    below = rear - 100.0
    space.add_line((-500.0, below), (500.0, below), dxfattribs={"layer": "SCALE_1000_MM"})
    for x in (-500.0, 500.0):
        space.add_line((x, below - 15.0), (x, below + 15.0), dxfattribs={"layer": "SCALE_1000_MM"})
    write("units: mm; this line is 1000 mm long", -490.0, below + 6.0, "SCALE_1000_MM", 2 * TYPE)
    write(f"{plan.job}, stage {plan.stage}, seen from above", -490.0, below - 40.0, "SCALE_1000_MM", 2 * TYPE)
    left, right = min([*xs, -500.0]) - 100.0, max([*xs, 500.0]) + 300.0
    height = max(front - below + 200.0, (right - left) * 0.75)
    doc.set_modelspace_vport(height=height, center=((left + right) / 2, (front + below) / 2))
    doc.header["$EXTMIN"], doc.header["$EXTMAX"] = (left, below - 60.0, 0.0), (right, front + 60.0, 0.0)


def ascii_of(words: str) -> str:
    """Text without accents and control codes; what is left beyond ASCII becomes a question mark."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", words) if not unicodedata.combining(c))
    return "".join(c if c.isprintable() else " " for c in plain).encode("ascii", "replace").decode().translate(_CODES)
