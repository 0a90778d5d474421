"""The drill plan drawn: an A4 sheet as SVG or PNG, front up, the car's left on the left, with the arcs to strike.

Line style and marker carry the meaning, colour only repeats it. The same plan gives the same bytes on one machine.
"""

import math
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from measure.atomic import write_atomically
from measure.report.canvas import Kind, drawn_on
from measure.report.plan import AXLE, CENTRELINE, INK, RAIL, SOFT
from measure.report.plan_layout import PAPER
from measure.report.words import printable
from measure.setup.drill_result import DrillPlan, HoleResult, PlanPoint
from measure.setup.drill_words import VERDICTS
from measure.units import format_length

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENLARGED = 10
"""Error ellipses are drawn so many times as large."""
_ARC = 7.0
"""Degrees of an arc drawn to either side of its crossing."""
_LEFT, _BOTTOM, _RIGHT, _TOP = 14.0, 62.0, 196.0, 284.0
_COLOURS = {"drill": "#2b6cb0", "not yet": "#d99a1c", "there already": INK}


def draw(plan: DrillPlan, path: Path) -> None:
    """Write the drawing to `path`, whose suffix says SVG or PNG; written only when it is complete."""
    kind: Any = path.suffix.lower()[1:]
    write_atomically(path, drawn(plan, kind))


def drawn(plan: DrillPlan, kind: Kind) -> bytes:
    """The drawing as the bytes of a file: one A4 sheet, without a date."""
    return drawn_on(PAPER, kind, plan.version, partial(_sheet, plan))


class _Scale:
    """From the car to paper: x of the paper runs to the car's right, y forward."""

    def __init__(self, places: Sequence[tuple[float, float]]) -> None:
        xs, ys = [x for x, _ in places], [y for _, y in places]
        half = max(max(abs(y) for y in ys), 1.0)
        wanted = max(2 * half / (_RIGHT - _LEFT - 24), (max(xs) - min(xs)) / (_TOP - _BOTTOM - 16), 0.5)
        power = 10.0 ** math.floor(math.log10(wanted))
        self.ratio = next(n * power for n in (1, 1.5, 2, 2.5, 3, 4, 5, 7.5, 10) if n * power >= wanted * (1 - 1e-9))
        self.middle = (max(xs) + min(xs)) / 2

    def paper(self, x: float, y: float) -> tuple[float, float]:
        return (_LEFT + _RIGHT) / 2 - y / self.ratio, (_BOTTOM + _TOP) / 2 + (x - self.middle) / self.ratio


def _sheet(plan: DrillPlan, axes: "Axes") -> None:
    by_name = {point.name: point for point in plan.points}
    struck = {arc.mark for hole in plan.holes for arc in hole.arcs}
    struck |= {hole.check.mark for hole in plan.holes if hole.check is not None}
    near = [p for p in plan.points if p.name in struck or p.part in ("rail", "reference", "")]
    scale = _Scale([(p.x, p.y) for p in near] + [(h.x, h.y) for h in plan.holes])
    top, bottom = max(p.x for p in near) + 60, min(p.x for p in near) - 60
    axes.plot(*zip(scale.paper(top, 0), scale.paper(bottom, 0), strict=True), **CENTRELINE)
    _body(plan.points, scale, axes)
    for point in near:
        axes.plot(*scale.paper(point.x, point.y), "+" if point.name in struck else ".", color=INK, markersize=6)
        outward = 1 if point.y < 0 else -1
        x, y = scale.paper(point.x, point.y)
        axes.text(x + 2.5 * outward, y + 1.2, printable(point.name)[:24], fontsize=5.5, color=INK,
                  ha="left" if outward > 0 else "right")  # fmt: skip
    for hole in plan.holes:
        _hole(hole, by_name, scale, axes)
    x, y = (_LEFT + _RIGHT) / 2, _TOP + 2
    axes.annotate("", (x, y + 6), (x, y), arrowprops={"arrowstyle": "-|>", "color": INK})
    axes.text(x + 3, y + 2, "FRONT", fontsize=7, color=INK)
    _words(plan, scale, axes)


