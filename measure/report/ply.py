"""The points as an ASCII PLY file, for any program that shows points in space."""

from measure.report.plain_ascii import plain_ascii
from measure.result import Document


def ply_bytes(doc: Document) -> bytes:
    """Points with a place in plan, mm; a point without height stands at z = 0 with height_known = 0.

    Names are comments, in the order of the vertices: the format has no words of its own.
    """
    placed = [p for p in doc.points if p.x is not None and p.y is not None]
    axes = "x forward, y to the car's left, z up" if doc.frame == "car" else "the network's own axes"
    head = [
        "ply", "format ascii 1.0", f"comment plumbsquare {plain_ascii(doc.version)}",
        f"comment {plain_ascii(doc.job)}, stage {plain_ascii(doc.stage)}", f"comment units: mm; axes: {axes}",
        f"comment inputs {plain_ascii(doc.inputs_sha256)}",
        "comment z is 0 where height_known is 0; sd are standard deviations in mm, -1 where unknown",
        *(f"comment vertex {i} {plain_ascii(p.name)}" for i, p in enumerate(placed)),
        f"element vertex {len(placed)}",
        *(f"property double {name}" for name in ("x", "y", "z")),
        *(f"property double {name}" for name in ("sd_x", "sd_y", "sd_z")),
        "property uchar height_known", "end_header",
    ]  # fmt: skip
    rows = []
    for p in placed:
        figures = [_number(v, 0.0) for v in (p.x, p.y, p.z)] + [_number(v, -1.0) for v in (p.sd_x, p.sd_y, p.sd_z)]
        rows.append(f"{' '.join(figures)} {int(p.z is not None)}")
    return "\n".join([*head, *rows, ""]).encode("ascii")


def _number(value: float | None, absent: float) -> str:
    return f"{(absent if value is None else round(value, 4)) + 0.0:.4f}"
