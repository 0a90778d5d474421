"""A printed square before a camera: the centre is exact, one of the two tilts is right, and which is often unsure."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.photo.square import CORNERS, poses
from measure.rotation import rotation_matrices


def squares(rng: np.random.Generator, count: int, half: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Centres (m, 3), turns (m, 3, 3) camera_from_sheet of squares that face the camera, and their corners' rays."""
    facing = np.diag([1.0, -1.0, -1.0])
    tilt = np.column_stack([rng.uniform(-1.0, 1.0, (count, 2)), rng.uniform(-3.1, 3.1, count)])
    turns = rotation_matrices(tilt) @ facing
    centres = np.column_stack([rng.uniform(-600.0, 600.0, (count, 2)), rng.uniform(900.0, 2500.0, count)])
    corner = np.einsum("mij,cj->mci", turns, np.column_stack([CORNERS * half, np.zeros(4)])) + centres[:, None]
    return centres, turns, corner[..., :2] / corner[..., 2:]


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_exact_corners_give_the_pose(seed: int) -> None:
    rng = np.random.default_rng(seed)
    centres, turns, corner_rays = squares(rng, 10, 40.0)
    found, turned, misfit = poses(corner_rays, np.full(10, 40.0))
    # the longest direction shortens by the square of the perspective: a tenth of a millimetre in the distance
    np.testing.assert_allclose(found, centres, atol=0.003 * np.max(centres[:, 2]))
    angle = np.degrees(np.arccos(np.clip((np.einsum("mkij,mij->mk", turned, turns) - 1) / 2, -1, 1)))
    assert np.all(angle.min(axis=1) < 2.0)
    assert np.all(misfit[:, 0] <= misfit[:, 1])


def test_turning_the_camera_turns_the_answer() -> None:
    rng = np.random.default_rng(1)
    corner_rays = squares(rng, 5, 40.0)[2]
    quarter = np.array([[0.0, -1.0], [1.0, 0.0]])
    found = poses(corner_rays @ quarter.T, np.full(5, 40.0))[0]
    expected = poses(corner_rays, np.full(5, 40.0))[0]
    np.testing.assert_allclose(found[:, :2], expected[:, :2] @ quarter.T, atol=1e-9)
    np.testing.assert_allclose(found[:, 2], expected[:, 2], atol=1e-9)
