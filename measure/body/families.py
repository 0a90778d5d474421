"""The families of checks. A further family is one new file and one line here."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from measure.body import axle, face, pairs, rails, twist
from measure.body.check import Car, Check

FAMILIES: tuple[Callable[[Car], Iterable[Check]], ...] = (
    pairs.checks,
    rails.checks,
    axle.checks,
    face.checks,
    twist.checks,
)
