"""Two stages next to each other: each judged figure before, after, and by how much it changed."""

from __future__ import annotations

from dataclasses import dataclass

from measure.report.words import decimals, figure, signed
from measure.result import CheckResult, Document
from measure.web.results_view import SIGNS


@dataclass(frozen=True)
class Cell:
    """A figure of one stage: its verdict, the sign of that, the figure with its uncertainty; "" where it has none."""

    verdict: str
    sign: str
    figure: str


@dataclass(frozen=True)
class Row:
    """One judged figure; `change` is after minus before, "" where either is not held."""

    name: str
    before: Cell
    after: Cell
    change: str


def side_by_side(before: Document | None, after: Document | None) -> list[Row]:
    """Every figure that has a limit in either stage, in the order of the later one. Empty without two documents."""
    if before is None or after is None:
        return []
    was, now = ({c.name: c for c in doc.checks if c.limit is not None} for doc in (before, after))
    names = [*now, *(name for name in was if name not in now)]
    return [
        Row(name, _cell(was.get(name), before.units), _cell(now.get(name), after.units), _change(was, now, name))
        for name in names
    ]  # fmt: skip


def _cell(check: CheckResult | None, units: str) -> Cell:
    if check is None:
        return Cell("no limit", "", "")
    return Cell(check.verdict, SIGNS[check.verdict], figure(check, units))


def _change(was: dict[str, CheckResult], now: dict[str, CheckResult], name: str) -> str:
    """No uncertainty of its own: the two share the car's build, which only a comparison of the points takes out."""
    a, b = was.get(name), now.get(name)
    if a is None or b is None or a.value is None or b.value is None or not (a.estimable and b.estimable):
        return ""
    return f"{signed(b.value - a.value, min(decimals(a), decimals(b)))} {b.unit}"
