"""Where things stand on the plan drawing: paper millimetres, no drawing library.

Paper axes: origin at the lower left corner of an A4 sheet held upright, x to the right, y up. The car's front
is up and its left is on the left, so paper x runs against the car's y.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from measure.report.words import VERDICT_WORDS, decimals, label, limit, standing
from measure.result import CheckResult, Document, PointResult

PAPER = (210.0, 297.0)
CAR = (30.0, 70.0, 116.0, 274.0)  # left, bottom, right, top: what the car may fill
LEFT_NAMES, RIGHT_NAMES, VERDICTS = (
    31.0,
    117.0,
    141.0,
)  # where the columns of words start (left: where it ends)
NAME_WIDTH, VERDICT_CHARACTERS = 18.5, 43
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
    """The stations that have coordinates, front first. Wheel-face points are left out: they have no words."""
    members: dict[tuple[str, str], list[PointResult]] = {}
    for point in doc.points:
        if point.x is None or point.y is None or point.part.startswith("face:"):
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
    if check.verdict == "outside" and check.single_drops:
        lines.append("single drops: drop again before cutting")
    return lines


def judged(check: CheckResult) -> str:
    """Words, spread and limit: "8.2 mm to the left (± 1.6 mm, limit 3 mm)"."""
    if check.value is None or check.u95 is None:
        return standing(check)
    spread, most = f"± {check.u95:.{decimals(check)}f} {check.unit}", f"limit {limit(check)}"
    # No-break spaces: a line must not end between a figure and its unit.
    return f"{standing(check)} ({spread.replace(' ', _NO_BREAK)}, {most.replace(' ', _NO_BREAK)})"


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


def shortened(name: str, size: float, width: float, smallest: float = 4.5) -> tuple[str, float]:
    """A name and a type size (points) with which it fits into `width` mm; long ones lose their middle."""
    a_character = 0.212  # mm a point of size, a little over the mean of the type we draw with
    fitting = width / (a_character * max(len(name), 1))
    if fitting >= smallest:
        return name, min(size, fitting)
    keep = max(int(width / (a_character * smallest)) - 1, 2)
    return f"{name[: (keep + 1) // 2]}…{name[len(name) - keep // 2 :]}", smallest
