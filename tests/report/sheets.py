"""Documents and jobs for the sheets: an ordinary car, and one whose every word is hostile."""

from __future__ import annotations

import dataclasses
from functools import cache
from pathlib import Path
from typing import Any

from measure.compare.document import compare_stages
from measure.compare.result import Comparison
from measure.job import Job
from measure.job.settings import StageInfo
from measure.result import Document, Loose
from tests.documents import pulled_car
from tests.make_sample_data import SAMPLE_DATA

HOSTILE = "--!><script>alert(1)</script>]]>\"'&amp;{{7*7}}%%d^J\\U+0041\x1b[31m\u202e\r\n</template><b>"
TYPE = "Škoda-Übung façade µm ≤ 3 mm, ± 0.5°, 3′ 5″ – œuvre, Łódź"
INFO = {"before": StageInfo(date="2026-03-14", by="K. & M.", supported="stands: four", temperature=21.5)}


def job(**changes: Any) -> Job:
    return Job(**{"folder": Path("car"), "title": "Bench coupé", "stages": ["before"], "stage_info": INFO, **changes})


@cache
def repaired() -> Comparison:
    """What moved in the sample car with two stages."""
    return compare_stages(SAMPLE_DATA / "repaired_sill", "before", "after")


def hostile_car(words: str = HOSTILE) -> Document:
    """Every text of a document that a person can write, or that repeats what a person wrote."""
    car = pulled_car()
    return dataclasses.replace(
        car,
        job=words,
        stage=words,
        points=[dataclasses.replace(p, name=p.name + words, pair=p.pair and p.pair + words) for p in car.points],
        readings=[dataclasses.replace(r, source=words, names=[words, words]) for r in car.readings],
        suspects=[dataclasses.replace(s, source=words, hint=words, with_=[words]) for s in car.suspects],
        checks=[dataclasses.replace(c, words=words) for c in car.checks],
        cautions=[words],
        notes=[words],
        unchecked=[words],
        loose=[Loose([words], words, [words])],
    )
