"""A stage's tables read, and turned into unknowns and rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from measure.findings import Findings
from measure.job import Job, Point
from measure.readings import KINDS, plumb
from measure.readings.kind import Sheet, Site, point_of
from measure.readings.reading import Block, Reading
from measure.readings.tape import LENGTHS, scale_sd, tape_of
from measure.readings.unknowns import Index, Unknowns
from measure.tables import read_table

A_TRIANGLE = 3
"""Readings, bars apart, that may place points without photographs."""


def read_stage(
    job: Job, stage: str, findings: Findings, progress: Callable[[int, int], None] | None = None
) -> list[Reading]:
    """Every reading of a stage, in the order of the tables. Findings are added, nothing is raised.

    `progress` is told (pictures done, pictures in all) while photographs are looked through.
    """
    readings: list[Reading] = []
    sheet = Sheet(job, stage, findings, progress)
    for kind in KINDS:
        rows = read_table(job.folder / stage, kind.table, kind.columns, job.units, findings, fill_in=kind.fill_in)
        others = sum(r.kind != "bar" for r in readings) >= A_TRIANGLE
        readings += kind.read(rows or [], replace(sheet, others=others))
    _complain_of_repeats(readings, stage, findings)
    return readings


def _complain_of_repeats(readings: Sequence[Reading], stage: str, findings: Findings) -> None:
    """A mark or a point of one setup has one place: a second line for it is an error."""
    seen: dict[tuple[str, ...], Reading] = {}
    for reading in readings:
        if reading.kind not in ("marks", "xyz"):
            continue
        first = seen.setdefault((reading.kind, reading.via, *reading.names), reading)
        if first is not reading:
            file, _, line = reading.source.rpartition(":")
            otherwise = f"a second drop {point_of(reading.names[0])}#2" if reading.kind == "marks" else "another setup"
            findings.error(
                f"{stage}/{file}", int(line), "point", reading.names[0],
                f"it stands in line {first.source.rpartition(':')[2]} already: keep one, or name {otherwise}",
            )  # fmt: skip


def site_of(job: Job, stage: str, readings: Sequence[Reading], offset_tapes: frozenset[str] = frozenset()) -> Site:
    """Which unknowns these readings touch, and which heights hang together.

    `offset_tapes` are tapes whose readings were found to share an offset, which then is an unknown.
    """
    marks = _in_order(n for r in readings if r.kind in ("floor", "marks") for n in r.names)
    in_space = [n for r in readings if r.kind in ("xyz", "target") for n in r.names]
    levelled = [n for r in readings if r.kind in ("heights", "levels") for n in r.names]
    straight = [n for r in readings if r.kind in ("car", "bar") for n in r.names]
    rank = {p.name: i for i, p in enumerate(job.points)}
    plan = sorted({*map(point_of, marks), *in_space, *straight}, key=rank.__getitem__)
    heights = sorted({*in_space, *levelled}, key=rank.__getitem__)
    taped = _in_order(r.via for r in readings if r.kind in ("floor", "car"))
    tapes = {
        name: (scale_sd(job, tape_of(job, name)) > 0, name in offset_tapes or tape_of(job, name).zero_sd > 0)
        for name in taped
    }
    setups = _in_order(r.via for r in readings if r.kind in ("xyz", "target"))
    images = [r for r in readings if r.seen is not None]
    lenses = _in_order(r.seen.camera.key for r in images if r.seen)
    sheets = _in_order(r.names[0] for r in images if r.seen and r.seen.standoff != 0)
    unknowns = Unknowns.of(plan, heights, marks, tapes, setups, lenses, sheets)
    # A factory height is used only where nothing was measured: the two have different zeros.
    assumed = {} if heights else {p.name: p.z for p in job.points if p.z is not None}
    levels = _level_sets(unknowns, readings)
    return Site(job, stage, unknowns, levels, assumed, offset_tapes, _scaled_blocks(readings))


def _scaled_blocks(readings: Sequence[Reading]) -> frozenset[str]:
    """Blocks of photographs with a length between two of their points, taped or from places of another kind."""
    points: dict[str, set[str]] = {}
    for r in readings:
        if r.seen:
            points.setdefault(r.seen.block.name, set()).add(r.names[0])
    lengths = [{point_of(n) for n in r.names} for r in readings if r.kind in LENGTHS]
    placed: dict[str, set[str]] = {}
    for r in readings:
        if r.kind in ("xyz", "marks"):
            placed.setdefault(r.via, set()).update(map(point_of, r.names))
    return frozenset(
        name for name, mine in points.items()
        if any(len(ends & mine) == 2 for ends in lengths) or any(len(p & mine) >= 2 for p in placed.values())
    )  # fmt: skip


def blocks_of(readings: Sequence[Reading], site: Site) -> list[Block]:
    """All rows of the adjustment: those of each table's kind, then the plumb bob's."""
    made: list[Block] = []
    for kind in KINDS:
        mine = [r for r in readings if r.kind in kind.makes]
        made.extend(kind.blocks(mine, site) if mine else [])
    on_base_line = {point_of(r.names[0]) for r in readings if r.kind == "marks"}
    return made + plumb.blocks(readings, site, heading_is_free=len(on_base_line) < 2)


def _in_order(names: object) -> list[str]:
    return list(dict.fromkeys(names))  # type: ignore[call-overload]


def _level_sets(unknowns: Unknowns, readings: Sequence[Reading]) -> Index:
    """Number the sets of points whose heights hang together; -1 for points without a height."""
    label = np.where(unknowns.point_columns[:, 2] >= 0, np.arange(len(unknowns.points)), -1)
    heights = [r.names[0] for r in readings if r.kind == "heights"]
    joined = [heights] + [list(r.names) for r in readings if r.kind == "levels"]
    seen_together: dict[str, list[str]] = {}
    for r in readings:
        if r.kind in ("xyz", "target"):
            seen_together.setdefault(r.seen.block.name if r.seen else r.via, []).append(r.names[0])
    joined += seen_together.values()
    in_space = {name for names in seen_together.values() for name in names}
    # a straight tape from one setup to another holds their heights too, all of them together
    joined += [list(r.names) for r in readings if r.kind in ("car", "bar") and in_space.issuperset(r.names)]
    for names in joined:
        old = [label[unknowns.point_idx[n]] for n in names]
        if old:
            label[np.isin(label, old)] = min(old)
    return label


def unread(job: Job, readings: Sequence[Reading]) -> list[Point]:
    """Points of points.csv that no reading of this stage touches."""
    touched = {point_of(n) for r in readings for n in r.names}
    return [p for p in job.points if p.name not in touched]
