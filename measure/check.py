"""One stage of one job, from its files to the result document."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from threading import Thread

from measure.findings import Findings
from measure.read_job import Progress, read_job
from measure.result import Document


def check(folder: Path, stage: str | None = None, progress: Progress | None = None) -> Document:
    """The result document of one stage. Raises BadInput with everything found where the input cannot be used."""
    # the solver takes as long to load as some pictures to search: it does so meanwhile
    Thread(target=import_module, args=("measure.document",), daemon=True).start()
    findings = Findings()
    read = read_job(folder, stage, findings, progress)

    from measure.document import document
    from measure.survey import surveyed

    return document(surveyed(*read, findings, progress))


def exit_status(doc: Document) -> int:
    """0 all within, 1 something outside, 3 neither but something undecided, loose, or nothing to judge."""
    verdicts = [c.verdict for c in doc.checks if c.verdict != "no limit"]
    if "outside" in verdicts:
        return 1
    if not verdicts or "undecided" in verdicts or doc.loose or doc.pieces:
        return 3
    return 0
