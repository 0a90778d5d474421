"""The drawing of a pattern: the car from above and, beside it, from the left, front up in both; movements enlarged.

Grey is where the best explanation says the points belong, ink where they stand; arrows run from there to here.
For corrections the arrows run back, numbered in the order of the steps.
"""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

from measure.atomic import write_atomically
from measure.paper import SIZES
from measure.pattern.result import Corrections, Pattern, Place
from measure.report.canvas import drawn_on
from measure.report.words import printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAPER = SIZES["A4"]
INK, SOFT, MOVED, BACK = "#1c1c1c", "#8a8a8a", "#5a1436", "#2b6cb0"
TOP, BOTTOM = 268.0, 92.0
PLAN_MIDDLE, SIDE_MIDDLE = 68.0, 166.0
PLAN_HALF, SIDE_HALF = 40.0, 24.0
LONGEST_ARROW = 13.0
NOTICED = 0.05
_FACTORS = (200, 150, 100, 75, 50, 40, 30, 25, 20, 15, 10, 5, 2, 1)
At = tuple[float, float]


def draw_pattern(found: Pattern, path: Path) -> None:
    """Write the drawing of a pattern; `path` ends in .svg or .png."""
    title = found.best.words if found.best.parts else "Nothing says that a part of this body moved."
    verdict = {"found": "outside the limits", "none": "no pattern", "within": "inside the limits"}
    told = [f"{p.words} (± {p.u95:.1f})" for p in found.best.parts] or [title]
    told += [f"or: {t.words}" for t in [*found.tied, *found.rivals][:4]]
    _write(path, found, "WHAT MOVED", verdict.get(found.answer, "UNDECIDED"), told, None)


def draw_corrections(wanted: Corrections, found: Pattern, path: Path) -> None:
    """Write the drawing of the steps; `path` ends in .svg or .png."""
    told = [f"{s.number}. {s.words}" for s in wanted.steps] or ["Nothing to correct."]
    if wanted.settle_first:
        told.append(f"Settle first; it may as well be: {wanted.settle_first[0]}")
    told.append("Structural pulling, cutting and welding is licensed work in many places.")
    _write(path, found, "WHAT MUST COME BACK", "measure again after each step", told, wanted)


def _write(path: Path, found: Pattern, head: str, verdict: str, told: list[str], wanted: Corrections | None) -> None:
    kind: Any = path.suffix.lower()[1:]
    fill = partial(_sheet, found, head, verdict, told, wanted)
    write_atomically(path, drawn_on(PAPER, kind, found.version, fill))


def _sheet(found: Pattern, head: str, verdict: str, told: list[str], wanted: Corrections | None, axes: Axes) -> None:
    style: dict[str, Any] = {"color": INK, "va": "center_baseline"}
    axes.plot([7, 203, 203, 7, 7], [7, 7, 290, 290, 7], color=INK, linewidth=0.8)
    axes.text(12, 282, printable(f"{found.job}, stage {found.stage}")[:70], fontsize=11, weight="bold", **style)
    axes.text(12, 275.5, f"{head}: {verdict}", fontsize=8, **style)
    scale = _Scale.of(found.points)
    _view(found, scale, "plan", wanted, axes)
    _view(found, scale, "side", wanted, axes)
    _block(found, scale, told, axes)


class _Scale:
    """From mm of the car to mm of paper; movements `factor` times as large."""

    def __init__(self, ratio: float, factor: float, front: float, height: float) -> None:
        self.ratio, self.factor, self.front, self.height = ratio, factor, front, height

    @staticmethod
    def of(points: list[Place]) -> _Scale:
        x = [p.x for p in points]
        z = [p.z for p in points if p.z is not None] or [0.0]
        half = max((abs(p.y) for p in points), default=1.0)
        least = max(
            (max(x) - min(x)) / (TOP - BOTTOM - 16.0), half / PLAN_HALF, (max(z) - min(z)) / (2 * SIDE_HALF), 1.0
        )
        ratio = next(
            n * 10.0**k for k in range(6) for n in (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5) if n * 10.0**k >= least
        )
        far = max((math.hypot(p.dx, p.dy, p.dz) for p in points), default=0.0)
        factor = next((f for f in _FACTORS if far * f / ratio <= LONGEST_ARROW), 1)
        return _Scale(ratio, factor, max(x), (max(z) + min(z)) / 2)

    def paper(self, p: Place, view: Literal["plan", "side"], moved: bool) -> At:
        """Where a point belongs, or where it stands with its movement enlarged."""
        k = self.factor if moved else 0.0
        x = p.x - p.dx + k * p.dx
        up = TOP - 8.0 + (x - self.front) / self.ratio
        if view == "plan":
            return PLAN_MIDDLE - (p.y - p.dy + k * p.dy) / self.ratio, up
        z = (p.z if p.z is not None else self.height) - p.dz + k * p.dz
        return SIDE_MIDDLE + (z - self.height) / self.ratio, up


