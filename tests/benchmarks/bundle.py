"""The adjustment of target images beside bundle adjustments of general libraries, from the same starting point.

Ours solves for a lens of nine parameters and gives the covariance of every unknown; pycolmap's gives no covariance and
its OPENCV model has no k3 (0 in truth). Costs are half the sum of squared pixels over the images alone.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from measure.adjust.network import Network
from measure.adjust.solver import solve
from measure.readings.unknowns import Array, State
from measure.rotation import cross_matrices
from tests.photo.bundled import SIZE, Bundled, bundled

ROOT = Path(__file__).resolve().parents[2]
NOISE = 0.5
"""px: far above a target's, so that rounding hides nothing."""
START_OFF = 8.0
"""mm that points and cameras start off the truth."""
CASES = ((60, 320, 1.0, 5), (60, 320, 0.5, 5), (200, 1000, 0.5, 3))
"""Pictures, points, share of the points in a frame that are seen, runs."""
PLAIN_CASE = (60, 320, 0.5)
THREADS = 2
MISSING = "pycolmap is missing, nothing to stand beside: `pip install pycolmap` (for this benchmark alone)"


@dataclass(frozen=True)
class Problem:
    """Images, and where all sides start from."""

    images: Bundled
    pixels: Array
    network: Network
    start: State

    @staticmethod
    def of(pictures: int, points: int, share: float) -> Problem:
        images = bundled(pictures, points, share)
        pixels = images.seen(NOISE, np.random.default_rng(1))
        network = images.network(pixels, NOISE)
        return Problem(images, pixels, network, images.state(network, off=START_OFF))

    def cost(self, state: State) -> float:
        """Half the sum of squared pixels."""
        left = (self.network.observed - self.network.computed(state))[self.network.tested]
        return float(left @ left) / 2

    def __str__(self) -> str:
        return f"{len(self.images.places)} pictures x {len(self.images.points)} points, {len(self.pixels)} images"


def ours(problem: Problem) -> tuple[float, float]:
    """(seconds, cost): solved, and the covariance of all unknowns."""
    began = time.perf_counter()
    solved = solve(problem.network, problem.start)
    _ = solved.Q
    return time.perf_counter() - began, problem.cost(solved.state)


def with_pycolmap(problem: Problem, change: Callable[[Any], None] = lambda options: None) -> tuple[float, float]:
    """(seconds, cost) of the solving alone, not of handing over."""
    import pycolmap

    pycolmap.logging.minloglevel = int(pycolmap.logging.Level.ERROR)
    scene, config = _reconstruction(problem)
    options = pycolmap.BundleAdjustmentOptions()
    options.refine_principal_point = True
    options.print_summary = False
    options.ceres.solver_options.num_threads = THREADS
    change(options)
    began = time.perf_counter()
    pycolmap.create_default_bundle_adjuster(options, config, scene).solve()
    took = time.perf_counter() - began
    left = [
        image.project_point(scene.points3D[seen.point3D_id].xyz) - seen.xy
        for image in scene.images.values() for seen in image.points2D
    ]  # fmt: skip
    return took, float(np.sum(np.square(left))) / 2


def _reconstruction(problem: Problem) -> tuple[Any, Any]:
    """The scene as pycolmap holds it, and what is to be adjusted."""
    import pycolmap

    images, start = problem.images, problem.start
    u = start.unknowns
    lens, scene, config = start.lenses[0], pycolmap.Reconstruction(), pycolmap.BundleAdjustmentConfig()
    values = [lens[0], lens[0] * (1 + lens[1]), *lens[2:8]]
    scene.add_camera_with_trivial_rig(
        pycolmap.Camera(model="OPENCV", width=SIZE[0], height=SIZE[1], params=values, camera_id=1)
    )
    tracks: dict[int, list[Any]] = {}
    for number, name in enumerate(u.setups, start=1):
        mine = np.flatnonzero(images.picture == int(name[1:]))
        R = start.rotations[number - 1].T
        pose = pycolmap.Rigid3d(pycolmap.Rotation3d(R), -R @ start.origins[number - 1])
        seen = pycolmap.Point2DList([pycolmap.Point2D(xy) for xy in problem.pixels[mine]])
        image = pycolmap.Image(name=name, camera_id=1, image_id=number, points2D=seen)
        scene.add_image_with_trivial_frame(image, pose)
        config.add_image(number)
        for k, j in enumerate(images.point[mine].tolist()):
            tracks.setdefault(j, []).append(pycolmap.TrackElement(number, k))
    for j, elements in tracks.items():
        place = start.positions[u.point_idx[f"p{j}"]]
        scene.add_point3D(place, pycolmap.Track(elements=elements), np.zeros(3, np.uint8))
    config.fix_gauge(pycolmap.BundleAdjustmentGauge.TWO_CAMS_FROM_WORLD)
    return scene, config


