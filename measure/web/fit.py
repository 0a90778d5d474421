"""How a reading fits, in words, from the adjustment the commands use. Nothing is computed here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from measure.result import Document, ReadingResult, Suspect
from measure.units import format_length
from measure.web.sentences import say

How = Literal["fits", "off", "unchecked", "unsolved"]
UNCHECKED = 0.1
"""Redundancy under which the others do not check a reading, as in the result document."""
MUCH = 3.0
"""w beyond which a reading that still counts is called off."""


@dataclass(frozen=True)
class Fit:
    """`how` it fits, and the words for it; `size` mm it is off."""

    how: How
    words: str


def fits(doc: Document) -> dict[str, Fit]:
    """The fit of every reading by its source, such as `tape.csv:12`; the worst of its rows where it has several."""
    suspects = {s.source: s for s in doc.suspects}
    found: dict[str, tuple[float, Fit]] = {}
    for reading in doc.readings:
        badness = abs(reading.w or 0.0) if reading.residual is not None else -1.0
        worst = found.get(reading.source)
        if worst is None or badness > worst[0]:
            found[reading.source] = badness, _fit(reading, suspects.get(reading.source), doc)
    return {source: fit for source, (_, fit) in found.items()}


def _fit(reading: ReadingResult, suspect: Suspect | None, doc: Document) -> Fit:
    if suspect is not None and suspect.size is not None:
        words = say("off", size=size(abs(suspect.size), doc.units), hint=suspect.hint.rstrip(".") + ".")
        return Fit("off", f"{words} {say('set_aside')}" if suspect.set_aside else words)
    if reading.residual is None or reading.adjusted is None:
        return Fit("unsolved", say("loose"))
    if reading.redundancy is not None and reading.redundancy < UNCHECKED:
        return Fit("unchecked", say("unchecked"))
    off = size(abs(reading.residual), doc.units)
    if reading.w is not None and abs(reading.w) > MUCH:
        return Fit("off", say("off_counts", size=off))
    return Fit("fits", say("fits", size=off))


def size(mm: float, units: str) -> str:
    """A misfit for a person: tenths of a millimetre, and the nearest 64th of an inch where the job is in inches."""
    if units != "in" or mm < 0.2:
        return f"{mm:.1f} mm"
    return f"{format_length(mm, 'in')} ({mm:.1f} mm)"
