"""The plain chain that ours stands beside is done right: exact images give exact points."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.benchmarks.general_least_squares import Images, Solution, solved
from tests.benchmarks.plain_chain import images_of, poses
from tests.benchmarks.walkrounds import gaps, over_sd
from tests.walkrounds import WalkRound, walked

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def walk() -> WalkRound:
    return walked(3, pictures=12, noise=0.0)


def chained(walk: WalkRound, noise: float, loss: str) -> tuple[Solution, Array, Images]:
    """What the chain makes of exact centres with noise, and where its points truly are; poses come from the corners."""
    sheets = {s.number: s for s in walk.scene.sheets}
    seen = [{t.number: np.array(t.corners) for t in p.targets} for p in walk.found]
    lens = walk.shots[0].camera.lens.copy()
    lens[0], lens[1], lens[4:] = 2889.0, 0.0, 0.0
    K = np.array([(lens[0], 0.0, lens[2]), (0.0, lens[0], lens[3]), (0.0, 0.0, 1.0)])
    cameras, placed = poses(seen, {n: s.side for n, s in sheets.items()}, K)
    images, numbers = images_of(seen, cameras, placed)
    points = [sheets[n].point for n in numbers]
    exact = [{t.number: np.array(t.centre) for t in p.targets} for p in walk.found]
    centres = np.array([exact[i][numbers[k]] for i, k in zip(images.picture, images.point, strict=True)])
    images = Images(images.picture, images.point, centres + np.random.default_rng(5).normal(0, noise, centres.shape))
    bars = [(points.index(b.a), points.index(b.b), b.length, 0.05) for b in walk.scene.bars if {b.a, b.b} <= {*points}]
    start = np.array([placed[n][:3, 3] for n in numbers])
    found = solved(images, bars, start, np.array([cameras[i] for i in sorted(cameras)]), lens, loss)
    return found, np.array([walk.scene.points[name] for name in points]), images


@pytest.mark.parametrize("loss", ["linear", "soft_l1"])
def test_exact_images_give_exact_points(walk: WalkRound, loss: str) -> None:
    found, where, images = chained(walk, 1e-5, loss)
    assert len(np.unique(images.picture)) == 12
    assert len(where) >= 25
    assert np.max(gaps(found.points, where)) < 1e-3


def test_its_intervals_hold_where_its_images_scatter_evenly(walk: WalkRound) -> None:
    found, where, _ = chained(walk, 0.1, "linear")
    ratio = over_sd(found.points, found.covariance(), where)
    assert found.image_sd == pytest.approx(0.1, rel=0.3)
    assert 0.6 < float(np.sqrt(np.mean(ratio**2))) < 1.6
