"""A job's files and the readings of one stage."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from measure.findings import BadInput, Findings
from measure.job import Job, choose_stage, load_job
from measure.readings.reading import Reading
from measure.readings.stage import read_stage

Progress = Callable[[int, int], None]
"""Told (pictures done, pictures in all)."""


def read_job(
    folder: Path, stage: str | None, findings: Findings, progress: Progress | None = None
) -> tuple[Job, str, list[Reading]]:
    """Job, stage and readings. Raises BadInput with all findings of all files together."""
    job = load_job(folder, findings)
    if job is None:
        raise BadInput(findings)

    def has_readings(name: str) -> bool:
        return bool(read_stage(job, name, Findings()))

    chosen = choose_stage(job, stage, findings, has_readings)
    if chosen is None:
        raise BadInput(findings)
    readings = read_stage(job, chosen, findings, progress)
    if not readings:
        findings.error(chosen, None, None, "no readings", "enter at least some lengths in tape.csv")
    findings.raise_if_errors()
    return job, chosen, readings
