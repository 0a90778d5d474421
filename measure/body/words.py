"""Signed figures in the shop's words, so that no one needs the sign rule."""

from __future__ import annotations

from collections.abc import Callable

Words = Callable[[float], str]
"""A value said as a person would, or the side it counts to."""


def said(start: str, form: Words, end: str = "") -> Words:
    """Words that begin with the same subject for every value."""
    return lambda value: f"{start}{form(value)}{end}"


def whichever(positive: str, negative: str, neither: str = "") -> Words:
    """One of two words by the sign of a value."""
    return lambda value: positive if value > 0 else negative if value < 0 else neither


def sideways(mm: float) -> str:
    """4.2 -> "4.2 mm to the left"."""
    return f"{abs(mm):.1f} mm {_unless_nought(mm, 0.05, 'to the left', 'to the right')}".rstrip()


def pointing(degrees: float) -> str:
    """0.31 -> "0.31 degrees, pointing left"."""
    side = _unless_nought(degrees, 0.005, "left", "right")
    return f"{abs(degrees):.2f} degrees" + (f", pointing {side}" if side else "")


def higher(mm: float) -> str:
    """5 -> "left higher by 5.0 mm"."""
    return _more(mm, "left higher by", "right higher by", "level to")


def ahead(mm: float) -> str:
    """5 -> "left ahead by 5.0 mm"."""
    return _more(mm, "left ahead by", "right ahead by", "level to")


def _more(mm: float, left: str, right: str, neither: str) -> str:
    return f"{_unless_nought(mm, 0.05, left, right) or neither} {abs(mm):.1f} mm"


side_of = whichever("left", "right")
"""The side a signed figure counts to: + left, - right."""


def _unless_nought(value: float, shown: float, positive: str, negative: str) -> str:
    """No side where the figure prints as nought."""
    return "" if abs(value) < shown else positive if value > 0 else negative