def _body(points: Sequence[PlanPoint], scale: _Scale, axes: "Axes") -> None:
    for side in "LR":
        rail = sorted((p for p in points if p.part == "rail" and p.side == side), key=lambda p: -p.x)
        if len(rail) > 1:
            axes.plot(*zip(*(scale.paper(p.x, p.y) for p in rail), strict=True), **RAIL)
    axles: dict[str, list[PlanPoint]] = {}
    for point in points:
        if point.part.startswith("axle:"):
            axles.setdefault(point.part, []).append(point)
    for ends in axles.values():
        axes.plot(*zip(*(scale.paper(p.x, p.y) for p in ends), strict=True), **AXLE)


def _hole(hole: HoleResult, by_name: dict[str, PlanPoint], scale: _Scale, axes: "Axes") -> None:
    from matplotlib.patches import Arc, Circle, Ellipse

    colour = _COLOURS[hole.status]
    place = scale.paper(hole.x, hole.y)
    for arc in hole.arcs:
        mark = by_name[arc.mark]
        start = scale.paper(mark.x, mark.y)
        axes.plot(*zip(start, place, strict=True), color=SOFT, linewidth=0.35, linestyle=(0, (6, 4)))
        radius = math.dist(start, place)
        toward = math.degrees(math.atan2(place[1] - start[1], place[0] - start[0]))
        wide = min(_ARC, math.degrees(8.0 / max(radius, 1e-6)))
        axes.add_patch(Arc(start, 2 * radius, 2 * radius, theta1=toward - wide, theta2=toward + wide, color=INK,
                           linewidth=0.7))  # fmt: skip
    axes.add_patch(
        Circle(place, max(hole.diameter / 2 / scale.ratio, 0.8), facecolor="white", edgecolor=colour, linewidth=1.2)
    )
    size = 2 * ENLARGED / scale.ratio
    axes.add_patch(Ellipse(
        place, size * hole.ellipse.major, size * hole.ellipse.minor, angle=hole.ellipse.direction_deg + 90, fill=False,
        edgecolor=colour, linewidth=0.8,
    ))  # fmt: skip
    inward = 1 if hole.y > 0 else -1
    axes.text(
        place[0] + 3.4 * inward, place[1] + 0.6, printable(hole.hole)[:16], fontsize=7, weight="bold", color=INK,
        ha="left" if inward > 0 else "right", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
    )  # fmt: skip


def _words(plan: DrillPlan, scale: _Scale, axes: "Axes") -> None:
    style: dict[str, Any] = {"fontsize": 6.2, "color": INK, "va": "center_baseline"}
    axes.plot([7, 203], [58, 58], color=INK, linewidth=0.8)
    axes.text(10, 53.5, printable(f"{plan.job}, stage {plan.stage}: where to drill")[:90], fontsize=10, weight="bold")
    lines = [
        f"Scale 1 : {scale.ratio:g}, seen from above. 95 % ellipses {ENLARGED} times as large. + mark to tape from."
    ]
    lines += [f"{m.name}: {VERDICTS[m.verdict]}." for m in plan.mounts]
    for hole in plan.holes:
        (a, b), units = hole.arcs, plan.units
        told = f"{hole.mount} {hole.hole}: {_len(a.length, units)} from {a.mark}, {_len(b.length, units)} from {b.mark}"
        told += f", {hole.side} of {a.mark} to {b.mark}"
        if hole.check is not None:
            told += f"; check {_len(hole.check.length, units)} from {hole.check.mark}"
        lines.append(f"{told} ({hole.status})")
    room = 13
    if len(lines) > room:
        lines = [*lines[: room - 1], "and more: see the text"]
    for i, line in enumerate(lines):
        axes.text(10, 48.5 - 3.0 * i, printable(line)[:150], **style)
    mind = (
        "Look behind the panel: fuel and brake lines, wiring. Pilot first. Crush sleeve or load spreader. Local codes."
    )
    axes.text(10, 7.5, f"{mind} plumbsquare {plan.version}, inputs {plan.inputs_sha256[:12]}", **style)


def _len(mm: float, units: str) -> str:
    return format_length(mm, units)  # type: ignore[arg-type]
