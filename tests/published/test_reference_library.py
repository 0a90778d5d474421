"""The same car by two general-purpose libraries, which know nothing of cars.

scipy.optimize.least_squares (MINPACK's lmder, Jacobian by complex steps) solves the network of a sample car in a gauge
of its own: three coordinates held instead of a minimum norm. Nothing that a rigid move leaves alone may differ.
uncertainties (E. O. Lebigot) propagates the full covariance of the adjusted points, by automatic differentiation, to
the offsets of the pairs and to the axle: the program goes by columns of effects and central differences.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares
from uncertainties import correlated_values, ufloat, umath

from measure.adjust.stage import Solved, adjust_stage
from measure.body.check import Figure
from measure.body.points import CarPoints, Sources
from measure.body.stand import Stand, stand
from measure.car_points import car_points
from measure.findings import Findings
from measure.job import Job
from measure.read_job import read_job

SAMPLES = Path(__file__).parents[2] / "sample_data"
CARS = ["straight_saloon", "pulled_rail"]
CLASS_II = (0.3 / np.sqrt(3), 0.0002 / np.sqrt(3))  # mm and mm/mm: half-widths a and b of the class over root 3


@dataclass(frozen=True)
class Sample:
    job: Job
    solved: Solved
    points: CarPoints
    standing: Stand


def solved_sample(folder: Path) -> Sample:
    job, stage, readings = read_job(folder, None, Findings())
    solved = adjust_stage(job, stage, readings)
    points = car_points(job, solved)
    standing = stand(job, points)
    assert standing is not None
    return Sample(job, solved, points, standing)


@cache
def sample(name: str) -> Sample:
    return solved_sample(SAMPLES / name)


@dataclass(frozen=True)
class Other:
    """The network solved by the library: points (n, 3) in its own gauge, their covariance, the cost v'Pv."""

    names: tuple[str, ...]
    xyz: np.ndarray
    covariance: np.ndarray  # (3n, 3n)
    square: float


@cache
def by_least_squares(name: str) -> Other:
    """Unknowns: x, y of points and of marks, z where heights were measured, one scale. Written anew."""
    s = sample(name)
    u, state = s.solved.site.unknowns, s.solved.final.state
    active = s.solved.final.active
    rows = [row for row, on in zip(s.solved.final.network.rows, active, strict=True) if on]
    tapes = [r.reading for r in rows if r.reading.kind == "floor"]
    heights = [r.reading for r in rows if r.reading.kind == "heights"]
    assert {r.reading.kind for r in rows} <= {"floor", "heights", "plumb", "scale"}
    assert len(u.tapes) == 1 and not s.solved.scaled
    n, m = len(u.points), len(u.marks)
    under = np.array([u.point_idx[mark.partition("#")[0]] for mark in u.marks])
    ends = np.array([[u.mark_idx[e] for e in r.names] for r in tapes])
    lengths = np.array([r.values[0] for r in tapes])
    tape_sd = np.hypot([r.sd for r in tapes], CLASS_II[0])
    raised = np.array([u.point_idx[r.names[0]] for r in heights], dtype=int)
    has_z = np.isin(np.arange(n), raised)
    # gauge: the first point does not move, nor the point farthest from it sideways
    far = int(np.argmax(np.linalg.norm(state.positions[:, :2] - state.positions[0, :2], axis=1)))
    axis = (state.positions[far] - state.positions[0])[:2] / np.linalg.norm(
        (state.positions[far] - state.positions[0])[:2]
    )
    turn = np.array([axis, [-axis[1], axis[0]]])  # so that `far` stands at y = 0
    free = np.ones((n, 3), dtype=bool)
    free[0, :2], free[far, 1], free[:, 2] = False, False, has_z

    def unpack(p: np.ndarray) -> tuple[np.ndarray, np.ndarray, Any]:
        points = np.zeros((n, 3), dtype=p.dtype)
        points[free] = p[: free.sum()]
        return points, p[free.sum() : free.sum() + 2 * m].reshape(m, 2), p[-1]

    def residuals(p: np.ndarray) -> np.ndarray:
        points, marks, scale = unpack(p)
        leg = marks[ends[:, 1]] - marks[ends[:, 0]]
        length = np.sqrt(leg[:, 0] ** 2 + leg[:, 1] ** 2)
        return np.concatenate([
            ((1 + scale) * length - lengths) / tape_sd,
            ((points[under, :2] - marks) / s.job.sd.plumb).ravel(),
            (points[raised, 2] - [r.values[0] for r in heights]) / [r.sd for r in heights],
            [scale / CLASS_II[1]],
        ])  # fmt: skip

    def jacobian(p: np.ndarray) -> np.ndarray:
        steps = p + 1e-30j * np.eye(len(p))
        return np.array([residuals(step).imag / 1e-30 for step in steps]).T

    start = np.zeros((n, 3))
    start[:, :2] = (state.positions[:, :2] - state.positions[0, :2]) @ turn.T
    start[:, 2] = np.where(has_z, state.positions[:, 2], 0.0)
    rng = np.random.default_rng(5)
    p = np.concatenate([start[free], start[under, :2].ravel(), [0.0]])
    p[:-1] += rng.normal(0.0, 5.0, len(p) - 1)
    found = least_squares(
        residuals, p, jacobian, method="lm", x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=5000
    )
    xyz = unpack(found.x)[0]
    C = np.zeros((3 * n, 3 * n))
    chosen = np.flatnonzero(free.ravel())
    C[np.ix_(chosen, chosen)] = np.linalg.inv(found.jac.T @ found.jac)[: len(chosen), : len(chosen)]
    return Other(u.points, xyz, C, 2 * float(found.cost))


