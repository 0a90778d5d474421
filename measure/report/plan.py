"""The plan drawing: an A4 sheet as SVG or PNG, front up, the car's left on the left.

Line style and marker shape carry the meaning; colour only repeats it, from a dark plum to a light ochre whose
lightness differs enough to be told apart in black and white and by colour-blind eyes. The same document gives
the same bytes on one machine.
"""

import math
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from measure.atomic import write_atomically
from measure.paper import Paper
from measure.report import plan_layout as layout
from measure.report.canvas import Kind, drawn_on
from measure.report.plan_layout import Place, Scale, Station
from measure.report.sentences import worst_first
from measure.report.words import VERDICT_WORDS, label, printable
from measure.result import Document
from measure.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, SOFT = "#1c1c1c", "#8a8a8a"
COLOURS = {"within": "#2b6cb0", "undecided": "#d99a1c", "outside": "#5a1436", "no limit": "#555555"}
MARKERS = {"within": "o", "undecided": "^", "outside": "s", "no limit": "D"}
FILLED = ("undecided", "outside")
CENTRELINE: dict[str, Any] = {"color": INK, "linewidth": 0.8, "linestyle": (0, (14, 3, 2, 3))}
RAIL: dict[str, Any] = {"color": INK, "linewidth": 1.3, "linestyle": "-"}
AXLE: dict[str, Any] = {"color": INK, "linewidth": 3.2, "linestyle": "-", "solid_capstyle": "butt"}
FACE: dict[str, Any] = {"color": INK, "linewidth": 0.7, "linestyle": "-", "marker": ".", "markersize": 2.5}
DOT_NAMES = 5.0
"""Points of type of the names beside points that carry no verdict."""
PAIR: dict[str, Any] = {"color": SOFT, "linewidth": 0.7, "linestyle": "-"}
SET_ASIDE: dict[str, Any] = {"color": SOFT, "linewidth": 0.9, "linestyle": (0, (4, 3))}
SYMMETRIC: dict[str, Any] = {"color": SOFT, "linewidth": 0.8, "linestyle": (0, (1, 2))}
_BORDER, _BLOCK_TOP = 7.0, 58.0
_TOO_NEAR = 1.2  # mm on paper within which the cross would only smudge the marker


def draw(doc: Document, path: Path) -> None:
    """Write the plan to `path`, .svg or .png.

    A point that nothing fixes is named under the drawing instead of being drawn. The file is written only
    when the drawing is complete.
    """
    kind: Any = path.suffix.lower()[1:]
    write_atomically(path, drawn(doc, kind))


def drawn(doc: Document, kind: Kind, paper: Paper | None = "A4") -> bytes:
    """The plan as the bytes of a file: one sheet of the size of A4, without a date.

    `paper`: what it will be put on, for the scale it names; None where nobody knows how large it will be printed.
    """
    return drawn_on(layout.PAPER, kind, doc.version, partial(_sheet, doc, paper))


def _sheet(doc: Document, paper: Paper | None, axes: "Axes") -> None:
    """Pairs and axles with their words; points that belong to neither are small dots, named where there is room."""
    every = layout.stations(doc)
    stations = [station for station in every if station.kind != "alone"]
    alone = [place for station in every if station.kind == "alone" for place in station.places]
    places = [place for station in stations for place in station.places]
    faces = [(p.x or 0.0, p.y or 0.0) for face in layout.face_points(doc).values() for p in face]
    in_plan = [(p.x, p.y) for p in [*places, *alone]] + faces
    in_car = doc.frame == "car"
    scale = layout.scale_for(in_plan, places, symmetric=in_car)
    if in_car:
        _centreline(scale, in_plan, axes)
    _lines(doc, stations, scale, axes)
    _faces(doc, stations, scale, axes)
    for place in places:
        _place(place, scale, axes)
    _words(stations, scale, axes)
    _dots(alone, scale, axes)
    _heads(axes, in_car)
    _block(doc, paper, scale, stations, axes)


def _centreline(scale: Scale, in_plan: list[tuple[float, float]], axes: "Axes") -> None:
    ahead = 8.0 * scale.ratio
    ends = [
        max((p[0] for p in in_plan), default=0.0) + ahead,
        min((p[0] for p in in_plan), default=0.0) - ahead,
    ]
    axes.plot(*zip(*(scale.paper(x, 0.0) for x in ends), strict=True), **CENTRELINE)


