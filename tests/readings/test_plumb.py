"""The plumb bob's rows: gaps of the drops, which must hold neither place nor heading of a free network."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.job import Sd
from measure.readings.reading import Block, Reading
from measure.readings.unknowns import State
from tests.readings.sites import analytic, differences, job, one_block, random_state, reading

TAPED = [
    reading("floor", a, b, values=(d,))
    for a, b, d in (
        ("frontL", "frontR", 900.0),
        ("frontL", "tailL", 2000.0),
        ("frontR", "tailL#2", 2200.0),
        ("tailL", "tailR", 800.0),
        ("midL", "tailR", 1300.0),
        ("tailL", "tailL#2", 9999.0),
    )
]


def bob(readings: list[Reading], seed: int, drop: float = 3.0) -> tuple[Block, State]:
    site, blocks = one_block(readings, job(sd=Sd(plumb=0.7)))
    return blocks[-1], random_state(site, np.random.default_rng(seed), drop=drop)


def test_every_mark_is_a_drop_of_its_own() -> None:
    block, state = bob(TAPED, 1)
    assert [r.reading.names[0] for r in block.rows[::2]] == list(state.unknowns.marks)
    assert [r.axis for r in block.rows[:2]] == ["along", "across"]
    assert "tailL#2" in state.unknowns.marks and "tailL#2" not in state.unknowns.points
    assert np.all(block.sd == 0.7) and np.all(block.observed == 0.0)
    u, k = state.unknowns, list(state.unknowns.marks).index("tailL#2")
    gap = state.positions[u.point_idx["tailL"], :2] - state.marks[k]
    assert block.linearise(state)[0][2 * k : 2 * k + 2] == pytest.approx(gap)


LONGEST = {
    "frontL": "tailL",
    "frontR": "tailL#2",
    "tailL": "frontL",
    "tailR": "midL",
    "tailL#2": "frontR",
    "midL": "tailR",
}


def turns(state: State) -> np.ndarray:
    """(2 marks, n): how far a step turns the longest tape of each mark."""
    u = state.unknowns
    made = np.zeros((len(u.marks), u.size))
    for k, name in enumerate(u.marks):
        far = u.marks.index(LONGEST[name])
        leg = state.marks[far] - state.marks[k]
        across = np.array([-leg[1], leg[0]]) / (leg @ leg)
        made[k, u.mark_columns[far]] += across
        made[k, u.mark_columns[k]] -= across
    return np.repeat(made, 2, axis=0)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32), drop=st.sampled_from([0.5, 3.0, 50.0]))
def test_the_gap_turns_with_the_longest_tape(seed: int, drop: float) -> None:
    """The derivative is that of the gap as seen from axes that turn as the tape does."""
    block, state = bob(TAPED, seed, drop)
    gap = block.linearise(state)[0].reshape(-1, 2)
    quarter_turned = np.column_stack([-gap[:, 1], gap[:, 0]]).ravel()
    expected = differences(block, state) - quarter_turned[:, None] * turns(state)
    np.testing.assert_allclose(analytic(block, state), expected, rtol=1e-6, atol=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_shift_and_turn_of_the_whole_change_no_row(seed: int) -> None:
    block, state = bob(TAPED, seed, 20.0)
    u = state.unknowns
    for turn, shift in ((1.0, (0.0, 0.0)), (0.0, (1.0, 0.0)), (0.0, (0.0, 1.0))):
        move = np.zeros(u.size)
        for columns, xy in ((u.point_columns[:, :2], state.positions[:, :2]), (u.mark_columns, state.marks)):
            move[columns] = np.column_stack([shift[0] - turn * xy[:, 1], shift[1] + turn * xy[:, 0]])
        assert np.max(np.abs(analytic(block, state) @ move)) < 1e-9


def test_the_turning_columns_leave_the_gradient_alone() -> None:
    block, state = bob(TAPED, 7)
    gap = block.linearise(state)[0]
    plain = differences(block, state)
    np.testing.assert_allclose(gap @ analytic(block, state), gap @ plain, atol=1e-6)


def test_marks_off_a_base_line_hold_the_heading_and_the_gap_is_plain() -> None:
    marks = [reading("marks", n, values=(0.0, 0.0), line=k) for k, n in enumerate(("frontL", "tailR"))]
    block, state = bob(TAPED + marks, 3)
    np.testing.assert_allclose(analytic(block, state), differences(block, state), atol=1e-6)


def test_one_mark_alone_holds_no_heading() -> None:
    block, state = bob([*TAPED, reading("marks", "frontL", values=(0.0, 0.0))], 3)
    u = state.unknowns
    k = list(u.marks).index("frontL")
    move = np.zeros(u.size)
    for columns, xy in ((u.point_columns[:, :2], state.positions[:, :2]), (u.mark_columns, state.marks)):
        arm = xy - state.marks[k]
        move[columns] = np.column_stack([-arm[:, 1], arm[:, 0]])
    assert np.max(np.abs(analytic(block, state) @ move)) < 1e-9
