"""What a stage says at this moment: solved once for each state of its files, however many ask at once."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from starlette.concurrency import run_in_threadpool

from measure.document import document
from measure.findings import BadInput, Findings
from measure.job import CAMERAS, JOB_TABLES, PHOTOS, STAGE_TABLES, load_job
from measure.refusals import TOO_LITTLE
from measure.result import Document
from measure.survey import Surveyed, survey
from measure.tape_plan import tapes_to_run
from measure.web.entering import FORMS, RefusedError, rows_of
from measure.web.fit import Fit, fits
from measure.web.sentences import say

Signature = tuple[tuple[str, int, int, int], ...]
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class View:
    """One state of a stage. `doc` is None where it cannot be worked out: `trouble` says why.

    `why`: the same in a sentence of the page's own; "" where the first line of `trouble` says it best.
    """

    signature: Signature
    revision: str
    surveyed: Surveyed | None
    doc: Document | None
    trouble: str
    fits: dict[str, Fit] = field(default_factory=dict)
    why: str = ""

    @property
    def first(self) -> str:
        """The first line of the trouble, without its number."""
        return self.trouble.split("\n")[0].removeprefix("1. ")


def signature(folder: Path, stage: str) -> Signature:
    """Name, time, size and number of every file that a check of the stage reads: other where any was written."""
    paths = [folder / "job.toml", *(folder.glob(CAMERAS))]
    for place, stems in ((folder, JOB_TABLES), (folder / stage, STAGE_TABLES)):
        for path in place.glob("*.*"):
            if path.suffix.casefold() in (".csv", ".xlsx") and path.stem.casefold() in stems:
                paths.append(path)
    paths += [p for p in (folder / stage / PHOTOS).glob("*") if not p.name.startswith(".")]
    found = []
    for path in sorted(paths):
        try:
            status = path.stat()
        except OSError:
            continue
        found.append((path.relative_to(folder).as_posix(), status.st_mtime_ns, status.st_size, status.st_ino))
    return tuple(found)


def revision_of(signed: Signature) -> str:
    """A short name for a state of the files."""
    import hashlib

    return hashlib.sha256(repr(signed).encode()).hexdigest()[:16]


class Stage:
    """One stage of one job while it is looked at."""

    def __init__(self, folder: Path, stage: str, solve: Callable[[Path, str], View] | None = None) -> None:
        self.folder, self.stage = folder, stage
        self._solve = solve or solved
        self._view: View | None = None
        self._running: tuple[int, asyncio.Task[View]] | None = None
        self._asked = 0

    async def view(self) -> View:
        """What the files say now. Solves that were begun before this call are not good enough, later ones are."""
        self._asked += 1
        mine = self._asked
        while True:
            now = await run_in_threadpool(signature, self.folder, self.stage)
            if self._view is not None and self._view.signature == now:
                return self._view
            if self._running is None:
                self._asked += 1
                task = asyncio.create_task(run_in_threadpool(partial(self._solve, self.folder, self.stage)))
                self._running = self._asked, task
                task.add_done_callback(self._finished)
            begun, task = self._running
            view = await asyncio.shield(task)
            if begun > mine:
                return view

    def _finished(self, task: asyncio.Task[View]) -> None:
        self._running = None
        if not task.cancelled() and task.exception() is None:
            self._view = task.result()

    def latest(self) -> View | None:
        """What was last worked out, whether or not it still holds."""
        return self._view


def solved(folder: Path, stage: str) -> View:
    """Work out a stage, as `plumbsquare check` does. Never raises for what is in the files."""
    signed = signature(folder, stage)
    revision = revision_of(signed)
    try:
        surveyed = survey(folder, stage)
        doc = document(surveyed)
        return View(signed, revision, surveyed, doc, "", fits(doc))
    except BadInput as bad:
        return View(signed, revision, None, None, str(bad), why=_why(folder, stage, bad))
    except OSError as problem:
        words = str(problem.strerror or problem)
        return View(signed, revision, None, None, words, why=words)
    except Exception:  # a page must go on taking readings whatever the solver meets
        log.exception("the solver failed")
        return View(signed, revision, None, None, say("program_failed"), why=say("program_failed"))


def _why(folder: Path, stage: str, bad: BadInput) -> str:
    """While readings are still coming in: how many pictures, or tapes of the plan, are. "" for any other trouble."""
    if any(error.found != TOO_LITTLE for error in bad.findings.errors):
        return ""
    pictures = sum(not path.name.startswith(".") for path in (folder / stage / PHOTOS).glob("*"))
    if pictures:
        return say("too_few_pictures", n=pictures)
    job = load_job(folder, Findings())
    planned = {frozenset(ends) for ends in tapes_to_run(job.points)} if job else set()
    if job is None or not planned:
        return say("too_little")
    try:
        rows = rows_of(job, stage, FORMS["tape"])
    except RefusedError:  # a spreadsheet: it is read all the same, and only not written to
        return say("too_little")
    run = planned & {frozenset((str(row["from"]), str(row["to"]))) for row in rows if row["length"]}
    return say("too_few_tapes", read=len(run), all=len(planned)) if run else say("too_little")


class Stages:
    """The stages that are looked at, by job and name."""

    def __init__(self) -> None:
        self._stages: dict[tuple[Path, str], Stage] = {}

    def of(self, folder: Path, stage: str) -> Stage:
        """The one Stage of this folder and name."""
        return self._stages.setdefault((folder, stage), Stage(folder, stage))
