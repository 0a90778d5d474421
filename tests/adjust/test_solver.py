"""The adjustment itself: the undamped answer, the same bits every time, exact rows met, from far away as well."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from measure.adjust.network import Network
from measure.adjust.solver import Adjustment, NotConvergedError, solve, with_rows
from measure.adjust.stage import adjust_stage
from measure.adjust.starting import starting_state
from measure.job import Job
from measure.readings.reading import Reading
from measure.readings.stage import blocks_of, site_of
from measure.readings.unknowns import State
from tests.adjust.cars import STAGE, floor_job, lengths, loaded, network
from tests.synthetic import make_car, survey

SQUARE = {"aL": (0.0, 1000.0), "aR": (0.0, 0.0), "bL": (-1500.0, 1010.0), "bR": (-1490.0, -5.0), "c": (-700.0, 400.0)}
ALL = [(a, b) for i, a in enumerate(SQUARE) for b in list(SQUARE)[i + 1 :]]


def everything(seed: int = 1) -> tuple[Job, list[Reading]]:
    """A car with every kind of reading in one sheet."""
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    sheet = survey(
        car, rng, tapes=45, drops={"tailL": 2}, levels=True, marks=["outriggerL", "tailR", "rail2L"], car_tapes=8,
        xyz={"one": car.names[:8], "two": car.names[6:]}, bars=[("rail1L", "rail4R")], tape_names=["a", "b"],
    )  # fmt: skip
    return loaded(car, sheet)


def start_of(job: Job, readings: list[Reading]) -> tuple[Network, State]:
    site = site_of(job, STAGE, readings)
    return Network(site.unknowns, blocks_of(readings, site)), starting_state(site, readings).state


def gradient(adjustment: Adjustment) -> np.ndarray:
    """What a step of 1 mm (or the angle that moves 1 mm at 1 m) changes in the sum of squares."""
    g = np.asarray(adjustment.A.T @ adjustment.misclosure).ravel()
    return g / np.maximum(np.sqrt(np.asarray((adjustment.A**2).sum(axis=0))).ravel(), 1e-9)


def test_the_answer_has_no_gradient_left() -> None:
    job, readings = everything()
    adjustment = solve(*start_of(job, readings))
    assert np.max(np.abs(gradient(adjustment))) < 1e-6
    again, undamped = adjustment.factor, adjustment.A.T @ adjustment.misclosure
    assert np.max(np.abs(again.solve(undamped))) < 1e-6  # a further full step moves nothing


def test_the_same_input_gives_the_same_bits() -> None:
    first, second = (solve(*start_of(*everything())) for _ in range(2))
    assert first.state.positions.tobytes() == second.state.positions.tobytes()
    assert first.Q.tobytes() == second.Q.tobytes()
    assert first.redundancy.tobytes() == second.redundancy.tobytes()
    searched, again = (adjust_stage(*(lambda j, r: (j, STAGE, r))(*everything())) for _ in range(2))
    assert searched.final.state.positions.tobytes() == again.final.state.positions.tobytes()


def test_the_sum_of_squares_is_scipy_s() -> None:
    rng = np.random.default_rng(4)
    job = floor_job(list(SQUARE), plumb=0.8)
    readings = lengths(
        SQUARE, [*ALL, ("aL#2", "bR"), ("aL#2", "bL")][: len(ALL)], noise=rng.normal(0, 0.5, len(ALL)).tolist()
    )
    net, start = start_of(job, readings)
    mine = solve(net, start)

    def whitened(step: np.ndarray) -> np.ndarray:
        return (net.observed - net.computed(start.moved(step))) / net.sd

    theirs = least_squares(whitened, np.zeros(net.unknowns.size), method="trf", xtol=1e-15, ftol=1e-15, gtol=1e-12)
    assert mine.sum_of_squares == pytest.approx(2 * theirs.cost, rel=1e-6)


def test_degrees_of_freedom_are_rows_less_what_they_determine() -> None:
    job = floor_job(list(SQUARE))
    adjustment = solve(*start_of(job, lengths(SQUARE, ALL)))
    assert adjustment.factor.defect == 3  # two shifts and a turn
    assert adjustment.degrees_of_freedom == len(ALL) - (2 * len(SQUARE) - 3)
    assert adjustment.redundancy.sum() == pytest.approx(adjustment.degrees_of_freedom, abs=1e-6)
    job, readings = everything()
    full = solve(*start_of(job, readings))
    assert full.factor.defect == 0
    assert full.redundancy.sum() == pytest.approx(full.degrees_of_freedom, abs=1e-5)


@pytest.mark.parametrize("noise", [0.0, 1.0, 3.0])
def test_a_free_taped_network_has_three_freedoms_however_far_the_drops_are_off(noise: float) -> None:
    """The gap of a drop must not hold the heading: its length is no lever."""
    rng = np.random.default_rng(2)
    readings = lengths(SQUARE, ALL, noise=(noise * rng.standard_normal(len(ALL))).tolist())
    again = [
        Reading("floor", "tape.csv:40", ("aL#2", n), (r,), 0.5)
        for n, r in (("bL", 1503.0), ("bR", 1800.0), ("c", 925.0))
    ]
    adjustment = solve(*start_of(floor_job(list(SQUARE)), readings + again))
    assert adjustment.factor.defect == 3
    assert adjustment.redundancy.sum() == pytest.approx(adjustment.degrees_of_freedom, abs=1e-6)
    assert np.sqrt(np.max(np.diag(adjustment.Q))) < 5.0  # mm: no heading of radians hides in it


def test_the_covariance_is_what_the_scatter_over_many_sheets_shows() -> None:
    rng = np.random.default_rng(8)
    job = floor_job(list(SQUARE), plumb=0.0)
    drawn, stated = [], None
    for _ in range(150):
        net, start = start_of(job, lengths(SQUARE, ALL, noise=rng.normal(0.0, 0.5, len(ALL)).tolist()))
        # an inner-constraint datum is relative to where it starts: always the true places
        true = np.array([SQUARE[n] for n in net.unknowns.points])
        start = replace(start, positions=np.column_stack([true, np.zeros(len(true))]),
                        marks=np.array([SQUARE[m] for m in net.unknowns.marks]))  # fmt: skip
        adjustment = solve(net, start)
        drawn.append((adjustment.state.positions[:, :2] - true).ravel())
        columns = net.unknowns.point_columns[:, :2].ravel()
        stated = adjustment.Q[np.ix_(columns, columns)]
    np.testing.assert_allclose(np.sqrt(np.mean(np.square(drawn), axis=0)), np.sqrt(np.diag(stated)), rtol=0.2)


def test_exact_rows_are_met_exactly() -> None:
    exact = [
        Reading("marks", "marks.csv:2", ("aR",), (0.0, 0.0), 0.0),
        Reading("marks", "marks.csv:3", ("bR",), (-1490.0, 0.0), 0.0),
        Reading("heights", "heights.csv:2", ("aL",), (300.0,), 0.0),
        Reading("heights", "heights.csv:3", ("bR",), (100.0,), 0.0),
        Reading("bar", "tape.csv:50", ("aL", "bR"), (1800.0,), 0.0),
        Reading("levels", "levels.csv:2", ("aL", "aR"), (-4.0,), 0.0),
    ]
    job = floor_job(list(SQUARE))
    readings = lengths(SQUARE, ALL) + exact
    adjustment = solve(*start_of(job, readings))
    s, u = adjustment.state, adjustment.network.unknowns
    assert s.marks[u.marks.index("aR")] == pytest.approx((0.0, 0.0), abs=1e-7)
    assert s.marks[u.marks.index("bR")] == pytest.approx((-1490.0, 0.0), abs=1e-7)
    z = dict(zip(u.points, s.positions[:, 2], strict=True))
    assert z["aL"] == pytest.approx(300.0, abs=1e-7) and z["bR"] == pytest.approx(100.0, abs=1e-7)
    assert z["aR"] == pytest.approx(296.0, abs=1e-7)
    a, b = (s.positions[u.point_idx[n]] for n in ("aL", "bR"))
    assert np.linalg.norm(a - b) == pytest.approx(1800.0, abs=1e-6)
    bound = adjustment.network.is_exact
    assert np.max(adjustment.adjusted_variance[bound]) < 1e-9
    assert np.all(adjustment.redundancy[bound] == 0.0)
    assert np.all(np.linalg.eigvalsh(adjustment.Q) > -1e-9)


LEVEL = [Reading("heights", f"heights.csv:{k}", (n,), (0.0,), 0.0) for k, n in enumerate(("aL", "aR"))]
"""A straight length is exact only over known heights."""


CONTRADICTIONS = {
    "bars": [*LEVEL, *(Reading("bar", "tape.csv:50", ("aL", "aR"), (v,), 0.0) for v in (1000.0, 1004.0))],
    "floor tapes": [Reading("floor", "tape.csv:50", ("aL", "aR"), (v,), 0.0) for v in (1000.0, 1004.0)],
    "heights": [Reading("heights", "heights.csv:2", ("aL",), (v,), 0.0) for v in (0.0, 5.0)],
    "heights and a level": [*LEVEL, Reading("levels", "levels.csv:2", ("aL", "aR"), (-4.0,), 0.0)],
    "marks": [Reading("marks", "marks.csv:2", ("aR",), (v, 0.0), 0.0) for v in (0.0, 10.0)],
}


@pytest.mark.parametrize("kind", CONTRADICTIONS)
def test_exact_rows_that_contradict_each_other_are_no_solution(kind: str) -> None:
    with pytest.raises(NotConvergedError):
        solve(*start_of(floor_job(list(SQUARE)), lengths(SQUARE, ALL) + CONTRADICTIONS[kind]))


def test_exact_rows_said_twice_are_met_all_the_same() -> None:
    job = floor_job(list(SQUARE))
    bars = [Reading("bar", f"tape.csv:{50 + k}", ("aL", "aR"), (1001.0,), 0.0) for k in range(2)]
    adjustment = solve(*start_of(job, lengths(SQUARE, ALL) + LEVEL + bars))
    a, b = (adjustment.state.positions[adjustment.network.unknowns.point_idx[n], :2] for n in ("aL", "aR"))
    assert np.linalg.norm(a - b) == pytest.approx(1001.0, abs=1e-6)
    assert adjustment.degrees_of_freedom == len(ALL) + 10 - (2 * 2 * len(SQUARE) - 3 - 1)


@pytest.mark.parametrize("seed", range(6))
def test_a_start_far_away_still_converges(seed: int) -> None:
    rng = np.random.default_rng(seed)
    job, readings = everything(seed)
    net, start = start_of(job, readings)
    near = solve(net, start)
    u = net.unknowns
    shift = np.zeros(u.size)
    shift[u.point_columns[u.point_columns >= 0]] = rng.normal(0.0, 150.0, int((u.point_columns >= 0).sum()))
    shift[u.mark_columns] = rng.normal(0.0, 150.0, u.mark_columns.shape)
    shift[u.setup_columns] = rng.normal(0.0, 1.0, u.setup_columns.shape) * np.repeat([0.3, 200.0], 3)
    far = solve(net, start.moved(shift))
    np.testing.assert_allclose(far.state.positions, near.state.positions, atol=1e-5)
    assert far.sum_of_squares == pytest.approx(near.sum_of_squares, abs=1e-7)


def test_rows_that_are_not_active_weigh_nothing() -> None:
    job = floor_job(list(SQUARE))
    right, wrong = lengths(SQUARE, ALL), lengths(SQUARE, ALL, wrong={2: 40.0})
    net, start = start_of(job, wrong)
    active = np.arange(len(net.rows)) != 2
    without = with_rows(solve(net, start), active)
    assert without.sum_of_squares < 1e-9
    assert without.residual[2] == pytest.approx(40.0, abs=1e-3)
    assert without.redundancy[2] == 0.0
    assert without.degrees_of_freedom == solve(*start_of(job, right)).degrees_of_freedom - 1


def test_a_large_network_goes_through_the_sparse_path_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    job, readings = everything(3)
    dense = solve(*start_of(job, readings))
    monkeypatch.setattr("measure.adjust.network.DENSE_LIMIT", 0)
    sparse = solve(*start_of(job, readings))
    np.testing.assert_allclose(sparse.state.positions, dense.state.positions, atol=1e-6)
    np.testing.assert_allclose(sparse.redundancy, dense.redundancy, atol=1e-6)
    np.testing.assert_allclose(sparse.residual, dense.residual, atol=1e-6)


def test_rows_of_one_reading_share_a_number() -> None:
    net = network(*everything())
    by_reading = {id(row.reading): set() for row in net.rows}
    for row, number in zip(net.rows, net.group, strict=True):
        by_reading[id(row.reading)].add(int(number))
    assert all(len(numbers) == 1 for numbers in by_reading.values())
    assert len({n for numbers in by_reading.values() for n in numbers}) == len(by_reading)
