"""Numbering of the unknowns, and a state moved by a step."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.readings.unknowns import NOWHERE, State, Unknowns
from measure.rotation import cross_matrices, rotation_matrices
from tests.readings.sites import job, one_block, random_state, reading


def test_only_what_a_reading_touches_is_an_unknown() -> None:
    u = Unknowns.of(["a", "b"], ["b", "c"], ["a", "a#2"], {"t": (True, False), "s": (False, True)}, ["front"])
    assert u.points == ("a", "b", "c")
    assert (u.point_columns >= 0).tolist() == [[True, True, False], [True, True, True], [False, False, True]]
    assert (u.tape_columns >= 0).tolist() == [[True, False], [False, True]]
    columns = np.concatenate([c.ravel() for c in (u.point_columns, u.mark_columns, u.tape_columns, u.setup_columns)])
    assert sorted(columns[columns != NOWHERE].tolist()) == list(range(u.size))
    assert u.size == 6 + 4 + 2 + 6


def test_nothing_at_all_is_numbered() -> None:
    u = Unknowns.of([], [], [], {}, [])
    assert u.size == 0 and u.point_columns.shape == (0, 3) and u.mark_columns.shape == (0, 2)
    state = State(u, np.zeros((0, 3)), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 3, 3)), np.zeros((0, 3)))
    assert state.moved(np.zeros(0)).positions.shape == (0, 3)


def test_a_step_moves_what_it_names_and_nothing_else() -> None:
    readings = [
        reading("floor", "frontL", "tailR"), reading("heights", "midL"),
        *(reading("xyz", n, values=(1.0, 2.0, 3.0), via="arm") for n in ("frontL", "midR")),
    ]  # fmt: skip
    site, _ = one_block(readings, job())
    state = random_state(site, np.random.default_rng(2))
    u = site.unknowns
    step = np.zeros(u.size)
    step[u.point_columns[u.point_idx["midL"], 2]] = 5.0
    step[u.mark_columns[0, 1]] = -2.0
    step[u.setup_columns[0]] = (0.0, 0.0, np.pi / 2, 10.0, 20.0, 30.0)
    moved = state.moved(step)
    raised = state.positions.copy()
    raised[u.point_idx["midL"], 2] += 5.0
    np.testing.assert_array_equal(moved.positions, raised)
    assert (moved.marks - state.marks).tolist() == [[0.0, -2.0], [0.0, 0.0]]
    quarter = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    np.testing.assert_allclose(moved.rotations[0], quarter @ state.rotations[0], atol=1e-12)
    np.testing.assert_allclose(moved.origins - state.origins, [[10.0, 20.0, 30.0]])


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-3.1, 3.1), min_size=3, max_size=3), st.sampled_from([1.0, 1e-4, 1e-9, 0.0]))
def test_rotations_turn_about_their_own_axis_by_their_length(vector: list[float], by: float) -> None:
    v = np.array([vector]) * by
    R = rotation_matrices(v)[0]
    np.testing.assert_allclose(R @ R.T, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(R @ v[0], v[0], atol=1e-12)
    angle = np.linalg.norm(v)
    np.testing.assert_allclose(np.trace(R), 1 + 2 * np.cos(angle), atol=1e-12)
    u = np.array([1.0, -2.0, 3.0])
    np.testing.assert_allclose(cross_matrices(v)[0] @ u, np.cross(v[0], u), atol=1e-12)
    if angle <= 1e-4 * 6:
        np.testing.assert_allclose(R @ u, u + np.cross(v[0], u), atol=1e-5)
