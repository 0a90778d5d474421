"""The drawing of an axle with its moves: an A4 sheet on its side, as SVG or PNG, front up, the car's left on the left.

Only the rear of the car is drawn, to scale; arrows show which way each end of the axle goes, enlarged. What to turn
stands beside the arm or rod that is meant, what is expected then below.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from measure.atomic import write_atomically
from measure.paper import SIZES
from measure.report.axle import LABELS, STATUS_WORDS, figure_text
from measure.report.canvas import drawn_on
from measure.report.plan import AXLE, CENTRELINE, COLOURS, INK, MARKERS, RAIL, SOFT
from measure.report.words import VERDICT_WORDS, printable
from measure.setup.axle_result import Adjuster, AxleDocument, AxleResult, PlanMark

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAPER = SIZES["A4"][::-1]
CAR = (78.0, 66.0, 219.0, 190.0)  # left, bottom, right, top: what the axle may fill
COLUMNS = (12.0, 225.0)
_BORDER, _BLOCK_TOP, _LINE, _WIDE = 7.0, 58.0, 3.5, 42
_LONGEST_ARROW = 16.0
_NEAR = 250.0  # mm before and behind the axle's parts that are drawn as well
_RATIOS = (2.5, 4, 5, 6, 7.5, 8, 10, 12.5, 15, 20, 25, 30, 40, 50)
_FACTORS = (1, 2, 5, 10, 20, 50, 100, 200)
_LIKE = {"move": "outside", "not yet": "undecided", "leave it": "within"}
_SMALL: dict[str, Any] = {"fontsize": 7, "color": INK, "va": "center_baseline"}


def draw(doc: AxleDocument, path: Path) -> None:
    """Write the drawing of the first axle that is to be moved, else of the first; `path` ends in .svg or .png."""
    chosen = next((a for a in doc.axles if a.status != "leave it"), doc.axles[0])
    kind: Any = path.suffix.lower()[1:]
    write_atomically(path, drawn_on(PAPER, kind, doc.version, lambda axes: _Sheet(doc, chosen, axes).fill()))


class _Sheet:
    """One axle laid out on paper: car mm to paper mm, and what is drawn there."""

    def __init__(self, doc: AxleDocument, axle: AxleResult, axes: Axes) -> None:
        self._doc, self._axle, self._axes = doc, axle, axes
        self._points = {p.name: p for p in doc.points}
        mine = [p for p in doc.points if p.part.partition(":")[2] == axle.name]
        xs, ys = [p.x for p in mine] or [0.0], [abs(p.y) for p in mine] or [0.0]
        self._low, self._high = min(xs) - 60.0, max(xs) + 60.0
        half = max(*ys, 300.0) + 40.0
        wanted = max(2 * half / (CAR[2] - CAR[0]), (self._high - self._low) / (CAR[3] - CAR[1]))
        self._ratio = next((r for r in _RATIOS if r >= wanted), wanted)
        longest = max([math.hypot(e.forward, e.left) for e in axle.ends] + [1e-9])
        self._factor = max((f for f in _FACTORS if longest * f / self._ratio <= _LONGEST_ARROW), default=1)

    def paper(self, x: float, y: float) -> tuple[float, float]:
        """Paper mm of a place in the car."""
        return (
            (CAR[0] + CAR[2]) / 2 - y / self._ratio,
            (CAR[1] + CAR[3]) / 2 + (x - (self._low + self._high) / 2) / self._ratio,
        )

    def fill(self) -> None:
        """Draw everything."""
        self._body()
        self._members()
        self._arrows()
        self._words()
        self._frame()
        self._block()

    def _line(self, points: Sequence[PlanMark], **style: Any) -> None:
        if len(points) > 1:
            self._axes.plot(*zip(*(self.paper(p.x, p.y) for p in points), strict=True), **style)

    def _body(self) -> None:
        near = (self._low - _NEAR, self._high + _NEAR)
        ends = [self.paper(x, 0.0) for x in (self._high, self._low)]
        self._axes.plot(*zip(*ends, strict=True), **CENTRELINE)
        for side in "LR":
            rail = [p for p in self._doc.points if p.part == "rail" and p.side == side and near[0] < p.x < near[1]]
            self._line([p for p in sorted(rail, key=lambda p: -p.x) if self._on_sheet(p)], **(RAIL | {"color": SOFT}))
        for kind in ("shock", "shaft", "pinion"):
            for side in "LRC":
                part = f"{kind}:{self._axle.name}"
                own = [p for p in self._doc.points if p.part == part and p.side == side and self._on_sheet(p)]
                self._line(own, color=SOFT, linewidth=1.0, linestyle=(0, (1, 2)))

    def _on_sheet(self, p: PlanMark) -> bool:
        x, y = self.paper(p.x, p.y)
        return CAR[0] - 4 <= x <= CAR[2] + 4 and CAR[1] - 4 <= y <= CAR[3] + 4

    def _members(self) -> None:
        axle = [p for p in self._doc.points if p.part == f"axle:{self._axle.name}"]
        if len(axle) == 2:
            self._line(axle, **AXLE)
        elif len(self._axle.ends) == 2:
            places = [self.paper(e.x, e.y) for e in self._axle.ends]
            self._axes.plot(*zip(*places, strict=True), **AXLE)
        for a in self._axle.adjusters:
            colour = COLOURS[_LIKE[a.status]]
            ends = [self._points[a.body_end], self._points[a.axle_end]]
            self._line(ends, color=colour, linewidth=2.0)
            for p, filled in zip(ends, (False, True), strict=True):
                self._axes.plot(*self.paper(p.x, p.y), marker="o", markersize=4, color=colour, zorder=4,
                                markerfacecolor=colour if filled else "white")  # fmt: skip
        for p in self._doc.points:
            if p.part == f"link:{self._axle.name}" and p.side == "C":
                self._axes.plot(*self.paper(p.x, p.y), marker="+", markersize=8, color=INK, zorder=5)

    def _arrows(self) -> None:
        arrow: dict[str, Any] = {"arrowstyle": "-|>", "shrinkA": 0, "shrinkB": 0, "mutation_scale": 9, "lw": 1.6}
        colour = COLOURS[_LIKE[self._axle.status]]
        for end in self._axle.ends:
            start = self.paper(end.x, end.y)
            to = (start[0] - end.left * self._factor / self._ratio, start[1] + end.forward * self._factor / self._ratio)
            self._axes.plot(*start, marker=MARKERS[_LIKE[self._axle.status]], color=colour, markersize=4)
            if math.dist(start, to) > 2.0:
                self._axes.annotate("", to, start, arrowprops=arrow | {"color": colour}, annotation_clip=False)

    def _words(self) -> None:
        """Beside the drawing: left adjusters on the left, the others on the right, each joined to what it means."""
        sides: tuple[list[Adjuster], list[Adjuster]] = ([], [])
        for a in self._axle.adjusters:
            middle = (self._points[a.body_end].y + self._points[a.axle_end].y) / 2
            sides[0 if middle > 0 else 1].append(a)
        for column, adjusters in zip(COLUMNS, sides, strict=True):
            adjusters.sort(key=lambda a: -self._points[a.body_end].x)
            top = CAR[3] - 4
            for a in adjusters:
                top = self._told(a, column, top) - 5
        for end in self._axle.ends:
            x, y = self.paper(end.x, end.y)
            self._axes.text(x, y - 13, "\n".join(end.words.split(", ")), fontsize=6.5, color=INK, va="top",
                            ha="center", linespacing=1.4)  # fmt: skip

    def _told(self, a: Adjuster, column: float, top: float) -> float:
        head = f"{a.name.upper()}: {STATUS_WORDS[a.status]}"
        self._axes.text(column, top, printable(head), fontsize=7.5, weight="bold", color=COLOURS[_LIKE[a.status]])
        ends = [self._points[a.body_end], self._points[a.axle_end]]
        at = self.paper((ends[0].x + ends[1].x) / 2, (ends[0].y + ends[1].y) / 2)
        edge = column + 50 if column < CAR[0] else column - 2
        self._axes.plot([edge, at[0]], [top + 1, at[1]], color=SOFT, linewidth=0.5, zorder=1)
        sentences = [f"{a.body_end} to {a.axle_end}"]
        if a.status != "leave it":
            sentences.append(f"{abs(a.move):.1f} ± {a.u95:.1f} mm {'longer' if a.move > 0 else 'shorter'}")
        if a.turn_words:
            sentences += [a.turn_words, a.which_way]
        for line in [line for s in sentences for line in wrap(printable(s), _WIDE)]:
            top -= _LINE
            self._axes.text(column, top, line, fontsize=6.5, color=INK)
        return top - _LINE

    def _frame(self) -> None:
        right, top = PAPER[0] - _BORDER, PAPER[1] - _BORDER
        box = ([_BORDER, right, right, _BORDER, _BORDER], [_BORDER, _BORDER, top, top, _BORDER])
        self._axes.plot(*box, color=INK, linewidth=0.8)
        self._axes.plot([_BORDER, right], [_BLOCK_TOP, _BLOCK_TOP], color=INK, linewidth=0.8)
        middle = (CAR[0] + CAR[2]) / 2
        self._axes.annotate("", (middle, 200), (middle, 194), arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.0})
        self._axes.text(middle + 3, 197, "FRONT", **_SMALL)
        self._axes.text(COLUMNS[0], 197, "LEFT", **_SMALL)
        self._axes.text(COLUMNS[1], 197, "RIGHT", **_SMALL)

    def _block(self) -> None:
        """Title, now and then, and what the marks mean."""
        doc, axle = self._doc, self._axle
        title = f"{doc.job}: the {axle.name} axle, {doc.stage}"
        self._axes.text(12, 52, printable(title)[:90], fontsize=10, weight="bold", color=INK, va="center_baseline")
        y = 45.5
        for line in wrap(printable(f"{STATUS_WORDS[axle.status]}: {axle.words}"), 92)[:4]:
            self._axes.text(12, y, line, **_SMALL)
            y -= _LINE
        others = len(doc.axles) - 1
        scale = f"Scale 1 : {self._ratio:g} on A4, arrows drawn {self._factor} times as large."
        lines = [scale, "Open circle: end on the body; full circle: end on the axle.", "Stands, not the jack. Load off "
                 "the springs. Lock nuts. Measure again once it has settled."]  # fmt: skip
        if others:
            lines.append(f"{others} more axle{'s' if others > 1 else ''}: see the text.")
        for line in lines:
            y -= _LINE
            self._axes.text(12, y, line, **_SMALL)
        self._axes.text(12, 10.5, f"plumbsquare {doc.version}, inputs {doc.inputs_sha256[:12]}", fontsize=6, color=SOFT)
        for x, head in zip(
            (152, 180, 212, 244, 262), ("", "now", "expected then", "limit", "verdict then"), strict=True
        ):
            self._axes.text(x, 52, head, **(_SMALL | {"color": SOFT}))
        for k, (label, now) in enumerate(zip(LABELS, axle.now, strict=False)):
            y = 46 - 5 * k
            shown = axle.after[k] if axle.after else now
            then = figure_text(shown) if axle.after else ""
            cells = [label, figure_text(now), then, "" if shown.limit is None else f"{shown.limit:g}"]
            for x, cell in zip((152, 180, 212, 244), cells, strict=True):
                self._axes.text(x, y, cell, **_SMALL)
            colour = COLOURS[shown.verdict]
            self._axes.plot(262, y + 0.6, marker=MARKERS[shown.verdict], color=colour, markersize=3.5)
            self._axes.text(265, y, VERDICT_WORDS[shown.verdict], **_SMALL)
        if axle.remeasure is not None:
            for k, line in enumerate(wrap(printable(f"Measuring more first: {axle.remeasure.words}."), 88)[:4]):
                self._axes.text(152, 28 - _LINE * k, line, **_SMALL)
