"""A movement of some size in the shop's words: what is wrong, and which way it must come back."""

from __future__ import annotations

from math import degrees

from measure.body.movements import Movement

SIDE_WORDS = {"L": "left", "R": "right"}
KINDS = {
    "sway": "a section to one side (sway)",
    "side": "one side out or in",
    "diamond": "one side pushed back (diamond)",
    "twist": "twist",
    "bend": "sag or kick-up",
    "shortening": "shortening",
    "axle": "the axle on a straight body",
}


def wrong(m: Movement, size: float) -> str:
    """What a movement of this size (mm, its sign) did."""
    mm = f"{abs(size):.1f} mm"
    sideways = "left" if size > 0 else "right"
    if m.kind == "sway":
        if m.form == "swing":
            return f"{_end(m)} swings {mm} to the {sideways} at {_far(m)}, from {m.hinge} on ({_turn(m, size)})"
        return f"{_part(m)} stands {mm} to the {sideways}"
    if m.kind == "side":
        way = "out" if (size > 0) == (m.side == "L") else "in"
        return f"{_part(m)} stands {mm} {way}"
    if m.kind == "diamond":
        return f"{_part(m)} is pushed {'forward' if size > 0 else 'back'} by {mm}"
    if m.kind == "twist":
        high = "left" if size > 0 else "right"
        return (
            f"{_end(m)} is twisted from {m.hinge} on: at {_far(m)} the {high} side stands {mm} high ({_turn(m, size)})"
        )
    if m.kind == "bend":
        if m.form == "swing":
            way = "kicks up" if size > 0 else "sags"
            return f"{_end(m)} {way} {mm} at {_far(m)}, bent at {m.hinge} ({_turn(m, size)})"
        return f"{_part(m)} stands {mm} too {'high' if size > 0 else 'low'}"
    if m.kind == "shortening":
        short = (size > 0) == (m.reach == "rear")
        return f"the car is {mm} too {'short' if short else 'long'} {_border(m)}"
    if m.form == "sideways":
        return f"the {m.first} axle stands {mm} to the {sideways}"
    ahead = "left" if size > 0 else "right"
    return f"the {m.first} axle is skewed: its {ahead} end stands {mm} ahead ({_turn(m, size)})"


def back(m: Movement, size: float) -> str:
    """Which way it must come back, without the amount: "to the right"."""
    return {
        ("sway", "shift"): _either(size, "to the right", "to the left"),
        ("sway", "swing"): _either(size, f"to the right at {_far(m)}", f"to the left at {_far(m)}"),
        ("side", "shift"): _either(size if m.side == "L" else -size, "in", "out"),
        ("diamond", "shift"): _either(size, "back", "forward"),
        ("twist", "swing"): _either(
            size, f"down on the left against the right at {_far(m)}", f"down on the right against the left at {_far(m)}"
        ),
        ("bend", "shift"): _either(size, "down", "up"),
        ("bend", "swing"): _either(size, f"down at {_far(m)}", f"up at {_far(m)}"),
        ("shortening", "shift"): _either(size, "rearward", "forward"),
        ("axle", "sideways"): _either(size, "to the right", "to the left"),
        ("axle", "square"): _either(size, "back at its left end", "back at its right end"),
    }[m.kind, m.form]


def what(m: Movement) -> str:
    """The part that moved."""
    if m.kind == "axle":
        return f"the {m.first} axle"
    return _end(m) if m.form == "swing" else _part(m)


def _either(size: float, positive: str, negative: str) -> str:
    return positive if size > 0 else negative


def _turn(m: Movement, size: float) -> str:
    return f"{abs(degrees(m.turn * size)):.2f} degrees"


def _end(m: Movement) -> str:
    return f"the {m.reach}"


def _far(m: Movement) -> str:
    return m.first if m.reach == "front" else m.last


def _part(m: Movement) -> str:
    whose = f"the {SIDE_WORDS[m.side]} side" if m.side else ""
    if m.reach == "all":
        return f"{whose} over its whole length" if m.kind == "side" else whose
    if m.first == m.last:
        return f"{whose} at {m.first}" if whose else m.first
    if m.reach == "rear":
        return f"{whose or 'the rear'} from {m.first} rearward"
    if m.reach == "front":
        return f"{whose or 'the front'} from {m.last} forward"
    return f"{whose or 'the length'} from {m.first} to {m.last}"


def _border(m: Movement) -> str:
    return f"ahead of {m.first}" if m.reach == "rear" else f"behind {m.last}"
