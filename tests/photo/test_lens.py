"""The camera model against numbers worked by an independent library, its derivatives against differences."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.photo.lens import LENS, project_with_derivatives, rays
from tests.synthetic.photos.projection import project

TYPICAL = np.array([2950.0, -1.4e-3, 2012.3, 1489.6, 0.082, -0.195, 6e-4, -4e-4, 0.11])


def in_view(seed: int, count: int = 15) -> np.ndarray:
    rng = np.random.default_rng(seed)
    Z = rng.uniform(500.0, 4000.0, count)
    return np.column_stack([rng.uniform(-0.6, 0.6, (count, 2)) * Z[:, None], Z])


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_derivatives_are_the_differences(seed: int) -> None:
    points = in_view(seed)
    pixels, by_point, by_lens = project_with_derivatives(TYPICAL, points)
    np.testing.assert_array_equal(pixels, project(TYPICAL, points))
    for i in range(3):
        step = np.zeros(3)
        step[i] = 1e-3
        seen = (project(TYPICAL, points + step) - project(TYPICAL, points - step)) / 2e-3
        np.testing.assert_allclose(by_point[:, :, i], seen, rtol=1e-6, atol=1e-6)
    for i in range(len(LENS)):
        step = np.zeros(9)
        step[i] = 1e-5 * max(1.0, abs(TYPICAL[i]))
        seen = (project(TYPICAL + step, points) - project(TYPICAL - step, points)) / (2 * step[i])
        np.testing.assert_allclose(by_lens[:, :, i], seen, rtol=1e-5, atol=1e-3)


def test_a_lens_for_each_point_is_the_same_lens() -> None:
    points = in_view(3)
    one, many = project_with_derivatives(TYPICAL, points), project_with_derivatives(np.tile(TYPICAL, (15, 1)), points)
    for a, b in zip(one, many, strict=True):
        np.testing.assert_array_equal(a, b)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_rays_undo_the_lens(seed: int) -> None:
    points = in_view(seed)
    np.testing.assert_allclose(rays(TYPICAL, project(TYPICAL, points)), points[:, :2] / points[:, 2:], atol=1e-11)


def test_the_model_is_the_one_common_to_open_libraries() -> None:
    cv2 = pytest.importorskip("cv2")
    points = in_view(5)
    K = np.array([[TYPICAL[0], 0, TYPICAL[2]], [0, TYPICAL[0] * (1 + TYPICAL[1]), TYPICAL[3]], [0, 0, 1.0]])
    seen, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), K, TYPICAL[4:])
    np.testing.assert_allclose(project(TYPICAL, points), seen[:, 0], atol=1e-8)
