"""How a check, a figure and a verdict are written for a person: one wording for text, drawing and page."""

from measure.result import CheckResult
from measure.units import MM_PER_INCH

VERDICT_WORDS = {"outside": "OUTSIDE", "undecided": "UNDECIDED", "within": "within", "no limit": "no limit"}
SIDES = {"L": "left", "R": "right"}

_FIGURES_OF_A_NAME = {
    ("pair", "offset"): "pair {}, sideways",
    ("pair", "lead"): "pair {}, left ahead of right",
    ("pair", "rise"): "pair {}, left above right",
    ("pair", "width"): "pair {}, width",
    ("axle", "offset"): "axle {}, sideways",
    ("axle", "square"): "axle {}, squareness",
    ("axle", "thrust"): "axle {}, rolling direction",
    ("axle", "lead"): "axle {}, left end ahead of right",
}
_FIGURES_OF_A_SIDE = {
    ("face", "toe"): "wheel face {}, toe",
    ("face", "camber"): "wheel face {}, camber",
    ("rail", "angle"): "rail {}, angle",
    ("rail", "bow"): "rail {}, bow",
}
_WHOLE_NAMES = {
    "rails.yaw": "rails, direction",
    "rails.asymmetry": "rails, left against right",
    "rails.taper": "rails, taper",
    "body.twist": "body, twist",
}
_BUILT_SO = ("rails.taper", "rail.L.angle", "rail.R.angle", "rail.L.bow", "rail.R.bow")
"""Figures of the rails' own shape, which are seldom nought on a car that is straight."""
_ALONG = {"x": "fore and aft", "y": "sideways", "z": "height"}


def label(check_name: str) -> str:
    """A check's name in shop words: "pair.tail.offset" -> "pair tail, sideways".

    Point and pair names may hold dots, so only the first and the last part are read as the rule's own; a name
    this page does not know is given back as it stands.
    """
    if check_name in _WHOLE_NAMES:
        return _WHOLE_NAMES[check_name]
    family, _, rest = check_name.partition(".")
    name, _, figure = rest.rpartition(".")
    if family == "cross" and name:
        return f"diagonals, {rest.replace('.', ' to ')}" if rest.count(".") == 1 else f"diagonals, {rest}"
    if family == "chart" and figure in _ALONG:
        return f"{name} against the chart, {_ALONG[figure]}"
    if family == "chart" and rest.count(".") == 1:
        return f"{name} to {figure}, length against the chart"
    if (family, figure) in _FIGURES_OF_A_NAME:
        return _FIGURES_OF_A_NAME[family, figure].format(name)
    if (family, figure) in _FIGURES_OF_A_SIDE:
        first, _, side = name.rpartition(".")
        return _FIGURES_OF_A_SIDE[family, figure].format(f"{first} {SIDES.get(side, side)}".strip())
    return check_name


def decimals(check: CheckResult) -> int:
    """Decimals for a check: one for mm, two for degrees, more where rounding would hide u95 or the verdict.

    4.64 - 1.63 lies outside 3, but "4.6 ± 1.6, limit 3, OUTSIDE" would look like a mistake of ours.
    """
    fewest = 2 if check.unit == "deg" else 1
    if check.value is None or check.u95 is None:
        return fewest
    for places in range(fewest, fewest + 3):
        value, u95 = abs(round(check.value, places)), round(check.u95, places)
        if u95 == 0 and check.u95 > 0:
            continue
        if check.limit is None or check.verdict not in ("within", "outside"):
            return places
        slack = 10.0 ** -(places + 6)
        agrees = {
            "within": value + u95 <= check.limit + slack,
            "outside": value - u95 > check.limit + slack,
        }
        if agrees[check.verdict]:
            return places
    return fewest


def figure(check: CheckResult, units: str = "mm") -> str:
    """Value and expanded uncertainty: "+8.2 ± 2.1 mm"; "not held" where the readings do not hold it.

    A job in inches gets them added: "+8.2 ± 2.1 mm (+0.32 ± 0.08 in)".
    """
    if check.value is None or not check.estimable:
        return "not held"
    text = _plus_minus(check.value, check.u95, decimals(check), check.unit)
    if units != "in" or check.unit != "mm":
        return text
    u95_in = None if check.u95 is None else check.u95 / MM_PER_INCH
    return f"{text} ({_plus_minus(check.value / MM_PER_INCH, u95_in, decimals(check) + 1, 'in')})"


def _plus_minus(value: float, u95: float | None, places: int, unit: str) -> str:
    spread = "" if u95 is None else f" ± {u95:.{places}f}"
    return f"{signed(value, places)}{spread} {unit}"


def signed(value: float, places: int) -> str:
    """A number with its sign; no sign on what rounds to nought."""
    text = f"{value:+.{places}f}"
    return text[1:] if float(text) == 0 else text


def plain(value: float, places: int) -> str:
    """A number without a plus; no minus on what rounds to nought."""
    return signed(value, places).removeprefix("+")


def percent(share: float) -> str:
    """A share of 0 to 1 as "81 %"."""
    return f"{100 * share:.0f} %"


def chance(share: float) -> str:
    """A probability as "12 %", never as all or nothing: "more than 99 %", "less than 0.01 %"."""
    if 100 * share >= 99.5:
        return "more than 99 %"
    if 100 * share < 0.01:
        return "less than 0.01 %"
    return percent(share) if share >= 0.1 else f"{100 * share:.2g} %"


def limit(check: CheckResult) -> str:
    """The limit with its unit, or nothing."""
    return "" if check.limit is None else f"{check.limit:g} {check.unit}"


def standing(check: CheckResult) -> str:
    """Where it stands, in the words of the check; never empty."""
    if check.value is None or not check.estimable:
        return check.words or "the readings do not hold it"
    return check.words or figure(check)


def remarks(check: CheckResult) -> list[str]:
    """What a person must know beside a figure: that it rests on single drops, that the car was built so."""
    told = []
    if check.verdict == "outside" and check.single_drops:
        told.append("single drops of the bob: drop again before cutting")
    if check.limit is None and check.estimable and check.name in _BUILT_SO:
        told.append("the design's own shape is in it: no sign of damage by itself")
    return told


def unit_of(kind: str) -> str:
    """The unit of a reading's figures: pixels for a target seen in a photograph, else mm."""
    return "px" if kind == "target" else "mm"


def printable(text: str) -> str:
    """Text of the job with control characters made spaces: a title must not steer a terminal or a drawing."""
    return "".join(c if c.isprintable() else " " for c in text)


SAFETY = (
    "Never under a car that hangs on a jack alone: stands on firm ground, and shake it before you go under.",
    "Fuel lines, brake lines and wiring run behind panels: look behind before you drill, cut or weld.",
    "Battery off and fire watch before welding; galvanised or painted steel gives off poisonous fume.",
    "A change to the structure of a road car is for local codes and licensed practice to decide.",
)