def _view(found: Pattern, scale: _Scale, view: Literal["plan", "side"], wanted: Corrections | None, axes: Axes) -> None:
    body = [p for p in found.points if not p.part.startswith(("face:", "mount:"))]
    if view == "side":
        body = [p for p in body if p.z is not None]
    middle = PLAN_MIDDLE if view == "plan" else SIDE_MIDDLE
    words = "FROM ABOVE" if view == "plan" else "FROM THE LEFT, the ground to the left"
    axes.text(middle, TOP + 2.5, words, fontsize=6.5, color=SOFT, ha="center", va="center_baseline")
    if not body:
        axes.text(middle, (TOP + BOTTOM) / 2, "no heights", fontsize=7, color=SOFT, ha="center")
        return
    if view == "plan":
        axes.plot([middle, middle], [TOP, BOTTOM], color=INK, linewidth=0.7, linestyle=(0, (14, 3, 2, 3)))
        for x, words in ((22.0, "LEFT"), (middle + 9.0, "FRONT"), (114.0, "RIGHT")):
            axes.text(x, TOP - 3.0 if words == "FRONT" else TOP + 2.5, words, fontsize=6.5, color=INK, ha="center")
        axes.annotate(
            "", (middle, TOP + 1), (middle, TOP - 6), arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 0.9}
        )
    _lines(body, scale, view, axes)
    numbers: dict[str, list[str]] = {}
    for step in wanted.steps if wanted else ():
        for name in step.points:
            numbers.setdefault(name, []).append(str(step.number))
    for p in body:
        at, to = scale.paper(p, view, False), scale.paper(p, view, True)
        axes.plot(*at, marker="x", color=SOFT, markersize=3.5, markeredgewidth=0.7, zorder=3)
        axes.plot(*to, marker="o", color=INK, markersize=2.6, zorder=5)
        if math.hypot(p.dx, p.dy, p.dz) >= NOTICED and math.dist(at, to) > 0.4:
            ends = (at, to) if wanted is None else (to, at)
            colour = MOVED if wanted is None else BACK
            arrow = {"arrowstyle": "-|>", "color": colour, "lw": 1.1, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 7}
            axes.annotate("", ends[1], ends[0], arrowprops=arrow, zorder=6)
            if p.name in numbers:
                axes.text(
                    to[0], to[1] + 2.6, ", ".join(numbers[p.name]), fontsize=7, weight="bold", color=BACK, ha="center"
                )
    if view == "plan":
        _names(body, scale, axes)


def _lines(body: list[Place], scale: _Scale, view: Literal["plan", "side"], axes: Axes) -> None:
    """Across the pairs and axles, and along each side; grey dotted where it all belongs."""
    styles: tuple[tuple[bool, dict[str, Any]], ...] = (
        (False, {"color": SOFT, "linewidth": 0.7, "linestyle": (0, (1, 2))}),
        (True, {"color": INK, "linewidth": 0.8}),
    )
    for moved, style in styles:
        for side in ("L", "R"):
            run = sorted((p for p in body if p.side == side and p.pair is not None), key=lambda p: -p.x)
            if len(run) > 1:
                axes.plot(*zip(*(scale.paper(p, view, moved) for p in run), strict=True), **style)
        groups: dict[str, list[Place]] = {}
        for p in body:
            groups.setdefault(p.pair or p.part or p.name, []).append(p)
        for key, ends in groups.items():
            if len(ends) == 2:
                wide = {**style, "linewidth": 2.4} if key.startswith("axle:") else style
                axes.plot(*zip(*(scale.paper(p, view, moved) for p in ends), strict=True), **wide)


def _names(body: list[Place], scale: _Scale, axes: Axes) -> None:
    """Names beside the plan, one row each, no two rows touching."""
    for side, column, align in (("L", 24.0, "right"), ("R", 112.0, "left")):
        last = TOP + 4.0
        for p in sorted((p for p in body if p.side == side), key=lambda p: -p.x):
            at = scale.paper(p, "plan", True)
            y = min(at[1], last - 3.3)
            last = y
            axes.text(column, y, printable(p.name)[:16], fontsize=6, color=INK, ha=align, va="center_baseline")
            axes.plot([column + (1 if side == "L" else -1), at[0]], [y, at[1]], color=SOFT, linewidth=0.3, zorder=1)


def _block(found: Pattern, scale: _Scale, told: list[str], axes: Axes) -> None:
    axes.plot([7, 203], [86, 86], color=INK, linewidth=0.8)
    y = 80.5
    lines = [line for words in told for line in wrap(printable(words), 118, subsequent_indent="    ")]
    for line in lines[:16] + (["and more: see the text"] if len(lines) > 16 else []):
        axes.text(12, y, line, fontsize=7, color=INK, va="center_baseline")
        y -= 3.7
    times = "not enlarged" if scale.factor == 1 else f"drawn {scale.factor} times as large"
    against = "the factory chart" if found.axes == "chart" else found.axes
    axes.text(
        12, 14, f"Scale 1 : {scale.ratio:g} on A4; movements {times}, from {against}. Dotted, crosses: where the "
        "points belong. Solid, dots: where they stand.", fontsize=6.5, color=INK, va="center_baseline",
    )  # fmt: skip
    foot = f"plumbsquare {found.version}, inputs {found.inputs_sha256[:16]}"
    axes.text(12, 10, foot, fontsize=6, color=SOFT, va="center_baseline")
