"""Bodies put together by lengths: the Jacobian against differences, and many starts that end where they should."""

import numpy as np

from measure.adjust.assembly import Assembly
from measure.adjust.lateration import Edges
from measure.adjust.many_starts import settled_plans
from measure.readings.unknowns import NOWHERE


def test_the_jacobian_is_that_of_numeric_differences() -> None:
    """Two bodies and a single point; lengths in plan and in space, a height and a shared point."""
    rng = np.random.default_rng(3)
    columns = np.array([[0, 1, 2, 3, 4, 5], [6, 7, 8, 9, 10, 11], [NOWHERE, NOWHERE, NOWHERE, 12, 13, NOWHERE]])
    local = np.vstack([rng.normal(0, 800, (6, 3)), np.zeros((1, 3))])
    made = Assembly(
        np.array([0, 0, 0, 1, 1, 1, 2]), local, np.array([[0, 3], [1, 4], [2, 6]]),
        np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [1.0, 1.0, 0.0]]), np.array([900.0, 1100.0, 700.0]),
        np.array([[5, NOWHERE], [2, 5]]), np.array([2, 0]), np.array([300.0, 0.0]), columns,
    )  # fmt: skip
    poses = np.zeros((2, 3, 3, 4))
    poses[..., :3] = np.eye(3)
    poses = made.moved(
        poses, rng.normal(0, 1, (2, made.size)) * np.where(np.isin(np.arange(14), columns[:, :3]), 1, 500)
    )
    J = made.jacobian(poses)
    for k in range(made.size):
        step = np.zeros((2, made.size))
        step[:, k] = 1e-4
        numeric = -(made.misses(made.moved(poses, step)) - made.misses(made.moved(poses, -step))) / 2e-4
        assert np.allclose(J[:, :, k], numeric, atol=1e-4)


def test_many_starts_find_a_plan_without_one_triangle_alike_each_time() -> None:
    rng = np.random.default_rng(8)
    true = np.array([(-500.0 * (k // 2), 450.0 * (1 - 2 * (k % 2))) for k in range(8)]) + rng.uniform(-150, 150, (8, 2))
    ends = np.array([(a, b) for a in range(0, 8, 2) for b in range(1, 8, 2)])
    edges = Edges(ends, np.linalg.norm(true[ends[:, 0]] - true[ends[:, 1]], axis=1))
    first, again = (settled_plans(edges, np.full((8, 2), np.nan), []) for _ in range(2))
    assert edges.misfit(first[0]) < 0.01
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