def without_datum(C: np.ndarray, xyz: np.ndarray) -> np.ndarray:
    """Covariance (3n, 3n) less what shifts and turns all points (n, 3) together (Baarda's S-transformation)."""
    arm = xyz[:, :2] - xyz[:, :2].mean(axis=0)
    G = np.zeros((len(arm), 3, 3))
    G[:, 0, 0] = G[:, 1, 1] = 1.0
    G[:, 0, 2], G[:, 1, 2] = -arm[:, 1], arm[:, 0]
    G = G.reshape(-1, 3)
    S = np.eye(len(G)) - G @ np.linalg.solve(G.T @ G, G.T)
    return np.asarray(S @ C @ S.T)


def plan_distance(xyz: np.ndarray, covariance: np.ndarray, i: int, j: int) -> tuple[float, float]:
    leg = xyz[i, :2] - xyz[j, :2]
    length = float(np.linalg.norm(leg))
    J = np.zeros(len(covariance))
    J[3 * i : 3 * i + 2], J[3 * j : 3 * j + 2] = leg / length, -leg / length
    return length, float(np.sqrt(J @ covariance @ J))


@pytest.mark.parametrize("name", CARS)
def test_every_distance_and_its_sd(name: str) -> None:
    s, other = sample(name), by_least_squares(name)
    u = s.solved.site.unknowns
    assert other.square == pytest.approx(s.solved.final.sum_of_squares, abs=1e-9)
    padded = np.zeros((len(s.solved.final.Q) + 1,) * 2)
    padded[:-1, :-1] = s.solved.final.Q
    columns = u.point_columns.ravel()  # -1, nowhere, is the row of zeros
    C = padded[np.ix_(columns, columns)]
    for i, j in combinations(range(len(u.points)), 2):
        mine = plan_distance(s.solved.final.state.positions, C, i, j)
        theirs = plan_distance(other.xyz, other.covariance, i, j)
        assert mine[0] == pytest.approx(theirs[0], abs=1e-6)
        assert mine[1] == pytest.approx(theirs[1], rel=1e-4)


def moved(s: Sample, other: Other) -> tuple[np.ndarray, np.ndarray]:
    """The library's coordinates (n, 3) of the car's points; the turn (3n, 3n) to its axes from the network's."""
    at = [other.names.index(n) for n in s.points.names]
    xyz = other.xyz[at]
    xyz[:, 2] = np.where(s.points.height_known, xyz[:, 2], s.points.xyz[:, 2])
    a, b = (v[:, :2] @ [1, 1j] for v in (s.points.xyz, xyz))
    h = np.vdot(a - a.mean(), b - b.mean())
    c, sn = (h / abs(h)).real, (h / abs(h)).imag
    return xyz, np.kron(np.eye(len(at)), np.array([[c, -sn, 0.0], [sn, c, 0.0], [0.0, 0.0, 1.0]]))


