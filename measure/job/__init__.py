"""The job folder: everything that belongs to the car rather than to one day's readings of it."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from measure.atomic import write_atomically
from measure.findings import Findings, did_you_mean
from measure.job.axle_settings import Axle
from measure.job.chart import ChartLength, read_chart
from measure.job.jobtoml import NAME, JobToml, changed_job_toml, read_job_toml, update_job_toml, validated
from measure.job.limits import FAMILIES, read_limits
from measure.job.mounts import MountHole, read_mount_holes
from measure.job.points import Point, read_points
from measure.job.settings import Mount, Root, Sd, Settings, StageInfo, Tape
from measure.tables import cells, find_table
from measure.tables.textfile import check_folder
from measure.units import Unit

__all__ = [
    "Axle", "ChartLength", "Job", "Mount", "MountHole", "Point", "Sd", "StageInfo", "Tape", "changed_job_toml",
    "choose_stage", "inputs_sha256", "load_job", "update_job_toml", "write_atomically",
]  # fmt: skip

Model = TypeVar("Model", bound=Settings)

JOB_TABLES = ("points", "chart", "mounts")
STAGE_TABLES = ("tape", "marks", "heights", "levels", "xyz", "targets")
PHOTOS = "photos"
"""Folder of a stage's photographs."""
CAMERAS = "camera*.toml"
"""Calibrated cameras of a job."""


@dataclass(frozen=True)
class Job:
    """A job as its files say, read only. Lengths in mm, angles in degrees.

    `points` keep the order of points.csv, front to rear. `limits` holds the families (offset, angle, chart,
    movement) and whatever checks the job names. `camera` is as written in job.toml.
    """

    folder: Path
    title: str = ""
    units: Unit = "mm"
    stages: list[str] = field(default_factory=list)
    limits: dict[str, float] = field(default_factory=lambda: dict(FAMILIES))
    sd: Sd = field(default_factory=Sd)
    tapes: dict[str, Tape] = field(default_factory=dict)
    stage_info: dict[str, StageInfo] = field(default_factory=dict)
    axles: dict[str, Axle] = field(default_factory=dict)
    mounts: dict[str, Mount] = field(default_factory=dict)
    points: list[Point] = field(default_factory=list)
    chart: list[ChartLength] = field(default_factory=list)
    mount_holes: list[MountHole] = field(default_factory=list)

    def point(self, name: str) -> Point:
        """The point of this name. Raises KeyError."""
        return self._by_name[name]

    def has_point(self, name: str) -> bool:
        """Whether points.csv lists a point of this name."""
        return name in self._by_name

    def pairs(self) -> list[tuple[str, Point, Point]]:
        """(key, left, right) of each complete pair, in the order of first appearance: front to rear."""
        members: dict[str, dict[str, Point]] = {}
        for point in self.points:
            if point.pair is not None:
                members.setdefault(point.pair, {}).setdefault(point.side, point)
        return [(key, of["L"], of["R"]) for key, of in members.items() if "L" in of and "R" in of]

    @cached_property
    def _by_name(self) -> dict[str, Point]:
        return {point.name: point for point in self.points}


def load_job(folder: Path, findings: Findings) -> Job | None:
    """The job in `folder`, with everything wrong or odd added to `findings`.

    What is wrong is left at its default, so that the rest can still be looked at; nothing may be computed
    from a job whose findings hold an error. None where nothing further can be looked at.
    """
    toml = read_job_toml(folder, findings)
    if toml is None:
        return None
    root = validated(Root, toml.data, (), toml, "mm", findings)
    if "units" not in toml.data:
        findings.note(NAME, None, None, "no units", 'mm are meant; write units = "mm" or "in"')
    unit: Unit = root.units
    points = read_points(folder, unit, findings)
    if points is None:
        return None
    job = Job(
        folder=folder,
        title=root.title or folder.resolve().name,
        units=unit,
        stages=_stages(toml, root.stages, findings),
        limits=read_limits(toml, root.limits, points, unit, findings),
        sd=validated(Sd, root.sd, ("sd",), toml, unit, findings),
        tapes=_named(Tape, root.tape, "tape", toml, unit, findings),
        stage_info=_named(StageInfo, root.stage, "stage", toml, unit, findings),
        axles=_named(Axle, root.axle, "axle", toml, unit, findings),
        mounts=_named(Mount, root.mount, "mount", toml, unit, findings),
        points=points,
        chart=read_chart(folder, points, unit, findings),
        mount_holes=read_mount_holes(folder, unit, findings),
    )
    _check_names(job, toml, findings)
    if root.camera:
        would_do = "it is not read: a calibrated camera is the file camera.toml that `plumbsquare camera` writes"
        findings.note(NAME, toml.line(("camera",)), "camera", "[camera]", would_do)
    return job


def _stages(toml: JobToml, listed: Sequence[str], findings: Findings) -> list[str]:
    stages: list[str] = []
    for stage in listed:
        try:
            cells.name(stage)
        except cells.CellError as problem:
            toml.error(("stages",), stage, f"a stage is the name of a folder in the job; {problem}", findings)
            continue
        if "#" in stage or stage in stages:
            toml.error(("stages",), stage, "each stage is listed once, by its folder's name", findings)
            continue
        stages.append(stage)
    if not listed and not any(finding.column == "stages" for finding in findings.errors):
        would_do = 'list the folders that hold readings, such as stages = ["before", "after"]'
        findings.error(NAME, toml.line(("stages",)), None, "no stages", would_do)
    return stages