def with_scipy(problem: Problem) -> tuple[float, float, int]:
    """(seconds, cost, evaluations) of the plain chain: general least squares, sparse analytic Jacobian, no covariance.

    Unknowns are steps from the start; turns are rotation vectors, as a user would have them.
    """
    from scipy.optimize import least_squares
    from scipy.sparse import block_diag, csr_matrix, identity

    network, start = problem.network, problem.start
    u = network.unknowns
    turns = u.setup_columns[:, :3]

    def misclosure(x: Array) -> Array:
        return np.asarray((network.computed(start.moved(x)) - network.observed) / network.sd)

    def derivative(x: Array) -> Any:
        A = csr_matrix(network.jacobian(start.moved(x))[1])
        # the rows differentiate by a turn on top of x; the unknown is the rotation vector itself
        order = np.concatenate([turns.ravel(), np.setdiff1d(np.arange(u.size), turns)])
        blocks = block_diag([*_left_jacobians(x[turns]), identity(u.size - turns.size)], format="csr")
        back = np.argsort(order)
        return A.multiply(1.0 / network.sd[:, None]).tocsr() @ blocks[back][:, back]

    began = time.perf_counter()
    found = least_squares(misclosure, np.zeros(u.size), derivative, method="trf", x_scale="jac")
    return time.perf_counter() - began, problem.cost(start.moved(found.x)), int(found.nfev)


def _left_jacobians(vectors: Array) -> Array:
    """(k, 3, 3): turn on the left for a change of each rotation vector; its series, the angles are small."""
    K = cross_matrices(vectors)
    return np.asarray(np.eye(3) + K / 2 + K @ K / 6 + K @ K @ K / 24)


def _medians(runs: int, *sides: Callable[[], tuple[float, ...]]) -> list[tuple[float, float]]:
    """Median seconds and last cost of each side, in turn; the first run of each is not counted."""
    taken: list[list[tuple[float, ...]]] = [[] for _ in sides]
    for _ in range(runs + 1):
        for times, side in zip(taken, sides, strict=True):
            times.append(side())
    return [(statistics.median(t[0] for t in times[1:]), times[-1][1]) for times in taken]


def table() -> list[str]:
    """Lines to print, from a process of its own: with one thread for our sums; pycolmap takes up to two."""
    argv = [sys.executable, "-m", "tests.benchmarks.bundle"]
    one_thread = os.environ | dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    done = subprocess.run(argv, cwd=ROOT, env=one_thread, stdout=subprocess.PIPE, check=True, text=True)
    return done.stdout.splitlines()


def _lines() -> list[str]:
    lines = ["adjustment with lens and covariance, beside pycolmap's bundle adjustment without covariance"]
    try:
        import pycolmap  # noqa: F401 - whether it is there at all
    except ImportError:
        lines.append(f"  {MISSING}")
        beside = False
    else:
        beside = True
    for pictures, points, share, runs in CASES:
        problem = Problem.of(pictures, points, share)
        sides = [lambda p=problem: ours(p), *([lambda p=problem: with_pycolmap(p)] if beside else [])]
        medians = _medians(runs, *sides)
        lines.append(f"  {problem}, median of {runs}: {_beside(medians, 'pycolmap')}")
    problem = Problem.of(*PLAIN_CASE)
    seconds, cost = _medians(1, lambda: ours(problem))[0]
    plain = with_scipy(problem)
    lines.append(
        f"  {problem}, one run: {_beside([(seconds, cost), plain[:2]], 'scipy least_squares, sparse')}, "
        f"{plain[2]} evaluations"
    )
    return lines


def _beside(medians: list[tuple[float, float]], other: str) -> str:
    (seconds, cost), *rest = medians
    words = f"{seconds:.3f} s, cost {cost:.3f}"
    for theirs, their_cost in rest:
        words += f"; {other} {theirs:.3f} s, cost {their_cost:.3f}; ratio {seconds / theirs:.2f}"
    return words


if __name__ == "__main__":
    print("\n".join(_lines()))
