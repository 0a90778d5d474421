"""Published distance-only networks as job folders, and what is compared with them.

Axes of the job: along = north, across = west (to the left of it), so that a network seen from above is not mirrored.
Lengths are limited to 100 km, so coordinates are reduced by a whole number of metres.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from measure.adjust.network import Network
from measure.adjust.solver import Adjustment, solve
from measure.adjust.starting import starting_state
from measure.findings import Findings
from measure.job import Job
from measure.read_job import read_job
from measure.readings.reading import Reading
from measure.readings.stage import blocks_of, site_of

DATA = Path(__file__).parent / "data"
EAST_NORTH_FROM_JOB = np.array([[0.0, -1.0], [1.0, 0.0]])


def load(name: str) -> dict[str, Any]:
    return tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Published:
    """One network: names in the order of the covariance, coordinates in m east and north of `origin`."""

    data: dict[str, Any]
    origin: np.ndarray
    names: tuple[str, ...]
    xy: np.ndarray  # (n, 2) adjusted
    sd: np.ndarray  # (n, 2) mm
    covariance: np.ndarray  # (2n, 2n) mm^2
    distances: dict[str, np.ndarray]
    ends: list[tuple[str, str]]

    @staticmethod
    def of(name: str) -> Published:
        data = load(f"trilateration_{name}")
        given = np.array([row[1:3] for row in data["points"]["given"]])
        origin = np.round(np.median(given, axis=0))
        adjusted = {row[0]: row[1:] for row in data["points"]["adjusted"]}
        names = tuple(dict.fromkeys(entry.split()[1] for entry in data["covariance"]["order"]))
        assert data["covariance"]["order"] == [f"{axis} {n}" for n in names for axis in "xy"]
        rows = data["distances"]["rows"]
        columns = data["distances"]["columns"]
        return Published(
            data, origin, names,
            np.array([adjusted[n][:2] for n in names]) - origin,
            np.array([adjusted[n][2:] for n in names]),
            np.array(data["covariance"]["matrix_mm2"]),
            {c: np.array([row[i] for row in rows]) for i, c in enumerate(columns) if i > 1},
            [(row[0], row[1]) for row in rows],
        )  # fmt: skip

    def write_job(self, folder: Path) -> Path:
        """The network as a job: floor tapes with exact bobs, fixed points as exact marks off the base line."""
        stage = folder / "survey"
        stage.mkdir(parents=True)
        (folder / "job.toml").write_text(
            'title = "published network"\nunits = "mm"\nstages = ["survey"]\n[sd]\nplumb = 0\ntape_class = "none"\n',
            encoding="utf-8",
        )
        given = self.data["points"]["given"]
        points, marks = ["name,side,x,y"], ["point,along,across,sd"]
        for name, x, y, role in given:
            east, north = x - self.origin[0], y - self.origin[1]
            side = "L" if east < -1 else "R" if east > 1 else "C"
            points.append(f"{name},{side},{north:.3f} m,{-east:.3f} m")
            if role == "fixed":
                marks.append(f"{name},{north:.3f} m,{-east:.3f} m,0")
        tape = ["from,to,length,where,sd"]
        for (a, b), length, sd in zip(self.ends, self.distances["observed_m"], self.distances["stdev_mm"], strict=True):
            tape.append(f"{a},{b},{length} m,floor,{sd} mm")
        (folder / "points.csv").write_text("\n".join(points) + "\n", encoding="utf-8")
        (stage / "tape.csv").write_text("\n".join(tape) + "\n", encoding="utf-8")
        if len(marks) > 1:
            (stage / "marks.csv").write_text("\n".join(marks) + "\n", encoding="utf-8")
        return folder


@dataclass(frozen=True)
class Seen:
    """The same figures as the program has them; coordinates mm, east and north, in the order of `names`."""

    xy: np.ndarray
    covariance: np.ndarray  # (2n, 2n) mm^2, a priori
    residual: np.ndarray  # adjusted - observed, mm
    adjusted_sd: np.ndarray
    redundancy: np.ndarray
    w: np.ndarray
    sigma0: float
    freedom: int
    defect: int


def read(folder: Path) -> tuple[Job, str, list[Reading]]:
    return read_job(folder, None, Findings())


def plain_adjustment(folder: Path) -> Adjustment:
    """The job adjusted without any search for mistakes."""
    job, stage, readings = read(folder)
    site = site_of(job, stage, readings)
    return solve(Network(site.unknowns, blocks_of(readings, site)), starting_state(site, readings).state)


def seen(adjustment: Adjustment, published: Published) -> Seen:
    """Its figures in the published axes; a free network is turned and shifted rigidly onto the published one."""
    u = adjustment.network.unknowns
    at = [u.point_idx[n] for n in published.names]
    turn = EAST_NORTH_FROM_JOB
    xy = adjustment.state.positions[at, :2] @ turn.T
    if published.data["case"]["datum"] == "free":
        target = published.xy * 1000.0
        # heading from sum of conj(source)*target, as complex numbers: never a reflection
        a = (xy - xy.mean(axis=0)) @ [1, 1j]
        b = (target - target.mean(axis=0)) @ [1, 1j]
        h = np.vdot(a, b)
        c, s = (h / abs(h)).real, (h / abs(h)).imag
        onto = np.array([[c, -s], [s, c]])
        xy = (xy - xy.mean(axis=0)) @ onto.T + target.mean(axis=0)
        turn = onto @ turn
    J = np.kron(np.eye(len(at)), turn)
    columns = u.point_columns[at, :2].ravel()
    tapes = np.array([row.reading.kind == "floor" for row in adjustment.network.rows])
    order = [row.reading.names for row in adjustment.network.rows if row.reading.kind == "floor"]
    assert order == published.ends
    v = -adjustment.residual[tapes]
    r = adjustment.redundancy[tapes]
    freedom = adjustment.degrees_of_freedom
    return Seen(
        xy, J @ adjustment.Q[np.ix_(columns, columns)] @ J.T, v, np.sqrt(adjustment.adjusted_variance[tapes]), r,
        v / (adjustment.sd[tapes] * np.sqrt(r)), float(np.sqrt(adjustment.sum_of_squares / freedom)), freedom,
        adjustment.factor.defect,
    )  # fmt: skip