def _named(
    model: type[Model], tables: Mapping[str, Any], key: str, toml: JobToml, unit: Unit, findings: Findings
) -> dict[str, Model]:
    """The tables [key.NAME], each as a model."""
    return {
        name: validated(model, table, (key, name), toml, unit, findings)
        for name, table in _tables(tables, key, toml, findings).items()
    }


def _tables(tables: Mapping[str, Any], key: str, toml: JobToml, findings: Findings) -> dict[str, dict[str, Any]]:
    """The tables among the values of [key]; the rest, as `[tape] zero = 1` without a name, are errors."""
    for name, table in tables.items():
        if not isinstance(table, dict):
            toml.error((key, name), table, f"write it in a table [{key}.NAME] with its own name", findings)
    return {name: table for name, table in tables.items() if isinstance(table, dict)}


def _check_names(job: Job, toml: JobToml, findings: Findings) -> None:
    """Names in job.toml that must be those of a stage, a pair or an axle."""
    for name in job.stage_info:
        if name not in job.stages:
            would_do = f"it is not among the stages{did_you_mean(name, job.stages)}"
            findings.error(NAME, toml.line(("stage", name)), f"stage.{name}", name, would_do)
    for name, info in job.stage_info.items():
        if info.turned is not None and (info.turned == name or info.turned not in job.stages):
            others = [stage for stage in job.stages if stage != name]
            hint = did_you_mean(info.turned, others)
            would_do = f"name another stage, in which the wheels stood half a turn on{hint}"
            toml.error(("stage", name, "turned"), info.turned, would_do, findings)
    keys = [key for key, _, _ in job.pairs()]
    axles = [point.group for point in job.points if point.kind in {"axle", "face"}]
    places = [*keys, *dict.fromkeys(f"axle:{axle}" for axle in axles)]
    for name, mount in job.mounts.items():
        if mount.from_ is not None and mount.from_ not in places:
            would_do = f"write the key of a pair of points.csv, or axle:NAME{did_you_mean(mount.from_, places)}"
            toml.error(("mount", name, "from"), mount.from_, would_do, findings)
    driven = [*axles, *(point.group for point in job.points if point.kind in {"shaft", "pinion"})]
    for name, axle in job.axles.items():
        for part, thread in (("arm", axle.arm), ("link", axle.link)):
            if thread is not None and (thread.pitch is None) == (thread.threads_per_inch is None):
                found = "both" if thread.pitch is not None else "neither"
                would_do = "write either pitch = 1.5 (mm a turn) or threads_per_inch = 18"
                toml.error(("axle", name, part), f"{found} pitch and threads_per_inch", would_do, findings)
        if name not in driven:
            would_do = f"no point of points.csv has the part axle:{name}{did_you_mean(name, driven)}"
            findings.note(NAME, toml.line(("axle", name)), f"axle.{name}", name, would_do)


def choose_stage(job: Job, stage: str | None, findings: Findings, has_readings: Callable[[str], bool]) -> str | None:
    """The stage that is meant: the one asked for, else the first that has readings, with a note if several.

    A stage without readings is chosen only where there is no other, so that its tables' findings are told.
    None after an error: not listed, or no folder of that name.
    """
    if stage is not None:
        if stage not in job.stages:
            listed = ", ".join(job.stages) or "none"
            would_do = f"stages listed in job.toml: {listed}{did_you_mean(stage, job.stages)}"
            findings.error(NAME, None, "stages", f'no stage "{stage}"', would_do)
            return None
        return stage if _is_folder(job, stage, findings) else None
    there = [name for name in job.stages if _is_folder(job, name, Findings())]
    read = [name for name in there if has_readings(name)] if len(there) > 1 else there
    if len(read) > 1:
        would_do = f'"{read[0]}" is meant; ask for another with --stage'
        findings.note(NAME, None, "stages", f"{len(read)} stages with readings", would_do)
    if read and read[0] != job.stages[0]:
        would_do = f'"{read[0]}" is meant'
        findings.note(NAME, None, "stages", f'no readings in "{job.stages[0]}"', would_do)
    if read or there:
        return (read or there)[0]
    for name in job.stages:
        _is_folder(job, name, findings)
    return None


def _is_folder(job: Job, stage: str, findings: Findings) -> bool:
    absent = "make this folder and put the stage's tables in it: tape.csv and the like"
    return check_folder(job.folder / stage, stage, absent, findings)


def inputs_sha256(folder: Path, *stages: str, tables: Sequence[str] = STAGE_TABLES) -> str:
    """SHA-256 over the sorted relative names and bytes of every file that a check of these stages reads.

    For each file in the order of its name (slashes forward): the name in UTF-8 (or the bytes that it is, where they
    are none), then its bytes. Raises OSError where a file has gone since it was read.
    """
    paths = [folder / NAME]
    for stem in JOB_TABLES:
        paths += find_table(folder, stem)
    paths += [path for path in folder.glob(CAMERAS) if path.is_file()]
    for stage in stages:
        for stem in tables:
            paths += find_table(folder / stage, stem)
        photos = folder / stage / PHOTOS
        paths += [path for path in photos.glob("*") if path.is_file() and not path.name.startswith(".")]
    digest = hashlib.sha256()
    for name, path in sorted((path.relative_to(folder).as_posix(), path) for path in paths):
        digest.update(os.fsencode(name))
        digest.update(path.read_bytes())
    return digest.hexdigest()
