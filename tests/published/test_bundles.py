"""Public bundle-adjustment problems: read right, their cost at the start is the one computed elsewhere.

Costs computed by an own Levenberg-Marquardt and confirmed by GTSAM 4.3.0 (dubrovnik by SciPy as well), to 1e-12.
"""

import numpy as np
import pytest

from tests.published.bundles import read_bundle


@pytest.mark.parametrize(
    ("name", "shape", "cost"),
    [
        ("dubrovnik_3_7", (3, 7, 19), 2764.219984422157),
        ("balbianello", (5, 544, 1417), 126.928323211178),
    ],
)
def test_cost_at_the_start(name: str, shape: tuple[int, int, int], cost: float) -> None:
    bundle = read_bundle(name)
    assert (len(bundle.R), len(bundle.points), len(bundle.pixels)) == shape
    assert bundle.cost() == pytest.approx(cost, rel=1e-10)


def test_every_point_lies_before_the_cameras_that_see_it() -> None:
    bundle = read_bundle("balbianello")
    at = bundle.points[bundle.point_idx] - bundle.centres[bundle.camera_idx]
    depth = np.einsum("mij,mj->mi", bundle.R[bundle.camera_idx], at)[:, 2]
    assert np.all(depth > 0)
