"""Sentences of the answer, about suspects and next acts: one wording for console, drawing and sheet."""

from collections.abc import Sequence

from measure.report.sources import place
from measure.report.words import label, percent, standing, unit_of
from measure.result import CheckResult, Document, Suspect, Verdict

ROOM = 100
"""Characters of the line that says what is fine, where nothing else sets its width."""


def worst_first(checks: Sequence[CheckResult]) -> list[CheckResult]:
    """OUT, undecided, within, no limit; within each the figure first that is largest against its limit."""
    order: tuple[Verdict, ...] = ("outside", "undecided", "within", "no limit")
    return sorted(checks, key=lambda c: (order.index(c.verdict), -abs(c.value or 0.0) / (c.limit or 1.0)))


def answers(doc: Document, room: int = ROOM) -> tuple[list[str], list[str], list[str]]:
    """What is out, what is undecided, what is fine; nothing that is out or undecided is left unnamed.

    Out: a figure each with its words, the farthest beyond its limit first, then which of them rest on single drops of
    the bob. What is fine is cut to `room` characters, and the rest of it counted.
    """
    of = {v: [c for c in doc.checks if c.verdict == v] for v in ("outside", "undecided", "within")}
    outside = worst_first(of["outside"])
    out = [f"{label(c.name)}: {standing(c)}" for c in outside]
    single = [label(c.name) for c in outside if c.single_drops]
    if single:
        all_of_it = "All of it rests on single drops of the bob: drop again before cutting"
        some = f"Single drops of the bob carry {'; '.join(single)}: drop again before cutting"
        out.append(all_of_it if len(single) == len(outside) else some)
    fine = in_one_line([label(c.name) for c in of["within"]], room)
    return out or ["nothing"], [label(c.name) for c in of["undecided"]] or ["nothing"], [fine]


def in_one_line(items: Sequence[str], room: int) -> str:
    """As many items as fit into `room` columns, at least one, then how many more there are."""
    if not items:
        return "nothing"
    for count in range(len(items), 0, -1):
        more = len(items) - count
        text = "; ".join(items[:count]) + (f"; and {more} more" if more else "")
        if len(text) <= room or count == 1:
            return text
    raise AssertionError("unreachable: the loop returns at one item")


def suspicion(suspect: Suspect, names: str) -> str:
    """What is wrong with a suspect, in sentences. `names`: the points it runs between, or nothing."""
    where = place(suspect.source)
    parts = [f"{where} ({names})" if names else where]
    if suspect.size is not None and suspect.kind == "target":
        parts[0] += f" lies about {abs(suspect.size):.2f} px off"
    elif suspect.size is not None:
        unit, way = unit_of(suspect.kind), "long" if suspect.size > 0 else "short"
        parts[0] += f" reads about {abs(suspect.size):.1f} {unit} {way}"
    if suspect.hint:  # its own brackets name the readings it cannot be told from, which are named below
        parts.append(suspect.hint.partition(" (cannot tell which")[0] if suspect.with_ else suspect.hint)
    if suspect.with_:
        parts.append(f"Cannot tell which: it may as well be {' or '.join(map(place, suspect.with_))}")
    parts.append("It is set aside and moves nothing" if suspect.set_aside else "It still counts")
    return " ".join(f"{part.rstrip('.')}." for part in parts)


def gain(check: CheckResult) -> str:
    """What the act that a check names would gain: "± 2.1 would become ± 1.8 mm; 21 % of it comes from ..."."""
    places = 2 if check.unit == "deg" else 1
    now = "" if check.u95 is None else f"± {check.u95:.{places}f} would become "
    then = "" if check.next is None else f"± {check.next.u95:.{places}f} {check.unit}"
    most = ""
    if check.budget:
        most = f"; {percent(check.budget[0].share)} of it comes from {check.budget[0].what}"
    return now + then + most
