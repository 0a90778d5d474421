"""The folder that is served: which jobs are in it, and nothing outside it."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path

from measure.findings import Findings
from measure.history import History
from measure.job import Job, load_job
from measure.web.sentences import say

JOB_FILE = "job.toml"
MOST_JOBS = 2_000


class NotHereError(Exception):
    """No such job or stage in the folder that is served; `str()` says what was asked for."""


@dataclass
class Shop:
    """`root` is a job or a folder of jobs. Jobs are known by the name of their folder."""

    root: Path
    _histories: dict[Path, History] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def single(self) -> bool:
        """Whether the folder is itself a job."""
        return (self.root / JOB_FILE).is_file()

    def jobs(self) -> dict[str, Path]:
        """The jobs by name. A link that leads out of the folder is none. Raises OSError where the folder has gone."""
        root = self.root.resolve(strict=True)
        if self.single:
            return {root.name or "job": root}
        found = {}
        for path in sorted(root.iterdir())[:MOST_JOBS]:
            if path.name.startswith(".") or path.is_symlink() or not path.is_dir():
                continue
            if (path / JOB_FILE).is_file():
                found[path.name] = path
        return found

    def folder(self, name: str) -> Path:
        """The folder of a job. Only names that `jobs` lists are found, so that no path can be asked for."""
        try:
            return self.jobs()[name]
        except KeyError:
            raise NotHereError(say("no_job", name=name)) from None

    def history(self, name: str) -> History:
        """The one History of a job in this process."""
        folder = self.folder(name)
        with self._lock:
            return self._histories.setdefault(folder, History(folder))

    def load(self, name: str) -> tuple[Job, Findings]:
        """A job as its files say, with what was found wrong. Raises NotHereError where nothing can be read of it."""
        findings = Findings()
        folder = self.folder(name)
        _no_links_out(folder, folder)
        job = load_job(folder, findings)
        if job is None:
            raise NotHereError(findings.numbered())
        return job, findings

    def stage(self, name: str, stage: str, *, make: bool = False) -> Path:
        """The folder of a stage that job.toml lists; made on request. A link out of the job is refused."""
        job, _ = self.load(name)
        if stage not in job.stages:
            raise NotHereError(say("no_stage", name=stage))
        path = job.folder / stage
        inside(path, job.folder)
        if make:
            path.mkdir(exist_ok=True)
        if path.is_dir():
            _no_links_out(path, job.folder)
        return path


def _no_links_out(place: Path, folder: Path) -> None:
    """Raises NotHereError where a file in `place` is a link that leads out of the job's `folder`."""
    for path in place.iterdir():
        if path.is_symlink():
            inside(path, folder)


def inside(path: Path, folder: Path) -> None:
    """Raises NotHereError where `path` leads, by a link or otherwise, out of `folder`."""
    if not path.resolve().is_relative_to(folder.resolve()):
        raise NotHereError(say("link_out", name=path.name))
