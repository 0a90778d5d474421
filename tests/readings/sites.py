"""Small jobs held in memory, and states at random, for the tests of single readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from measure.findings import Findings
from measure.job import Job, Point, Sd, StageInfo, Tape
from measure.readings.kind import Site
from measure.readings.reading import Block, Reading
from measure.readings.stage import blocks_of, read_stage, site_of
from measure.readings.unknowns import Array, State
from measure.rotation import rotation_matrices

NAMES = ("frontL", "frontR", "midL", "midR", "tailL", "tailR")
STAGE = "before"
FILE = {"floor": "tape.csv", "car": "tape.csv", "bar": "tape.csv"}


def job(
    *, sd: Sd | None = None, tapes: Mapping[str, Tape] | None = None, body: float | None = None,
    heights: Mapping[str, float] | None = None, names: Sequence[str] = NAMES, folder: Path = Path("job"),
) -> Job:  # fmt: skip
    """Points in pairs front first; `body` is its temperature, `heights` factory heights."""
    points = [Point(n, n[-1], n[:-1], z=(heights or {}).get(n)) if n[-1] in "LR" else Point(n) for n in names]  # type: ignore[arg-type]
    info = {STAGE: StageInfo(temperature=body)} if body is not None else {}
    return Job(folder, stages=[STAGE], sd=sd or Sd(), tapes=dict(tapes or {}), stage_info=info, points=points)


def reading(
    kind: str, *names: str, values: Sequence[float] = (1000.0,), sd: float = 0.5, via: str = "", line: int = 2
) -> Reading:
    return Reading(kind, f"{FILE.get(kind, kind + '.csv')}:{line}", names, tuple(values), sd, via)


def one_block(
    readings: Sequence[Reading], of: Job, *, offset_tapes: frozenset[str] = frozenset()
) -> tuple[Site, list[Block]]:
    """The site of these readings and all their blocks."""
    site = site_of(of, STAGE, readings, offset_tapes)
    return site, blocks_of(readings, site)


def random_state(site: Site, rng: np.random.Generator, *, drop: float = 3.0) -> State:
    """Points anywhere within a few metres, marks near them, setups turned any way."""
    u = site.unknowns
    positions = rng.uniform(-2000.0, 2000.0, (len(u.points), 3)) * (u.point_columns >= 0)
    under = [u.point_idx[m.partition("#")[0]] for m in u.marks]
    marks = positions[under, :2] + rng.normal(0.0, drop, (len(u.marks), 2))
    return State(
        u, positions, marks.reshape(-1, 2), rng.normal(0.0, 1e-3, (len(u.tapes), 2)),
        rotation_matrices(rng.uniform(-2.0, 2.0, (len(u.setups), 3))),
        rng.uniform(-3000.0, 3000.0, (len(u.setups), 3)),
    )  # fmt: skip


def analytic(block: Block, state: State) -> Array:
    """The block's Jacobian (m, n) as it says."""
    _, derivatives, columns = block.linearise(state)
    J = np.zeros((len(block.rows), state.unknowns.size))
    for i, (row, where) in enumerate(zip(derivatives, columns, strict=True)):
        for value, column in zip(row, where, strict=True):
            if column >= 0:
                J[i, column] += value
    return J


def differences(block: Block, state: State) -> Array:
    """The block's Jacobian (m, n) by central differences along every unknown."""
    J = np.zeros((len(block.rows), state.unknowns.size))
    steps = np.full(state.unknowns.size, 1e-3)
    steps[state.unknowns.tape_columns[:, 0][state.unknowns.tape_columns[:, 0] >= 0]] = 1e-5
    turns = state.unknowns.setup_columns[:, :3].ravel()
    steps[turns] = 1e-5
    for k, h in enumerate(steps):
        step = np.zeros(len(steps))
        step[k] = h
        ahead, behind = block.linearise(state.moved(step))[0], block.linearise(state.moved(-step))[0]
        J[:, k] = (ahead - behind) / (2 * h)
    return J


def read(folder: Path, tables: Mapping[str, str], of: Job) -> tuple[list[Reading], Findings]:
    """What the tables (name -> text) of the stage are read as."""
    (folder / STAGE).mkdir(exist_ok=True)
    (folder / "job.toml").touch()
    for name, text in tables.items():
        (folder / STAGE / f"{name}.csv").write_text(text, encoding="utf-8")
    findings = Findings()
    return read_stage(of, STAGE, findings), findings
