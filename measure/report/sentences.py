"""Sentences about suspects and next acts: one wording for the console and for the sheet that leaves the shop."""

from collections.abc import Sequence

from measure.report.words import percent
from measure.result import CheckResult, Suspect


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
    parts = [f"{suspect.source} ({names})" if names else suspect.source]
    if suspect.size is not None:
        unit = "px" if suspect.kind == "target" else "mm"
        parts[0] += f" reads about {abs(suspect.size):.1f} {unit} {'long' if suspect.size > 0 else 'short'}"
    if suspect.hint:
        parts.append(suspect.hint)
    if suspect.with_:
        parts.append(f"Cannot tell which: it may as well be {' or '.join(suspect.with_)}")
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
