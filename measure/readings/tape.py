"""Taped lengths: on the floor between plumb marks, on the car between points, and bars of known length.

A floor tape gives the horizontal distance of two marks, a car tape the straight distance of two
points. Model: reading = zero + (1 + scale) * length. The scale of each tape is an unknown with a
prior: the class limit a + b*L of OIML R 35 as a rectangular distribution, b/root 3 for the scale,
while a/root 3 joins the sd of each reading (GUM 4.3.7: half-width over root 3).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, sqrt

import numpy as np

from calib.tape_class import LIMITS
from calib.tape_corrections import pull_correction, sag_correction, temperature_correction
from measure.job import Job, Tape
from measure.readings.kind import Kind, Sheet, Site, either, line_by_line
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import NOWHERE, Array, State
from measure.tables import Column
from measure.tables import Row as TableRow

LENGTHS = ("floor", "car", "bar")
"""Kinds of reading that are a length between two points."""
COLUMNS = (
    Column("from", "name", required=True),
    Column("to", "name", required=True),
    Column("length", "length", required=True, positive=True),
    Column("where", "choice", required=True, choices=LENGTHS),
    Column("tape", "name"),
    Column("sd", "length", minimum=0.0),
    Column("note", "text"),
)
HEIGHT_SPREAD = 200.0
"""mm (sd), how far apart in height two points of an underbody may be: DESIGN's assumption."""


def read(row: TableRow, sheet: Sheet) -> Reading | None:
    """One tape reading; None where a cell cannot be used."""
    where = row.text("where")
    ends = [sheet.point(row, column, mark=where == "floor") for column in ("from", "to")]
    start, end = ends
    if start is None or end is None:
        return None
    if start == end:
        sheet.complain(row, "to", end, "a tape runs between two different points")
        return None
    via = "" if where == "bar" else row.text("tape") or _only_tape(sheet, row)
    sd = sheet.job.sd
    default = sd.bar if where == "bar" else sd.tape
    return Reading(
        where, row.source, (start, end), (row.required("length"),), either(row.figure("sd"), default),
        via, row.raw.get("length", ""),
    )  # fmt: skip


def _only_tape(sheet: Sheet, row: TableRow) -> str:
    """The tape a blank cell means: the one tape of job.toml, told as a note, else a tape without a name."""
    named = list(sheet.job.tapes)
    if len(named) != 1 or not named[0]:
        return ""
    sheet.findings.note(
        f"{sheet.stage}/{row.file}", None, "tape", "readings that name no tape",
        f'taken as read with "{named[0]}", the only tape of job.toml',
    )  # fmt: skip
    return named[0]


def tape_of(job: Job, name: str) -> Tape:
    """The settings of a tape; plain defaults for one that job.toml does not mention."""
    return job.tapes.get(name) or Tape()


def class_limit(job: Job, tape: Tape) -> tuple[float, float]:
    """(a, b) of the tape's class, mm and mm per mm; zeros for class "none"."""
    a, b = LIMITS.get(tape.tape_class or job.sd.tape_class, (0.0, 0.0))
    return a, b / 1000.0


def scale_sd(job: Job, tape: Tape) -> float:
    """Prior sd of a tape's scale, relative; what a check of the tape found goes before its class."""
    return tape.sd if tape.sd is not None else class_limit(job, tape)[1] / sqrt(3.0)


def corrected(readings: Sequence[Reading], site: Site) -> Array:
    """Readings (m,) freed of zero error, temperature and pull, mm. The scale stays an unknown."""
    body = site.job.stage_info[site.stage].temperature if site.stage in site.job.stage_info else None
    lengths = np.array([reading.values[0] for reading in readings])
    for name in dict.fromkeys(r.via for r in readings if r.kind != "bar"):
        tape = tape_of(site.job, name)
        mine = np.array([r.via == name and r.kind != "bar" for r in readings])
        raw = lengths[mine] - tape.zero
        fixed = raw.copy()
        if tape.temperature is not None and body is not None:
            fixed += temperature_correction(raw, tape.temperature, body)
        if tape.pull is not None and tape.area is not None:
            fixed += pull_correction(raw, tape.pull, tape.standard_pull, tape.area)
        if tape.pull is not None and tape.weight is not None:
            hung = np.array([r.kind == "car" for r in readings])[mine]
            fixed[hung] += sag_correction(raw[hung], tape.weight, tape.pull)
        lengths[mine] = fixed
    return lengths


def spread_in_height(a: str, b: str, site: Site) -> tuple[float, float]:
    """(height difference, its sd) of two points whose heights were not measured together, mm."""
    job = site.job
    heights = [site.assumed_heights.get(name) for name in (a, b)]
    if heights[0] is not None and heights[1] is not None:
        return heights[0] - heights[1], sqrt(2.0) * job.sd.build
    first, second = job.point(a), job.point(b)
    if first.pair is not None and first.pair == second.pair:
        # twins stand equally high on the body; a lean of the car lifts one by its share of the width
        return 0.0, hypot(sqrt(2.0) * job.sd.build, np.radians(job.sd.level) * 1000.0)
    return 0.0, sqrt(2.0) * HEIGHT_SPREAD


