"""Where things stand on the plan drawing: paper millimetres, no drawing library.

Paper axes: origin at the lower left corner of an A4 sheet held upright, x to the right, y up. The car's front
is up and its left is on the left, so paper x runs against the car's y.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from textwrap import wrap

from measure.paper import SIZES, Paper
from measure.report.words import SIDES, VERDICT_WORDS, decimals, label, limit, printable, remarks, standing
from measure.result import CheckResult, Document, PointResult

PAPER = SIZES["A4"]
A_CHARACTER = 0.212
"""mm a point of size, a little over the mean of the type we draw with."""
MOST_STATEMENTS = 10
"""Lines of the title block."""
CAR = (30.0, 70.0, 116.0, 274.0)  # left, bottom, right, top: what the car may fill
LEFT_NAMES, RIGHT_NAMES, VERDICTS = (
    31.0,
    117.0,
    141.0,
)  # where the columns of words start (left: where it ends)
NAME_WIDTH, VERDICT_CHARACTERS = 18.5, 43
STATEMENT_CHARACTERS = 76
LINE = 3.3  # line spacing of the words
ELLIPSE_95 = math.sqrt(-2 * math.log(0.05))  # semi-axis per sd of the region that holds 95 % in the plane

_NICE = (1.0, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0, 10.0)
_FACTORS = (200, 150, 100, 75, 50, 40, 30, 25, 20, 15, 10, 5, 2)
_MARGIN = 7.0  # mm beside the widest station that displacements may fill
_LARGEST_ON_PAPER = 8.5  # mm that a displacement with its ellipse may take
_LARGEST_ELLIPSE = 3.5  # mm that its larger semi-axis may take
_NO_BREAK = "\N{NO-BREAK SPACE}"
_WORST_FIRST = ("outside", "undecided", "within")


@dataclass(frozen=True)
class Place:
    """A point on the drawing, car or network mm: where symmetry would have it, and how far off it is."""

    point: PointResult
    x: float
    y: float
    off_x: float
    off_y: float
    verdict: str


@dataclass(frozen=True)
class Station:
    """A pair, an axle or a lone point: its places, and the words that stand beside it."""

    name: str
    kind: str  # pair, axle or alone
    places: list[Place]
    heading: str
    lines: list[str]

    @property
    def x(self) -> float:
        """How far forward its words belong, mm."""
        return sum(place.x for place in self.places) / len(self.places)


def stations(doc: Document) -> list[Station]:
    """The stations that have coordinates, front first. An axle known by its faces stands at their centres."""
    members: dict[tuple[str, str], list[PointResult]] = {}
    ends = [point for point in doc.points if not point.part.startswith("face:")]
    for point in [*ends, *face_centres(doc)]:
        if point.x is None or point.y is None:
            continue
        if point.part.startswith("axle:"):
            key = ("axle", point.part.removeprefix("axle:"))
        elif point.pair is not None:
            key = ("pair", point.pair)
        else:
            key = ("alone", point.name)
        members.setdefault(key, []).append(point)
    checks = {check.name: check for check in doc.checks}
    found = [_station(kind, name, points, checks) for (kind, name), points in members.items()]
    return sorted(found, key=lambda station: -station.x)


def face_points(doc: Document) -> dict[tuple[str, str], list[PointResult]]:
    """By axle and side, the points of its wheel face that have a place, as far round the circle as they are listed."""
    faces: dict[tuple[str, str], list[PointResult]] = {}
    for point in doc.points:
        if point.part.startswith("face:") and point.x is not None and point.y is not None:
            faces.setdefault((point.part.removeprefix("face:"), point.side), []).append(point)
    return faces


def face_centres(doc: Document) -> list[PointResult]:
    """The ends of the axles that are judged by their faces: the centre of each, named as the face, without sd.

    Only of an axle that has no ends of its own, and both faces with three points or more in space, as its checks want.
    """
    by_ends = {point.part.removeprefix("axle:") for point in doc.points if point.part.startswith("axle:")}
    known = {c.name for c in doc.checks if c.value is not None and c.estimable}
    whole = {
        key: points
        for key, points in face_points(doc).items()
        if key[0] not in by_ends and f"axle.{key[0]}.offset" in known and all(p.z is not None for p in points)
    }
    return [_centre(*key, points) for key, points in whole.items() if {(key[0], side) for side in "LR"} <= whole.keys()]


def _centre(axle: str, side: str, points: Sequence[PointResult]) -> PointResult:
    import numpy as np  # only such an axle needs it

    from measure.body.face import centre

    x, y, z = centre(np.array([[p.x, p.y, p.z] for p in points])).tolist()
    return PointResult(f"{SIDES[side]} face", x, y, z, None, None, None, None, side, None, f"axle:{axle}")


def _station(kind: str, name: str, points: Sequence[PointResult], checks: dict[str, CheckResult]) -> Station:
    own = [c for c in checks.values() if c.name.rpartition(".")[0] == f"{kind}.{name}"]
    limited = [c for c in own if c.limit is not None]
    offset = checks.get(f"{kind}.{name}.offset")
    verdict = next((v for v in _WORST_FIRST if any(c.verdict == v for c in limited)), "no limit")
    # Half an axle's lead belongs to each end. A pair's lead is no fault of symmetry that a section shows by.
    lead = checks.get(f"{kind}.{name}.lead") if kind == "axle" else None
    off_y = offset.value if offset and offset.value is not None else 0.0
    off_x = lead.value / 2 if lead and lead.value is not None else 0.0
    places = []
    for point in points:
        ahead = {"L": off_x, "R": -off_x}.get(point.side, 0.0)
        x, y = point.x or 0.0, point.y or 0.0
        places.append(Place(point, x - ahead, y - off_y, ahead, off_y, verdict))
    title = f"axle {name}" if kind == "axle" else name
    if len(limited) == 1:
        return Station(name, kind, places, f"{title}  {VERDICT_WORDS[verdict]}", _sentence(limited[0]))
    lines = [line for c in limited for line in _sentence(c, with_name=True)]
    return Station(name, kind, places, title if limited else "", lines)


def _sentence(check: CheckResult, with_name: bool = False) -> list[str]:
    """One judged figure in wrapped lines; with its name and verdict where several share a heading."""
    text = judged(check)
    if with_name:
        name = label(check.name).partition(", ")[2] or check.name
        text = f"{name}  {VERDICT_WORDS[check.verdict]}: {text}"
    lines = wrap(text, VERDICT_CHARACTERS, subsequent_indent="   " if with_name else "")
    return lines + [part for remark in remarks(check) for part in wrap(remark, VERDICT_CHARACTERS)]


def judged(check: CheckResult) -> str:
    """Words, spread and limit: "8.2 mm to the left (± 1.6 mm, limit 3 mm)"."""
    if check.value is None or check.u95 is None:
        return standing(check)
    spread, most = f"± {check.u95:.{decimals(check)}f} {check.unit}", f"limit {limit(check)}"
    # No-break spaces: a line must not end between a figure and its unit.
    return f"{standing(check)} ({spread.replace(' ', _NO_BREAK)}, {most.replace(' ', _NO_BREAK)})"


def shrink_on(paper: Paper) -> float:
    """How much smaller than on A4 a drawing comes out on `paper`, 1 or less."""
    width, height = SIZES[paper]
    return min(1.0, width / PAPER[0], height / PAPER[1])


@dataclass(frozen=True)
class Scale:
    """From car millimetres to paper: `ratio` car mm a paper mm, displacements `factor` times as large."""

    ratio: float
    factor: int
    middle_x: float
    middle_y: float

    def paper(self, x: float, y: float) -> tuple[float, float]:
        """Paper position of a place in the car."""
        left, bottom, right, top = CAR
        return (left + right) / 2 - (y - self.middle_y) / self.ratio, (bottom + top) / 2 + (
            x - self.middle_x
        ) / self.ratio

    def told(self, paper: Paper | None) -> str:
        """The scale of the drawing once it is put on `paper`; None: nobody knows how large it will be printed."""
        if paper is None:
            return "Printed at a size of its own: measure by its bars."
        return f"Scale 1 : {self.ratio / shrink_on(paper):.3g} on {paper}."

    def displaced(self, place: Place) -> tuple[float, float]:
        """Paper position of a place moved by its exaggerated displacement."""
        return self.paper(place.x + self.factor * place.off_x, place.y + self.factor * place.off_y)


def scale_for(points: Sequence[tuple[float, float]], places: Sequence[Place], symmetric: bool) -> Scale:
    """The largest round scale that fits the car, and the largest factor that keeps displacements readable.

    `points`: x, y of all that is drawn, mm. `symmetric`: the centreline (y = 0) stays in the middle.
    """
    xs, ys = [p[0] for p in points] or [0.0], [p[1] for p in points] or [0.0]
    left, bottom, right, top = CAR
    half_width = max(abs(y) for y in ys) if symmetric else (max(ys) - min(ys)) / 2
    room = (right - left) / 2 - _MARGIN
    needed = max(half_width / room, (max(xs) - min(xs)) / (top - bottom), 1e-3)
    power = 10.0 ** math.floor(math.log10(needed))
    ratio = next(nice * power for nice in _NICE if nice * power >= needed * (1 - 1e-9))
    semi_axis = max((_semi_axis(place) for place in places), default=0.0)
    largest = max((_semi_axis(place) + math.hypot(place.off_x, place.off_y) for place in places), default=0.0)
    allowed = min(_LARGEST_ON_PAPER / max(largest, 1e-9), _LARGEST_ELLIPSE / max(semi_axis, 1e-9)) * ratio
    fits = [f for f in _FACTORS if f <= allowed]
    factor = fits[0] if fits and largest > 0 else 1
    middle_y = 0.0 if symmetric else (max(ys) + min(ys)) / 2
    return Scale(ratio, factor, (max(xs) + min(xs)) / 2, middle_y)


def round_length(most: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is at most `most`."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(d * power for d in (1.0, 2.0, 5.0) if d * power <= most * (1 + 1e-9))


def _semi_axis(place: Place) -> float:
    return ELLIPSE_95 * max(place.point.sd_x or 0.0, place.point.sd_y or 0.0)


def ellipse(point: PointResult) -> tuple[float, float, float] | None:
    """Semi-axes (mm) of the 95 % ellipse and the angle (degrees, on paper) of the first; None without sd.

    Closed form of the eigenvectors of a 2 by 2 covariance. On paper the car's y runs to the left and its x
    up, which turns the ellipse by a right angle.
    """
    if point.sd_x is None or point.sd_y is None:
        return None
    xx, yy, xy = point.sd_x**2, point.sd_y**2, point.cov_xy or 0.0
    middle, spread = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
    angle_from_x = 0.5 * math.atan2(2 * xy, xx - yy)
    semi_axes = [ELLIPSE_95 * math.sqrt(max(v, 0.0)) for v in (middle + spread, middle - spread)]
    return semi_axes[0], semi_axes[1], math.degrees(angle_from_x) + 90.0


def spread_out(wanted: Sequence[float], heights: Sequence[float]) -> list[float]:
    """Middles of blocks of words, from the top down, as near to `wanted` as goes without any overlap.

    Blocks that would touch are joined and centred on their mean wish. `wanted` falls from first to last.
    """
    joined: list[tuple[float, list[int]]] = []  # middle of the block, its members
    for i, wish in enumerate(wanted):
        middle, members = wish, [i]
        while joined:
            above, others = joined[-1]
            gap = (sum(heights[j] for j in others) + sum(heights[j] for j in members)) / 2
            if above - middle >= gap:
                break
            joined.pop()
            members = others + members
            middle = sum(wanted[j] for j in members) / len(members)
        joined.append((middle, members))
    places = [0.0] * len(wanted)
    for middle, members in joined:
        top = middle + sum(heights[j] for j in members) / 2
        for j in members:
            places[j] = top - heights[j] / 2
            top -= heights[j]
    return places


def along(corners: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spots on a line through `corners` (paper mm), a millimetre or less apart."""
    spots = list(corners[:1])
    for (x, y), (to_x, to_y) in pairwise(corners):
        steps = max(math.ceil(math.dist((x, y), (to_x, to_y))), 1)
        spots += [(x + (to_x - x) * i / steps, y + (to_y - y) * i / steps) for i in range(1, steps + 1)]
    return spots


