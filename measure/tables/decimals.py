"""Which decimal mark a table writes: decided once for the whole table, from all its figures.

1,234 may be one and a quarter or twelve hundred. Another figure of the same table usually tells (104,5 or
104.5); where none does, the figure is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

_COMMA = re.compile(r"[0-9]*,[0-9]+")
_POINT = re.compile(r"[0-9]*\.[0-9]+")
_THOUSAND = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_MARKED = re.compile(r"[0-9]*[.,][0-9.,]*[0-9]")

POINT_TOO = "this table writes decimal commas elsewhere: write a comma here too, and no mark for thousands"
COMMA_TOO = "this table writes decimal points elsewhere: write a point here too, and no mark for thousands"
EITHER = "this could be a thousand or a decimal: write 1234, or 1.234 with a point"
MANY = "a figure has one decimal mark and none for thousands: write 1043.2"


@dataclass(frozen=True)
class Decimals:
    """`comma`: the table's decimal mark is a comma. `seen`: how many figures showed it."""

    comma: bool
    seen: int
    settled: bool

    def trouble(self, text: str) -> str | None:
        """What would do for a figure whose mark does not suit the table; None where it suits."""
        for figure in _MARKED.findall(text):
            if figure.count(".") + figure.count(",") > 1:
                return MANY
            if self.comma and "." in figure:
                return POINT_TOO
            if not self.comma and "," in figure:
                return COMMA_TOO if self.settled else EITHER
        return None


def decide(texts: Iterable[str]) -> Decimals:
    """The decimal mark of a table, from the text of all its figures."""
    commas = points = 0
    for text in texts:
        for figure in _MARKED.findall(text):
            if _THOUSAND.fullmatch(figure):
                continue
            commas += _COMMA.fullmatch(figure) is not None
            points += _POINT.fullmatch(figure) is not None
    comma = commas > points
    return Decimals(comma, commas if comma else points, settled=bool(commas or points))