def blocks(readings: Sequence[Reading], site: Site) -> list[Block]:
    """Floor tapes, car tapes and bars with and without heights, and the prior of each tape's scale."""
    floor = [r for r in readings if r.kind == "floor"]
    straight: list[Reading] = []
    flat: list[Reading] = []
    for reading in (r for r in readings if r.kind != "floor"):
        a, b = (site.level_sets[site.unknowns.point_idx[name]] for name in reading.names)
        (straight if a == b and a >= 0 else flat).append(reading)
    made = []
    u = site.unknowns
    if floor:
        ends = np.array([[u.mark_idx[n] for n in r.names] for r in floor])
        made.append(_lengths(floor, site, ends, on_floor=True, axes=2))
    if straight:
        ends = np.array([[u.point_idx[n] for n in r.names] for r in straight])
        made.append(_lengths(straight, site, ends, on_floor=False, axes=3))
    if flat:
        ends = np.array([[u.point_idx[n] for n in r.names] for r in flat])
        made.append(_lengths(flat, site, ends, on_floor=False, axes=2))
    return made + _priors(site)


def _lengths(readings: list[Reading], site: Site, ends: Array, *, on_floor: bool, axes: int) -> Block:
    u, job = site.unknowns, site.job
    observed = corrected(readings, site)
    sd = np.empty(len(readings))
    for i, reading in enumerate(readings):
        tape = tape_of(job, reading.via)
        a = 0.0 if reading.kind == "bar" or tape.sd is not None else class_limit(job, tape)[0]
        sd[i] = hypot(reading.sd, a / sqrt(3.0))
    if not on_floor and axes == 2:
        # A straight length over an unknown rise: its plan length is shorter by rise^2/2L, which is
        # neither known nor normal. Its mean is taken off and its scatter joins the sd.
        for i, reading in enumerate(readings):
            rise, spread = spread_in_height(reading.names[0], reading.names[1], site)
            length = observed[i]
            observed[i] -= (rise**2 + spread**2) / (2 * length)
            sd[i] = hypot(sd[i], rise * spread / length, spread**2 / (sqrt(2.0) * length))
    source = u.mark_columns if on_floor else u.point_columns[:, :axes]
    # a bar belongs to no tape: its row in the padded table of tapes is the last, which is exact
    of_tape = np.array([-1 if r.kind == "bar" else u.tapes.index(r.via) for r in readings])
    tape_columns = np.vstack([u.tape_columns, [[NOWHERE, NOWHERE]]])[of_tape]
    columns = np.column_stack([source[ends[:, 0]], source[ends[:, 1]], tape_columns])

    def linearise(state: State) -> Linearised:
        places = state.marks if on_floor else state.positions[:, :axes]
        leg = places[ends[:, 1]] - places[ends[:, 0]]
        length = np.linalg.norm(leg, axis=1)
        scale, offset = np.vstack([state.tapes, [[0.0, 0.0]]])[of_tape].T
        direction = leg / np.maximum(length, 1e-9)[:, None] * (1.0 + scale)[:, None]
        derivatives = np.column_stack([-direction, direction, length, np.ones(len(length))])
        return (1.0 + scale) * length + offset, derivatives, columns

    return Block([Row(r, "", r.values[0]) for r in readings], observed, sd, linearise)


def _priors(site: Site) -> list[Block]:
    """What is known of each tape beforehand: its scale, and its zero error where a check of the tape found it."""
    u, job = site.unknowns, site.job
    known: list[tuple[str, int, int, float, float]] = []
    for i, name in enumerate(u.tapes):
        tape = tape_of(job, name)
        known.append(("scale", i, 0, tape.scale, scale_sd(job, tape)))
        if name not in site.offset_tapes:
            known.append(("zero", i, 1, 0.0, tape.zero_sd))
    known = [k for k in known if u.tape_columns[k[1], k[2]] != NOWHERE]
    if not known:
        return []
    tape_idx, kind_idx = np.array([k[1] for k in known]), np.array([k[2] for k in known])
    rows = [
        Row(Reading(kind, "job.toml", (u.tapes[i],), (value,), sd, u.tapes[i]), "", value, tested=False)
        for kind, i, _, value, sd in known
    ]
    ones, columns = np.ones((len(known), 1)), u.tape_columns[tape_idx, kind_idx][:, None]

    def linearise(state: State) -> Linearised:
        return state.tapes[tape_idx, kind_idx], ones, columns

    return [Block(rows, np.array([k[3] for k in known]), np.array([k[4] for k in known]), linearise)]


KIND = Kind("tape", COLUMNS, line_by_line(read), blocks, LENGTHS, fill_in="length")
