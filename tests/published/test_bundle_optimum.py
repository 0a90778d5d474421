"""The one adjustment reaches the optimum of public bundle-adjustment problems, lenses fixed and free.

Optimal costs, lenses and ratios of distances: computed by two or three independent solvers (an own Levenberg-Marquardt,
GTSAM 4.3.0 and, for dubrovnik, SciPy); the problems are those of tests/published/data/bundle_*.txt. The optimum is not
published by their authors.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from measure.adjust.network import Network
from measure.adjust.solver import Adjustment, solve
from measure.job import Job, Point
from measure.photo.first_poses import FirstPoses
from measure.readings.kind import Site
from measure.readings.reading import Camera, Reading, Seen
from measure.readings.stage import site_of
from measure.readings.targets import blocks
from measure.readings.unknowns import State
from tests.published.bundles import Bundle, read_bundle

MM = 1000.0
"""The problems have no unit; taken as metres."""
FIXED, FREE = 1e-9, 1e6


def adjusted(bundle: Bundle, *, free_lens: bool) -> Adjustment:
    """The problem as target images of the one adjustment; its scale and datum are left to the minimum norm."""
    cameras, places = len(bundle.R), bundle.points * MM
    block = FirstPoses("all", {f"c{i}": bundle.R[i].T for i in range(cameras)}, {}, {}, {}, 0.0)
    sd = np.full(9, FIXED)
    if free_lens:
        sd[[0, 4, 5]] = FREE
    lens = [Camera(f"c{i}", 1000, 1000, bundle.lenses[i], np.diag(sd**2), "") for i in range(cameras)]
    readings = [
        Reading("target", f"c{c}:{p}", (f"p{p}",), tuple(uv), 1.0, f"c{c}", "",
                Seen(int(p), np.zeros((4, 2)), 80.0, 0.0, lens[c], block))
        for c, p, uv in zip(bundle.camera_idx, bundle.point_idx, bundle.pixels, strict=True)
    ]  # fmt: skip
    job = Job(Path(), stages=["s"], points=[Point(f"p{i}") for i in range(len(places))])
    plain = site_of(job, "s", readings)
    u = plain.unknowns
    site = Site(job, "s", u, plain.level_sets, {}, scaled_blocks=frozenset({"all"}))
    order = [int(name[1:]) for name in u.setups]
    state = State(
        u, places[[int(name[1:]) for name in u.points]], np.zeros((0, 2)), np.zeros((0, 2)),
        np.swapaxes(bundle.R[order], 1, 2), bundle.centres[order] * MM, bundle.lenses[[int(k[1:]) for k in u.lenses]],
    )  # fmt: skip
    return solve(Network(u, blocks(readings, site)), state)


def cost(adjustment: Adjustment) -> float:
    images = adjustment.network.tested
    return 0.5 * float(np.sum(adjustment.residual[images] ** 2))


def centres(adjustment: Adjustment) -> np.ndarray:
    u = adjustment.network.unknowns
    return adjustment.state.origins[np.argsort([int(name[1:]) for name in u.setups])]


DUBROVNIK = {(0, 2): 5.59704990, (1, 2): 6.49113742}
BALBIANELLO = {(0, 2): 1.80869705, (0, 3): 2.99335925, (0, 4): 4.81919962, (1, 2): 0.81170621, (2, 3): 1.21134211}
BALBIANELLO_FREE = {(0, 2): 1.80757955, (0, 3): 2.99448759, (0, 4): 4.84409196, (1, 2): 0.81065414, (2, 3): 1.21002154}


@pytest.mark.parametrize(
    ("name", "free", "optimum", "freedom", "ratios"),
    [
        ("dubrovnik_3_7", False, 2.3199139921016, 6, DUBROVNIK),
        ("balbianello", False, 126.925366445469, 1179, BALBIANELLO),
        ("balbianello", True, 125.169594053946, 1164, BALBIANELLO_FREE),
    ],
)
def test_the_optimum(name: str, free: bool, optimum: float, freedom: int, ratios: dict[tuple[int, int], float]) -> None:
    found = adjusted(read_bundle(name), free_lens=free)
    assert cost(found) == pytest.approx(optimum, rel=1e-6)
    assert found.factor.defect == 7  # place, turn and size: nothing measured holds them
    lenses = 9 * len(found.network.unknowns.lenses)  # every lens parameter has a row of its own beforehand
    free_ones = 3 * len(found.network.unknowns.lenses) if free else 0
    assert found.degrees_of_freedom - free_ones == freedom
    assert found.network.unknowns.size > lenses
    places = centres(found)
    base = np.linalg.norm(places[1] - places[0])
    for (a, b), ratio in ratios.items():
        assert np.linalg.norm(places[b] - places[a]) / base == pytest.approx(ratio, rel=1e-5)


def test_the_lenses_that_come_out() -> None:
    found = adjusted(read_bundle("balbianello"), free_lens=True)
    order = np.argsort([int(key[1:]) for key in found.network.unknowns.lenses])
    lenses = found.state.lenses[order]
    np.testing.assert_allclose(lenses[:, 0], [512.660372, 515.292858, 515.173059, 514.386972, 518.070336], rtol=1e-6)
    np.testing.assert_allclose(lenses[:, 4], [-0.160177, -0.169043, -0.172780, -0.178728, -0.173072], atol=2e-6)
    np.testing.assert_allclose(lenses[:, 5], [0.108209, 0.138479, 0.144990, 0.150707, 0.036022], atol=2e-6)


def test_ratios_of_the_points_of_a_problem_with_hardly_a_reading_to_spare() -> None:
    found = adjusted(read_bundle("dubrovnik_3_7"), free_lens=False)
    u = found.network.unknowns
    places = found.state.positions[np.argsort([int(name[1:]) for name in u.points])]
    cameras = centres(found)
    base = np.linalg.norm(cameras[1] - cameras[0])
    published = {(0, 1): 12.4927265, (0, 2): 13.4373454, (1, 2): 5.0876693, (3, 4): 14.4304899, (0, 6): 11.4451854}
    for (a, b), ratio in published.items():
        assert np.linalg.norm(places[a] - places[b]) / base == pytest.approx(ratio, rel=1e-5)