def _lines(doc: Document, stations: list[Station], scale: Scale, axes: "Axes") -> None:
    """Rails, axles and the lines across the pairs; dotted where symmetry would have the rails."""
    for station in stations:
        if len(station.places) == 2:
            ends = zip(*(scale.displaced(p) for p in station.places), strict=True)
            style = SET_ASIDE if station.name in doc.centreline.pairs_set_aside else PAIR
            axes.plot(*ends, **(AXLE if station.kind == "axle" else style))
    for side in ("L", "R"):
        rail = [
            place
            for station in stations
            for place in station.places
            if place.point.part == "rail" and place.point.side == side
        ]
        if len(rail) > 1:
            axes.plot(*zip(*(scale.paper(p.x, p.y) for p in rail), strict=True), **SYMMETRIC)
            axes.plot(*zip(*(scale.displaced(p) for p in rail), strict=True), **RAIL)


def _faces(doc: Document, stations: list[Station], scale: Scale, axes: "Axes") -> None:
    """Each wheel face: its points joined all round, moved with the end of the axle to which it belongs."""
    ends = {(s.name, place.point.side): place for s in stations if s.kind == "axle" for place in s.places}
    for key, points in layout.face_points(doc).items():
        end = ends.get(key)
        dx, dy = (0.0, 0.0) if end is None else ((scale.factor - 1) * end.off_x, (scale.factor - 1) * end.off_y)
        corners = [scale.paper((p.x or 0.0) + dx, (p.y or 0.0) + dy) for p in points]
        axes.plot(*zip(*corners, corners[0], strict=True), **FACE)


def _dots(alone: list[Place], scale: Scale, axes: "Axes") -> None:
    """Points that carry no verdict, each with its name beside it where that lies on nothing drawn before it."""
    at = [scale.paper(place.x, place.y) for place in alone]
    names = [printable(place.point.name) for place in alone]
    lines: Any = [line.get_xydata() for line in axes.lines]
    taken = at + [spot for line in lines for spot in layout.along(line.tolist())]
    for x, y in at:
        axes.plot(x, y, ".", color=INK, markersize=2.5, zorder=4)
    for name, words_at in zip(names, layout.beside(at, names, taken, DOT_NAMES), strict=True):
        if words_at is not None:
            axes.text(*words_at, name, fontsize=DOT_NAMES, color=INK, va="center_baseline", ha="left")


def _place(place: Place, scale: Scale, axes: "Axes") -> None:
    from matplotlib.patches import Ellipse

    at = scale.displaced(place)
    colour = COLOURS[place.verdict]
    shape = layout.ellipse(place.point)
    if shape is not None:
        size = [2 * semi_axis * scale.factor / scale.ratio for semi_axis in shape[:2]]
        axes.add_patch(
            Ellipse(at, *size, angle=shape[2], facecolor="white", edgecolor=colour, linewidth=0.8, zorder=2.5)
        )
    symmetric = scale.paper(place.x, place.y)
    if math.dist(symmetric, at) > _TOO_NEAR:
        axes.plot(*symmetric, marker="x", color=INK, markersize=3.5, markeredgewidth=0.7, zorder=4)
        axes.plot(*zip(symmetric, at, strict=True), color=colour, linewidth=1.0, zorder=3)
    _marker(at, place.verdict, axes)


def _marker(at: tuple[float, float], verdict: str, axes: "Axes") -> None:
    axes.plot(
        *at,
        marker=MARKERS[verdict],
        markersize=3.2,
        markeredgewidth=0.9,
        color=COLOURS[verdict],
        markerfacecolor=COLOURS[verdict] if verdict in FILLED else "white",
        zorder=5,
    )


