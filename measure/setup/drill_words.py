"""What is said of a mount and of a hole: the shop's words, the same for text, JSON and drawings."""

from __future__ import annotations

from measure.body.verdict import Verdict
from measure.body.words import pointing, sideways
from measure.setup.drill_result import Existing, Why
from measure.units import Unit, format_length

VERDICTS: dict[Verdict, str] = {
    "within": "may be drilled",
    "outside": "may not be drilled",
    "undecided": "not yet: undecided",
    "no limit": "not judged",
}


def mount_words(name: str, verdict: Verdict, why: Why, offset: float, square: float | None, reasons: list[str]) -> str:
    """One mount: verdict, where it would stand and why, what stands in the way."""
    if why == "central":
        stands = "central on the centreline and square to it"
    else:
        angle = "" if square is None or why == "pilot" else f", {_turned(square)}"
        stands = f"{sideways(offset)}{angle}"
    because = {
        "central": "",
        "rails": ": the rails do not let it stand central and square, and this is the least that fits",
        "pilot": ", square to the centreline and on the pilot as drilled",
        "holes": ": as the holes that are there hold it",
    }[why]
    ending = f" {'; '.join(reasons)}." if reasons else ""
    return f"{name} {VERDICTS[verdict]}. It would stand {stands}{because}.{ending}"


def _turned(degrees: float) -> str:
    return "square to the centreline" if abs(degrees) < 0.005 else f"turned by {pointing(degrees)}"


def reason(what: str, value: float, u95: float, limit: float, unit: str, verdict: Verdict) -> str:
    """Why a figure is not within: "sideways 2.1 mm may be off by 1.4 mm more (limit 3 mm)"."""
    places = 2 if unit == "degrees" else 1
    told = f"{what} {abs(value):.{places}f}, give or take {u95:.{places}f} {unit}, against a limit of {limit:g}"
    return f"{told}: outside" if verdict == "outside" else f"{told}: cannot tell yet"


def fit_reason(hole: str, u95: float, forgives: float | None, there: bool) -> str:
    """Why the holes may not fit."""
    if forgives is None:
        return f"hole {hole} has no bolt in mounts.csv, so nothing says how far it may be off"
    verb = "may stand" if there else "may come out"
    return f"hole {hole} {verb} {u95:.1f} mm from where its bolt wants it and forgives {forgives:.2f} mm"


def room_reason(side: str, gap: float, u95: float, clearance: float, verdict: Verdict) -> str:
    """A mount held by holes drilled may come too near to a rail."""
    told = f"{gap:.1f} mm, give or take {u95:.1f}, are left to the {side} rail where {clearance:g} are wanted"
    return f"{told}: outside" if verdict == "outside" else f"{told}: cannot tell yet"


def hole_words(
    arcs: tuple[tuple[str, float], tuple[str, float]], check: tuple[str, float, float] | None, side: str, angle: float,
    units: Unit, existing: Existing | None,
) -> str:  # fmt: skip
    """How to mark one hole."""
    (a, la), (b, lb) = arcs
    told = (
        f"{length(la, units)} from mark {a} and {length(lb, units)} from mark {b}; the arcs cross at {angle:.0f} "
        f"degrees on the {side} of the line from {a} to {b}"
    )
    if check is not None:
        told += f"; check: {length(check[1], units)} from mark {check[0]}, to {check[2]:.1f} mm"
    if existing is not None:
        lead = "its arcs, to look back at" if existing.verdict in ("use", "slot") else "to mark it anew"
        told = f"there already as {existing.point}: it {existing.words}; {lead}: {told}"
    return told


def length(mm: float, units: Unit) -> str:
    """A tape length as a person reads it."""
    return format_length(mm, units)
