"""Two stages next to each other: figure before, figure after, and the change between them."""

from __future__ import annotations

from dataclasses import replace

from measure.check import check
from measure.result import Document
from measure.web.side_by_side import side_by_side
from tests.web.conftest import SAMPLES

SILL = SAMPLES / "repaired_sill"


def both() -> tuple[Document, Document]:
    return check(SILL, "before"), check(SILL, "after")


def test_each_judged_figure_stands_with_both_verdicts_and_its_change() -> None:
    before, after = both()
    rows = {row.name: row for row in side_by_side(before, after)}
    assert list(rows) == [c.name for c in after.checks if c.limit is not None]
    was, now = (next(c for c in doc.checks if c.name == "pair.tail.offset") for doc in (before, after))
    tail = rows["pair.tail.offset"]
    assert (tail.before.verdict, tail.after.verdict) == (was.verdict, now.verdict) == ("within", "outside")
    assert was.value is not None and now.value is not None
    assert tail.change == f"{now.value - was.value:+.1f} mm" and "±" in tail.before.figure and "±" in tail.after.figure


def test_what_only_one_stage_holds_has_no_change() -> None:
    before, after = both()
    first, *rest = [c for c in after.checks if c.limit is not None]
    lost = replace(after, checks=[replace(first, value=None, u95=None, estimable=False), *rest[1:]])
    rows = {row.name: row for row in side_by_side(before, lost)}
    assert rows[first.name].change == "" and rows[first.name].after.figure == "not held"
    assert rows[rest[0].name].change == "" and rows[rest[0].name].after.figure == ""


def test_without_two_documents_there_is_no_table() -> None:
    before, _ = both()
    assert side_by_side(before, None) == side_by_side(None, before) == []