def _words(stations: list[Station], scale: Scale, axes: "Axes") -> None:
    """Names left and right of the car, verdicts in a column; each station one row, no two rows touching."""
    heights = [layout.LINE * max(len(s.lines) + bool(s.heading), 1) + 1.8 for s in stations]
    _, bottom, _, top = layout.CAR
    shrink = min(1.0, (top - bottom) / max(sum(heights), 1e-9))
    if 6.5 * shrink < 2.0:  # too many to read at any size
        axes.text(layout.VERDICTS, top, "too many points to name them here", fontsize=6.5, color=INK)
        return
    wishes = [scale.paper(s.x, 0.0)[1] for s in stations]
    heights = [h * shrink for h in heights]
    middles = layout.spread_out(wishes, heights)
    overshoot = max(0.0, bottom - (middles[-1] - heights[-1] / 2)) if stations else 0.0
    undershoot = max(0.0, middles[0] + heights[0] / 2 - (top + 4.0)) if stations else 0.0
    for station, middle, height in zip(stations, middles, heights, strict=True):
        first_line = middle + overshoot - undershoot + height / 2 - (0.9 + layout.LINE / 2) * shrink
        _row(station, first_line, shrink, scale, axes)


def _row(station: Station, y: float, shrink: float, scale: Scale, axes: "Axes") -> None:
    for place in station.places:
        on_left = place.point.side == "L"
        column, text_x = (layout.LEFT_NAMES, -1.0) if on_left else (layout.RIGHT_NAMES, 1.0)
        name, size = layout.shortened(printable(place.point.name), 6.5 * shrink, layout.NAME_WIDTH, 4.5 * shrink)
        axes.text(
            column + text_x * 0.6,
            y,
            name,
            fontsize=size,
            ha="right" if on_left else "left",
            va="center_baseline",
        )
        point = scale.displaced(place)
        elbow = (column - text_x * 2.0, y)
        axes.plot(*zip((column, y), elbow, point, strict=True), color=SOFT, linewidth=0.35, zorder=1)
    style: dict[str, Any] = {"color": INK, "va": "center_baseline", "fontsize": 6.5 * shrink}
    for line in [station.heading, *station.lines] if station.heading else []:
        weight = "bold" if line is station.heading else "normal"
        axes.text(layout.VERDICTS, y, printable(line), weight=weight, **style)
        y -= layout.LINE * shrink


def _heads(axes: "Axes", in_car: bool) -> None:
    middle = (layout.CAR[0] + layout.CAR[2]) / 2
    axes.plot(
        [_BORDER, layout.PAPER[0] - _BORDER, layout.PAPER[0] - _BORDER, _BORDER, _BORDER],
        [_BORDER, _BORDER, layout.PAPER[1] - _BORDER, layout.PAPER[1] - _BORDER, _BORDER],
        color=INK,
        linewidth=0.8,
    )
    style: dict[str, Any] = {"color": INK, "fontsize": 7, "va": "center_baseline"}
    y = 283.5
    if in_car:
        axes.annotate(
            "",
            (middle, y + 3.5),
            (middle, y - 2.5),
            arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.0},
        )
        axes.text(middle + 3, y, "FRONT", **style)
        axes.text(layout.LEFT_NAMES + 0.6, y, "LEFT", ha="right", **style)
        axes.text(layout.RIGHT_NAMES + 0.6, y, "RIGHT", **style)
        axes.text(layout.VERDICTS, y, "HOW IT STANDS", **style)


def _block(doc: Document, paper: Paper | None, scale: Scale, stations: list[Station], axes: "Axes") -> None:
    """The block at the foot: legend and bars on the left, title and statements on the right, notes above."""
    right, split = layout.PAPER[0] - _BORDER, 100.0
    axes.plot([_BORDER, right], [_BLOCK_TOP, _BLOCK_TOP], color=INK, linewidth=0.8)
    axes.plot([split, split], [_BORDER, _BLOCK_TOP], color=INK, linewidth=0.8)
    _legend(doc.frame == "car", axes)
    _bars(doc, scale, axes)
    name, size = layout.shortened(printable(f"{doc.job}, stage {doc.stage}"), 11, 98.0)
    axes.text(split + 3, 51.5, name, fontsize=size, weight="bold", color=INK, va="center_baseline")
    y = 45.5
    for line in _statements(doc, paper, scale, stations):
        axes.text(split + 3, y, line, fontsize=6.5, color=INK, va="center_baseline")
        y -= layout.LINE
    axes.text(
        split + 3,
        10.5,
        f"plumbsquare {printable(doc.version)}, inputs {printable(doc.inputs_sha256[:16])}",
        fontsize=6,
        color=SOFT,
        va="center_baseline",
    )