def judged_again(s: Sample, xyz: np.ndarray, effects: np.ndarray) -> list[tuple[str, Figure, Figure]]:
    """The checks of the same car from other coordinates and effects: name, the program's figure, the other."""
    sources = Sources(effects, ("",) * effects.shape[1], np.full(effects.shape[1], np.inf))
    again = stand(s.job, replace(s.points, xyz=xyz, sources=sources))
    assert again is not None
    assert again.frame.used == s.standing.frame.used
    pairs = zip(s.standing.judged, again.judged, strict=True)
    both = [(a.check.name, a.figure, b.figure) for a, b in pairs if a.figure is not None and b.figure is not None]
    assert len(both) == len(s.standing.judged) > 40
    return both


@pytest.mark.parametrize("name", CARS)
def test_every_figure(name: str) -> None:
    """The library's points through the body's checks: the car has moved and turned, and no figure changes."""
    s = sample(name)
    xyz, turn = moved(s, by_least_squares(name))
    for check, mine, theirs in judged_again(s, xyz, turn @ s.points.sources.effects):
        assert mine.value == pytest.approx(theirs.value, abs=1e-6), check
        assert mine.sd == pytest.approx(theirs.sd, rel=1e-7), check


@pytest.mark.parametrize("name", CARS)
def test_the_sd_of_every_figure(name: str) -> None:
    """With the library's covariance as well.

    Its Jacobian counts the gap of a bob in fixed axes, the program's turns it with the network: a share of 1e-5 of an
    sd, and by the weights of the centreline 1e-5 mm of a figure.
    """
    s, other = sample(name), by_least_squares(name)
    xyz, _ = moved(s, other)
    rows = (3 * np.array([other.names.index(n) for n in s.points.names])[:, None] + np.arange(3)).ravel()
    variance, vectors = np.linalg.eigh(without_datum(other.covariance[np.ix_(rows, rows)], xyz))
    for check, mine, theirs in judged_again(s, xyz, vectors * np.sqrt(np.maximum(variance, 0.0))):
        assert mine.value == pytest.approx(theirs.value, abs=1e-5), check
        assert mine.sd == pytest.approx(theirs.sd, rel=1e-4), check


@pytest.mark.parametrize("name", CARS)
def test_no_figure_depends_on_where_the_network_is_held(name: str, tmp_path: Path) -> None:
    """One mark called exact and another that only points the network: no further fact about the car's shape."""
    s = sample(name)
    folder = shutil.copytree(SAMPLES / name, tmp_path / "car")
    u, marks = s.solved.site.unknowns, s.solved.final.state.marks
    a, b = (u.mark_idx[n] for n in ("outriggerL", "tailR"))
    along = float(np.linalg.norm(marks[a] - marks[b]))
    table = f"point,along,across,sd\noutriggerL,0,0,0\ntailR,{along:.9f},0,10\n"
    (folder / "before" / "marks.csv").write_text(table, encoding="utf-8")
    held = solved_sample(folder)
    assert held.solved.final.factor.defect == 0
    for free, fixed in zip(s.standing.judged, held.standing.judged, strict=True):
        assert free.figure is not None and fixed.figure is not None
        assert free.figure.value == pytest.approx(fixed.figure.value, abs=1e-5), free.check.name
        assert free.figure.sd == pytest.approx(fixed.figure.sd, rel=1e-4), free.check.name