def beside(
    points: Sequence[tuple[float, float]], names: Sequence[str], taken: Sequence[tuple[float, float]], size: float
) -> list[tuple[float, float] | None]:
    """Where each name starts (paper mm, the middle of its height), right, left, above or below its point.

    None where it would lie on a point that is `taken` or on a name set before it: better unnamed than unreadable.
    `size` of the type in points.
    """
    high = size * 0.36
    boxes: list[tuple[float, float, float, float]] = []
    found: list[tuple[float, float] | None] = []
    for (x, y), name in zip(points, names, strict=True):
        wide = len(name) * size * A_CHARACTER
        starts = ((x + 1.2, y), (x - 1.2 - wide, y), (x - wide / 2, y + high + 0.6), (x - wide / 2, y - high - 0.6))
        place = next((s for s in starts if _free((s[0], s[1], wide, high), boxes, taken)), None)
        if place is not None:
            boxes.append((*place, wide, high))
        found.append(place)
    return found


def _free(
    box: tuple[float, float, float, float],
    boxes: Sequence[tuple[float, float, float, float]],
    taken: Sequence[tuple[float, float]],
) -> bool:
    """Whether a box (left, middle of its height, width, height) lies clear of other boxes and of points."""
    x, y, wide, high = box
    clear = all(x + wide < a or a + w < x or abs(y - b) > (high + h) / 2 for a, b, w, h in boxes)
    return clear and not any(x - 0.6 < a < x + wide + 0.6 and abs(y - b) < high / 2 + 0.4 for a, b in taken)


def statements(sentences: Sequence[str], most: int = MOST_STATEMENTS) -> list[str]:
    """Sentences as the lines of the title block; those that do not fit, whole, are counted."""
    lines: list[str] = []
    for i, sentence in enumerate(sentences):
        wrapped = [printable(line) for line in wrap(sentence, STATEMENT_CHARACTERS)]
        last = i == len(sentences) - 1
        if len(lines) + len(wrapped) > (most if last else most - 1):
            return [*lines, f"and {len(sentences) - i} more: see the tables"]
        lines += wrapped
    return lines


def shortened(name: str, size: float, width: float, smallest: float = 4.5) -> tuple[str, float]:
    """A name and a type size (points) with which it fits into `width` mm; long ones lose their middle."""
    fitting = width / (A_CHARACTER * max(len(name), 1))
    if fitting >= smallest:
        return name, min(size, fitting)
    keep = max(int(width / (A_CHARACTER * smallest)) - 1, 2)
    return f"{name[: (keep + 1) // 2]}…{name[len(name) - keep // 2 :]}", smallest