def _statements(doc: Document, paper: Paper | None, scale: Scale, stations: list[Station]) -> list[str]:
    """What holds for the whole drawing, then the judged figures that stand beside no station, worst first."""
    times = "not enlarged" if scale.factor == 1 else f"drawn {scale.factor} times as large"
    sentences = [f"Plan of the body. {scale.told(paper)}"]
    if doc.frame == "car":
        sentences[0] += " Front up, the car's left on the left."
        sentences.append(f"Displacements from symmetric and 95 % ellipses: {times}.")
    else:
        sentences.append(f"No centreline: the network's own axes. 95 % ellipses: {times}.")
    if doc.centreline.ambiguous:
        sentences.append("Ambiguous: " + "; ".join(doc.centreline.alternatives) + ".")
    missing = [p.name for p in doc.points if p.x is None or p.y is None]
    if missing:
        sentences.append(f"Not held, not drawn: {', '.join(missing)}.")
    if doc.plan_only:
        sentences.append("Heights were not measured: the car's lean is only in the uncertainty.")
    drawn = {f"{station.kind}.{station.name}" for station in stations}
    for check in worst_first(doc.checks):
        if check.limit is not None and check.name.rpartition(".")[0] not in drawn:
            verdict = VERDICT_WORDS[check.verdict]
            sentences.append(f"{label(check.name)}  {verdict}: {layout.judged(check)}")
    return layout.statements(sentences)


def _legend(in_car: bool, axes: "Axes") -> None:
    from matplotlib.patches import Ellipse

    style: dict[str, Any] = {"fontsize": 6.5, "color": INK, "va": "center_baseline"}
    meanings = {
        "within": "within its limit",
        "undecided": "undecided",
        "outside": "OUTSIDE its limit",
        "no limit": "not judged",
    }
    y = 53.0
    for verdict, words in meanings.items():
        _marker((12.5, y), verdict, axes)
        axes.text(17, y, words, **style)
        y -= 4.6
    axes.add_patch(Ellipse((12.5, y), 4.0, 3.0, facecolor="white", edgecolor=INK, linewidth=0.8))
    axes.text(17, y, "holds the point at 95 %", **style)
    y -= 4.6
    axes.plot(12.5, y, ".", color=INK, markersize=2.5)
    axes.text(17, y, "point that carries no verdict", **style)
    y -= 4.6
    if in_car:
        axes.plot(12.5, y, marker="x", color=INK, markersize=3.5, markeredgewidth=0.7)
        axes.text(17, y, "where symmetry would have it", **style)
    lines = [("rail", RAIL), ("rail if symmetric", SYMMETRIC), ("pair", PAIR), ("pair set aside", SET_ASIDE)]
    lines += [("axle", AXLE), ("wheel face", FACE), ("centreline", CENTRELINE)]
    y = 53.0
    for words, line in lines if in_car else lines[:1] + lines[2:3] + lines[4:6]:
        axes.plot([58, 70], [y, y], **line)
        axes.text(73, y, words, **style)
        y -= 4.6


def _bars(doc: Document, scale: Scale, axes: "Axes") -> None:
    """Two bars: a length of the car, and a displacement."""
    unit, name = (MM_PER_INCH, "in") if doc.units == "in" else (1.0, "mm")
    on_the_car = layout.round_length(30.0 * scale.ratio / unit)
    moved = layout.round_length(15.0 * scale.ratio / scale.factor / unit)
    for y, length, words, ratio in (
        (20.0, on_the_car, "on the car", scale.ratio),
        (12.5, moved, "of displacement or ellipse", scale.ratio / scale.factor),
    ):
        end = 12.0 + length * unit / ratio
        axes.plot([12, end], [y, y], color=INK, linewidth=1.2)
        for x in (12.0, end):
            axes.plot([x, x], [y - 1, y + 1], color=INK, linewidth=1.2)
        axes.text(end + 2.5, y, f"{length:g} {name} {words}", fontsize=6.5, color=INK, va="center_baseline")
