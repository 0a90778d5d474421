"""Every kind's analytic Jacobian against central differences, at states drawn at random."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.job import Sd, Tape
from measure.readings.reading import Reading
from tests.readings.sites import analytic, differences, job, one_block, random_state, reading

HEIGHTS = [reading("heights", n, values=(z,)) for n, z in (("frontL", 300.0), ("frontR", 310.0), ("tailL", 50.0))]
KINDS: dict[str, list[Reading]] = {
    "floor tape, a second drop": [
        reading("floor", "frontL", "tailR", values=(2500.0,), via="a"),
        reading("floor", "frontL#2", "tailR", values=(2501.0,), via="b"),
        reading("floor", "tailR", "midL#3", values=(1500.0,), via="a"),
    ],
    "car tape over heights": [*HEIGHTS, reading("car", "frontL", "tailL"), reading("car", "frontR", "tailL")],
    "car tape without heights": [reading("car", "frontL", "tailL"), reading("car", "frontL", "midR", via="b")],
    "car tape where one end has no height": [*HEIGHTS, reading("car", "frontL", "midR")],
    "bar over heights": [*HEIGHTS, reading("bar", "frontL", "tailL"), reading("car", "frontL", "frontR", via="a")],
    "bar without heights": [reading("bar", "frontL", "tailL"), reading("floor", "frontL", "tailL", via="a")],
    "marks": [reading("marks", n, values=(100.0, 200.0)) for n in ("frontL", "frontL#2", "tailR")],
    "heights": HEIGHTS,
    "levels": [reading("levels", "frontL", "frontR"), reading("levels", "frontR", "tailL"), *HEIGHTS],
    "xyz of two setups": [
        reading("xyz", name, values=(1.0, 2.0, 3.0), via=setup)
        for setup, names in (("front", ("frontL", "frontR", "midL")), ("rear", ("midL", "tailL", "tailR")))
        for name in names
    ],
}


def same(readings: Sequence[Reading], seed: int, offset_tapes: frozenset[str] = frozenset()) -> None:
    of = job(tapes={"a": Tape(), "b": Tape(tape_class="none")})
    site, blocks = one_block(readings, of, offset_tapes=offset_tapes)
    state = random_state(site, np.random.default_rng(seed))
    for block in blocks:
        if block.rows[0].reading.kind == "plumb":
            continue  # its turning columns are no plain derivative: tests of their own
        np.testing.assert_allclose(analytic(block, state), differences(block, state), rtol=2e-6, atol=2e-6)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_the_jacobian_is_the_derivative(kind: str, seed: int) -> None:
    same(KINDS[kind], seed)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_a_tape_with_an_offset_has_a_column_for_it(seed: int) -> None:
    readings = KINDS["floor tape, a second drop"]
    same(readings, seed, frozenset("b"))
    site, blocks = one_block(readings, job(tapes={"b": Tape(tape_class="none")}), offset_tapes=frozenset("b"))
    u = site.unknowns
    a, b = u.tapes.index("a"), u.tapes.index("b")
    assert u.tape_columns[a, 1] == -1 and u.tape_columns[b, 1] >= 0
    assert u.tape_columns[a, 0] >= 0 and u.tape_columns[b, 0] == -1  # no class, no scale to be found
    J = analytic(blocks[0], random_state(site, np.random.default_rng(seed)))
    assert J[:, u.tape_columns[b, 1]].tolist() == [0.0, 1.0, 0.0]
    assert J[1, u.tape_columns[a, 0]] == 0.0 and J[0, u.tape_columns[a, 0]] > 0.0


def test_a_bar_is_touched_by_no_tape() -> None:
    site, blocks = one_block(KINDS["bar without heights"], job())
    u = site.unknowns
    bar = next(b for b in blocks if b.rows[0].reading.kind == "bar")
    state = random_state(site, np.random.default_rng(3))
    assert u.tapes == ("a",)
    assert analytic(bar, state)[0, u.tape_columns[0, 0]] == 0.0
    places = state.positions[[u.point_idx["frontL"], u.point_idx["tailL"]], :2]
    assert bar.linearise(state)[0][0] == pytest.approx(np.linalg.norm(places[0] - places[1]), abs=1e-9)


def test_a_car_tape_is_straight_only_where_both_heights_hang_together() -> None:
    for readings, axes in ((KINDS["car tape over heights"], 3), (KINDS["car tape without heights"], 2)):
        site, blocks = one_block(readings, job(sd=Sd(tape_class="none")))
        block = next(b for b in blocks if b.rows[0].reading.kind == "car")
        state = random_state(site, np.random.default_rng(5))
        ends = state.positions[[site.unknowns.point_idx[n] for n in block.rows[0].reading.names], :axes]
        scale, offset = state.tapes[0]
        length = np.linalg.norm(ends[1] - ends[0])
        assert block.linearise(state)[0][0] == pytest.approx((1 + scale) * length + offset)
