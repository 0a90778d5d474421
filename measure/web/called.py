"""Readings called by their points, as on the page: "rail1L to rail2R" instead of "before/tape.csv line 9"."""

from __future__ import annotations

import re

from measure.job import Job
from measure.web.entering import FORMS, RefusedError, rows_of
from measure.web.sentences import say

_LINE = re.compile(rf"(?:[^\s/]+/)?({'|'.join(FORMS)})\.csv(?::| line )(\d+)")


def by_their_points(text: str, job: Job, stage: str) -> str:
    """`text` with the line of a reading's table given way to its points; as it stands where a line has none."""
    return _LINE.sub(lambda found: _points(job, stage, found[1], int(found[2])) or found[0], text)


def _points(job: Job, stage: str, table: str, line: int) -> str:
    try:
        row = next((row for row in rows_of(job, stage, FORMS[table]) if row["line"] == line), None)
    except (RefusedError, OSError):
        return ""
    ends = [str(row[name]) for name in FORMS[table].points] if row is not None else []
    return ends[0] if len(ends) == 1 else say("ends", a=ends[0], b=ends[1]) if ends and all(ends) else ""
