"""The drawing of what moved: an A4 sheet as SVG or PNG, front up, the car's left on the left.

Arrows lead from where a point stood to where it stands, enlarged, with the ellipse that holds its end at 95 %. Line,
marker and colour are those of the plan.
"""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from measure.atomic import write_atomically
from measure.compare.result import Comparison, MovementResult
from measure.paper import Paper
from measure.report import plan_layout as layout
from measure.report.canvas import Kind, drawn_on
from measure.report.compare import VERDICT_WORDS
from measure.report.plan import COLOURS, INK, MARKERS, RAIL, SOFT
from measure.report.plan_layout import Place, Scale
from measure.report.words import printable, signed
from measure.result import PointResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LIKE = {"moved": "outside", "undecided": "undecided", "held": "within"}
"""Verdicts of the plan drawing whose marker and colour a movement takes."""
_ARROW: dict[str, Any] = {"arrowstyle": "-|>", "shrinkA": 0, "shrinkB": 0, "mutation_scale": 8}
_SHORTEST = 2.5  # mm on paper under which an arrow would be all head
_BORDER, _BLOCK_TOP, _SPLIT = 7.0, 58.0, 100.0


def draw(found: Comparison, path: Path) -> None:
    """Write the drawing to `path`, .svg or .png; written only when complete."""
    kind: Any = path.suffix.lower()[1:]
    write_atomically(path, drawn(found, kind))


def drawn(found: Comparison, kind: Kind, paper: Paper | None = "A4") -> bytes:
    """The drawing as the bytes of a file: one sheet of the size of A4, without a date; `paper` as in plan.py."""
    return drawn_on(layout.PAPER, kind, found.version, partial(_sheet, found, paper))


def _sheet(found: Comparison, paper: Paper | None, axes: Axes) -> None:
    places = [_place(m) for m in found.movements]
    # an arrow counts as long as it is; the end of the enlarged one must stay on the sheet
    scale = layout.scale_for([(p.x, p.y) for p in places], places, symmetric=found.frame == "car")
    _rails(found, scale, axes)
    for m, place in zip(found.movements, places, strict=True):
        _arrow(m, place, scale, axes)
    _names(found, places, scale, axes)
    _frame(found, axes)
    _block(found, paper, scale, axes)


def _place(m: MovementResult) -> Place:
    """The point where it stood, its movement as the displacement, the movement's ellipse as its own."""
    xx, xy, yy = m.plan_covariance or (0.0, 0.0, 0.0)
    sd = (xx**0.5, yy**0.5) if m.plan_covariance else (None, None)
    point = PointResult(m.name, m.x, m.y, None, sd[0], sd[1], None, xy, m.side, None, m.part)
    return Place(point, m.x, m.y, m.dx or 0.0, m.dy or 0.0, LIKE[m.verdict])


def _rails(found: Comparison, scale: Scale, axes: Axes) -> None:
    if found.frame == "car":
        xs = [m.x for m in found.movements]
        ends = [scale.paper(x, 0.0) for x in (max(xs), min(xs))]
        axes.plot(*zip(*ends, strict=True), color=INK, linewidth=0.8, linestyle=(0, (14, 3, 2, 3)))
    for side in ("L", "R"):
        rail = sorted((m for m in found.movements if m.part == "rail" and m.side == side), key=lambda m: -m.x)
        if len(rail) > 1:
            axes.plot(*zip(*(scale.paper(m.x, m.y) for m in rail), strict=True), **(RAIL | {"color": SOFT}))


def _arrow(m: MovementResult, place: Place, scale: Scale, axes: Axes) -> None:
    from matplotlib.patches import Ellipse

    start, end, colour = scale.paper(m.x, m.y), scale.displaced(place), COLOURS[place.verdict]
    shape = layout.ellipse(place.point)
    if shape is not None:
        size = [2 * semi_axis * scale.factor / scale.ratio for semi_axis in shape[:2]]
        axes.add_patch(Ellipse(end, *size, angle=shape[2], facecolor="none", edgecolor=colour, linewidth=0.8, zorder=3))
    filled = place.verdict != "within"
    axes.plot(
        *start, marker=MARKERS[place.verdict], markersize=3.4, color=colour, zorder=4,
        markerfacecolor=colour if filled else "white", markeredgewidth=0.9,
    )  # fmt: skip
    weight = 1.6 if m.verdict == "moved" else 0.8
    if math.dist(start, end) < _SHORTEST:
        axes.plot(*zip(start, end, strict=True), color=colour, linewidth=weight, zorder=4)
        return
    axes.annotate(
        "", end, start, zorder=5, annotation_clip=False,
        arrowprops=_ARROW | {"color": colour, "lw": weight},
    )  # fmt: skip