@pytest.mark.parametrize("name", CARS)
def test_figures_of_correlated_points(name: str) -> None:
    """From the points in the car's axes, with all their correlation, by formulae written anew."""
    s = sample(name)
    frame = s.standing.frame
    C = frame.sources.effects @ frame.sources.effects.T
    flat = correlated_values(frame.xyz.ravel(), C)
    at = {n: flat[3 * i : 3 * i + 3] for i, n in enumerate(s.points.names)}
    expected = {}
    for key, left, right in s.job.pairs():
        if left.name in at and right.name in at:
            a, b = at[left.name], at[right.name]
            expected[f"pair.{key}.offset"] = (a[1] + b[1]) / 2
            expected[f"pair.{key}.lead"] = a[0] - b[0]
    a, b = at["axleL"], at["axleR"]
    expected["axle.rear.offset"] = (a[1] + b[1]) / 2
    expected["axle.rear.lead"] = a[0] - b[0]
    expected["axle.rear.square"] = umath.degrees(umath.atan2(-(a[0] - b[0]), a[1] - b[1]))
    found = {j.check.name: j.figure for j in s.standing.judged}
    assert len(expected) >= 17
    for check, value in expected.items():
        figure = found[check]
        assert figure is not None
        assert figure.value == pytest.approx(value.nominal_value, abs=1e-9), check
        assert figure.sd == pytest.approx(value.std_dev, rel=1e-6), check


def test_figures_from_the_network_to_the_verdict(tmp_path: Path) -> None:
    """The whole way: adjusted points and factory scatter -> centreline -> offsets and the axle's yaw.

    In plan, with a car known to stand level. The centreline's weights are computed here; the points' covariance enters
    twice, through the centreline and through each point, and only a right correlation makes the sds agree.
    """
    folder = shutil.copytree(SAMPLES / "straight_saloon", tmp_path / "car")
    (folder / "before" / "heights.csv").unlink()
    text = (folder / "job.toml").read_text(encoding="utf-8")
    assert "[sd]" not in text
    (folder / "job.toml").write_text(text + "\n[sd]\nlevel = 0\n", encoding="utf-8")
    s = solved_sample(folder)
    u, frame = s.solved.site.unknowns, s.standing.frame
    names = [n for n in s.points.names if u.point_idx[n] >= 0]
    columns = np.concatenate([u.point_columns[u.point_idx[n], :2] for n in names])
    turn = np.kron(
        np.eye(len(names)), frame.car_from_network[:2, :2]
    )  # near the car's axes: slope and offset stay small
    xy = np.concatenate([s.solved.final.state.positions[u.point_idx[n], :2] for n in names])
    Q = turn @ s.solved.final.Q[np.ix_(columns, columns)] @ turn.T
    flat = correlated_values(turn @ xy, Q)
    at = {n: flat[2 * i : 2 * i + 2] for i, n in enumerate(names)}
    pairs = [s.job.pairs()[i] for i in frame.used]
    build = [(ufloat(0.0, s.job.sd.build) + ufloat(0.0, s.job.sd.build)) / 2 for _ in pairs]
    x = np.array([((at[a.name][0] + at[b.name][0]) / 2).nominal_value for _, a, b in pairs])
    y = [(at[a.name][1] + at[b.name][1]) / 2 + made for (_, a, b), made in zip(pairs, build, strict=True)]
    pick = np.zeros((len(pairs), len(flat)))
    for k, (_, a, b) in enumerate(pairs):
        pick[k, [2 * names.index(a.name) + 1, 2 * names.index(b.name) + 1]] = 0.5
    W = np.linalg.inv(pick @ Q @ pick.T + np.eye(len(pairs)) * s.job.sd.build**2 / 2)
    D = np.column_stack([np.ones(len(x)), x])
    offset, slope = np.linalg.solve(D.T @ W @ D, D.T @ W) @ np.array(y)

    def across(name: str) -> Any:
        return (at[name][1] - offset - slope * at[name][0]) / umath.sqrt(1 + slope**2)

    found = {j.check.name: j.figure for j in s.standing.judged}
    expected = {f"pair.{k}.offset": (across(a.name) + across(b.name)) / 2 for k, a, b in s.job.pairs()}
    expected["axle.rear.offset"] = (across("axleL") + across("axleR")) / 2
    left, right = at["axleL"], at["axleR"]
    heading = umath.atan2(-(left[0] - right[0]), left[1] - right[1]) - umath.atan(slope)
    expected["axle.rear.square"] = umath.degrees(heading)
    for check, value in expected.items():
        figure = found[check]
        assert figure is not None
        assert figure.value == pytest.approx(value.nominal_value, abs=1e-6), check
        assert figure.sd == pytest.approx(value.std_dev, rel=1e-5), check
    assert frame.yaw_sd == pytest.approx(umath.atan(slope).std_dev, rel=1e-5)
