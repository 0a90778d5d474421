"""The families of checks. A further family is one new file and one line here."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from measure.body import axle, chart_lengths, face, pairs, rails, twist
from measure.body.check import Car, Check

FAMILIES: tuple[Callable[[Car], Iterable[Check]], ...] = (
    pairs.checks,
    rails.checks,
    axle.checks,
    face.checks,
    twist.checks,
)

WITHOUT_CENTRELINE: tuple[Callable[[Car], Iterable[Check]], ...] = (chart_lengths.checks,)
"""Families that no centreline bears on: judged once, whatever rivals it has. The chart's coordinates are one more, but
want the chart laid over the car (`measure.body.chart`)."""