def _names(found: Comparison, places: list[Place], scale: Scale, axes: Axes) -> None:
    """Names beside the points; in the column what moved, and how much may hide where it is open."""
    for m, place in zip(found.movements, places, strict=True):
        x, y = scale.paper(m.x, m.y)
        on_left = m.side == "L" or (m.side == "C" and place.y > 0)
        name, size = layout.shortened(printable(m.name), 6.0, layout.NAME_WIDTH)
        axes.text(
            x + (-5.0 if on_left else 5.0), y - 2.4, name, fontsize=size, color=INK, va="center_baseline",
            ha="right" if on_left else "left",
        )  # fmt: skip
    told = [m for m in found.movements if m.verdict != "held"]
    told.sort(key=lambda m: (m.verdict != "moved", -(m.length or 0.0)))
    top = layout.CAR[3]
    for i, m in enumerate(told):
        if top < layout.CAR[1] + 8:
            axes.text(layout.VERDICTS, top, f"and {len(told) - i} more: see the tables", fontsize=6.5, color=INK)
            return
        axes.text(layout.VERDICTS, top, printable(f"{m.name}  {VERDICT_WORDS[m.verdict]}"), fontsize=6.5, weight="bold")
        for line in wrap(printable(m.words), layout.VERDICT_CHARACTERS):
            top -= layout.LINE
            axes.text(layout.VERDICTS, top, line, fontsize=6.5, color=INK)
        top -= layout.LINE * 1.5
    if not told:
        axes.text(layout.VERDICTS, top, f"every point held within {found.limit:g} mm", fontsize=6.5, color=INK)


def _frame(found: Comparison, axes: Axes) -> None:
    right, top = layout.PAPER[0] - _BORDER, layout.PAPER[1] - _BORDER
    axes.plot(
        [_BORDER, right, right, _BORDER, _BORDER], [_BORDER, _BORDER, top, top, _BORDER], color=INK, linewidth=0.8
    )
    axes.plot([_BORDER, right], [_BLOCK_TOP, _BLOCK_TOP], color=INK, linewidth=0.8)
    axes.plot([_SPLIT, _SPLIT], [_BORDER, _BLOCK_TOP], color=INK, linewidth=0.8)
    axes.text(layout.VERDICTS, 283.5, "WHAT MOVED", fontsize=7, color=INK, va="center_baseline")
    if found.frame == "car":
        middle = (layout.CAR[0] + layout.CAR[2]) / 2
        axes.annotate("", (middle, 287), (middle, 281), arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.0})
        axes.text(middle + 3, 283.5, "FRONT", fontsize=7, color=INK, va="center_baseline")
        axes.text(layout.LEFT_NAMES, 283.5, "LEFT", fontsize=7, color=INK, va="center_baseline", ha="right")
        axes.text(layout.RIGHT_NAMES, 283.5, "RIGHT", fontsize=7, color=INK, va="center_baseline")


def _block(found: Comparison, paper: Paper | None, scale: Scale, axes: Axes) -> None:
    """Legend on the left, title and statements on the right."""
    from matplotlib.patches import Ellipse

    style: dict[str, Any] = {"fontsize": 6.5, "color": INK, "va": "center_baseline"}
    y = 53.0
    meanings = {
        "held": f"held within {found.limit:g} mm",
        "undecided": "undecided",
        "moved": f"MOVED by more than {found.limit:g} mm",
    }
    for verdict, meaning in meanings.items():
        like = LIKE[verdict]
        axes.plot(12.5, y, marker=MARKERS[like], color=COLOURS[like], markersize=3.4,
                  markerfacecolor="white" if verdict == "held" else COLOURS[like])  # fmt: skip
        axes.text(17, y, meaning, **style)
        y -= 4.6
    axes.annotate(
        "", (15, y), (10, y), arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.0, "shrinkA": 0, "shrinkB": 0}
    )
    axes.text(17, y, f"movement, {_enlarged(scale)}", **style)
    y -= 4.6
    axes.add_patch(Ellipse((12.5, y), 4.0, 3.0, facecolor="none", edgecolor=INK, linewidth=0.8))
    axes.text(17, y, "holds the arrow's end at 95 %", **style)
    length = layout.round_length(15.0 * scale.ratio / scale.factor)
    end = 12.0 + length * scale.factor / scale.ratio
    axes.plot([12, end], [12.5, 12.5], color=INK, linewidth=1.2)
    for x in (12.0, end):
        axes.plot([x, x], [11.5, 13.5], color=INK, linewidth=1.2)
    axes.text(end + 2.5, 12.5, f"{length:g} mm of movement", **style)
    title, size = layout.shortened(printable(f"{found.job}: {found.before} to {found.after}"), 10, 98.0)
    axes.text(_SPLIT + 3, 51.5, title, fontsize=size, weight="bold", color=INK, va="center_baseline")
    y = 45.5
    for line in _statements(found, paper, scale):
        axes.text(_SPLIT + 3, y, line, **style)
        y -= layout.LINE
    inputs = f"{found.inputs_sha256.before[:12]} and {found.inputs_sha256.after[:12]}"
    axes.text(_SPLIT + 3, 10.5, printable(f"plumbsquare {found.version}, inputs {inputs}"), fontsize=6, color=SOFT)


def _enlarged(scale: Scale) -> str:
    return "not enlarged" if scale.factor == 1 else f"drawn {scale.factor} times as large"


def _statements(found: Comparison, paper: Paper | None, scale: Scale) -> list[str]:
    sentences = [f"Movements in plan. {scale.told(paper)} Movements {_enlarged(scale)}."]
    sentences += found.differences
    if found.ambiguous:
        sentences.append(f"Ambiguous: either {'; or '.join(found.alternatives)}.")
    sentences += [f"{', '.join(piece)} moved together, as one piece." for piece in found.together]
    up = [(m.name, m.dz) for m in found.movements if m.verdict == "moved" and m.dz is not None and abs(m.dz) >= 0.5]
    up.sort(key=lambda rise: -abs(rise[1]))
    if up:
        sentences.append("In height: " + ", ".join(f"{name} {signed(dz, 1)} mm" for name, dz in up) + ".")
    return layout.statements(sentences)
