"""Lengths that cannot be right for these targets: refused or doubted, never a verdict in mm."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from measure.check import check
from measure.findings import BadInput
from measure.result import Document
from tests.web.conftest import SAMPLES

FIRST, SECOND = "bar1a,bar1b", "bar2a,bar2b"
"""1923.314 and 1942.189 mm in the sample."""
Judge = Callable[..., Document]


@pytest.fixture
def judged(tmp_path: Path) -> Judge:
    """The photographed sample with other lengths of its bars."""

    def judge(*lines: str) -> Document:
        job = tmp_path / "car"
        shutil.copytree(SAMPLES / "photo_car", job, dirs_exist_ok=True)
        rows = [f"{ends},{length},bar,0.05" for ends, length in (line.split("=") for line in lines)]
        (job / "before" / "tape.csv").write_text("\n".join(["from,to,length,where,sd", *rows, ""]), encoding="utf-8")
        return check(job)

    return judge


def of(doc: Document, name: str) -> str:
    return next(c.verdict for c in doc.checks if c.name == name)


@pytest.mark.parametrize(
    "lines", [[f"{FIRST}=192.33"], [f"{FIRST}=192.33", f"{SECOND}=194.22"], [f"{FIRST}=1293.314"]]
)  # fmt: skip
def test_a_length_that_makes_the_sheets_another_size_is_refused_by_its_line(judged: Judge, lines: list[str]) -> None:
    with pytest.raises(BadInput, match=r"tape.csv line 2, column length.*a target of 80 mm comes out") as refused:
        judged(*lines)
    assert len(refused.value.findings.errors) == len(lines)


def test_one_bar_in_another_unit_beside_a_good_one_is_set_aside(judged: Judge) -> None:
    doc = judged(f"{FIRST}=19233.14", f"{SECOND}=1942.189")
    (suspect,) = doc.suspects
    assert suspect.source == "tape.csv:2" and suspect.set_aside
    assert of(doc, "pair.rail4.offset") == "outside" and any("One length alone" in c for c in doc.cautions)


def test_two_bars_that_disagree_are_both_named_and_leave_mm_undecided_and_angles_judged(judged: Judge) -> None:
    doc = judged(f"{FIRST}=1923.314", f"{SECOND}=1945.189")
    (suspect,) = doc.suspects
    assert not suspect.set_aside and {suspect.source, *suspect.with_} == {"tape.csv:2", "tape.csv:3"}
    assert not doc.loose
    assert {c.verdict for c in doc.checks if c.unit == "mm" and c.limit is not None} == {"undecided"}
    assert of(doc, "axle.rear.thrust") == "outside"
    assert any("disagree (tape.csv line 2, tape.csv line 3)" in caution for caution in doc.cautions)


def test_sheets_a_few_per_cent_off_are_told_and_judged(judged: Judge) -> None:
    doc = judged(f"{FIRST}=1846.38", f"{SECOND}=1864.50")  # both 4 % short: as likely the printer's doing
    assert of(doc, "pair.rail4.offset") == "outside"
    assert any("4 % smaller than targets.csv says" in caution for caution in doc.cautions)
    assert not any("than targets.csv says" in c for c in judged(f"{FIRST}=1923.314", f"{SECOND}=1942.189").cautions)


def test_one_bar_listed_twice_is_one_bar(judged: Judge) -> None:
    doc = judged(f"{FIRST}=1923.314", f"{FIRST}=1923.314")
    assert any("One length alone" in caution for caution in doc.cautions)
