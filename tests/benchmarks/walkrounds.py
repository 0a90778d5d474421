"""Photographs: are 95 % intervals right over simulated walk-rounds, and how near pictures come to their truth."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measure.body.stand import Stand
from measure.findings import BadInput
from measure.rigid_fit import rigid_fit
from measure.survey import Surveyed, survey
from tests.synthetic import truth
from tests.walkrounds import walked

Array = NDArray[np.float64]
FIGURES = ("axle.rear.offset", "axle.rear.square", "axle.rear.thrust")
PICTURES = 24

DECODE = """
import sys, time
from pathlib import Path
import cv2, numpy as np
cv2.setNumThreads(1)
data = [np.fromfile(p, np.uint8) for p in sorted(Path(sys.argv[1]).iterdir())]
start = time.perf_counter()
for each in data:
    cv2.imdecode(each, cv2.IMREAD_GRAYSCALE)
print(time.perf_counter() - start)
"""
CHECK = """
import resource, sys, time
start = time.perf_counter()
from pathlib import Path
from measure.check import check
check(Path(sys.argv[1]))
took = time.perf_counter() - start
# this process and the one beside it, which on two cores there is one of
print(took, sum(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1024)
"""


def coverage(count: int = 200, workers: int = 2) -> list[str]:
    """Rows of the table: shares of 95 % intervals that hold the truth."""
    with ProcessPoolExecutor(workers) as pool:
        done = [each for each in pool.map(_one, range(count)) if each is not None]
    lengths = np.concatenate([each[0] for each in done])
    held = {name: np.array([each[1][name] for each in done if name in each[1]]) for name in FIGURES}
    near = np.sqrt(np.mean([each[2] ** 2 for each in done], axis=0))
    lines = [
        f"{len(done)} walk-rounds of {PICTURES} pictures, 0.04 px: lengths between points held "
        f"{100 * np.mean(np.abs(lengths) < 1.96):.1f} % (rms of error over sd {np.sqrt(np.mean(lengths**2)):.2f}); "
        f"points {near[0]:.3f}, {near[1]:.3f}, {near[2]:.3f} mm rms in x, y, z",
        f"  a clean one raises no suspect: {100 * np.mean([each[3] == 0 for each in done]):.1f} %",
    ]
    return lines + [
        f"  {name}: {100 * np.mean(each[:, 0]):.1f} % held, u95 {each[:, 1].mean():.3f}" for name, each in held.items()
    ]


def _one(seed: int) -> tuple[Array, dict[str, tuple[bool, float]], Array, int] | None:
    try:
        walk = walked(1000 + seed, pictures=PICTURES, build=1.0)
    except ValueError:
        return None  # the maker of scenes found no place to stand
    with tempfile.TemporaryDirectory() as folder:
        job = walk.write(Path(folder) / "car", sd={"build": 1.0})
        with walk.seen():
            try:
                surveyed = survey(job)
            except BadInput:
                return None
    true = truth(walk.car)
    names = [n for n, on in zip(surveyed.solved.site.unknowns.points, surveyed.solved.held, strict=True) if on]
    at, covariance = solved_points(surveyed, names)
    where = np.array([walk.scene.points[name] for name in names])
    figures = {name: (abs(v - true[name]) <= u95, u95) for name, (v, u95) in judged(surveyed.standing).items()}
    return over_sd(at, covariance, where), figures, gaps(at, where), len(surveyed.solved.suspects)


def over_sd(at: Array, covariance: Array, where: Array) -> Array:
    """Errors of all lengths between points at (n, 3) with covariance (3n, 3n), over their sd; `where` they are."""
    found = []
    for i, k in combinations(range(len(at)), 2):
        leg = at[k] - at[i]
        length = np.linalg.norm(leg)
        gradient = np.concatenate([-leg, leg]) / length
        columns = np.r_[3 * i : 3 * i + 3, 3 * k : 3 * k + 3]
        sd = np.sqrt(gradient @ covariance[np.ix_(columns, columns)] @ gradient)
        found.append((length - np.linalg.norm(where[k] - where[i])) / sd)
    return np.array(found)


def gaps(at: Array, where: Array) -> Array:
    """Rms distance (3,) an axis of points at (n, 3) from the truth, laid over it."""
    R, t = rigid_fit(at, where)
    return np.asarray(np.sqrt(np.mean((at @ R.T + t - where) ** 2, axis=0)))


def solved_points(surveyed: Surveyed, names: Sequence[str]) -> tuple[Array, Array]:
    """Where these points stand (n, 3), and their covariance (3n, 3n)."""
    final, u = surveyed.solved.final, surveyed.solved.site.unknowns
    idx = [u.point_idx[name] for name in names]
    columns = u.point_columns[idx].ravel()
    return final.state.positions[idx], final.Q[np.ix_(columns, columns)]


def judged(standing: Stand | None) -> dict[str, tuple[float, float]]:
    """Value and u95 of each of FIGURES that a standing car has."""
    return {
        j.check.name: (j.figure.value, j.u95)
        for j in (standing.judged if standing else ()) if j.figure is not None and j.u95 is not None
        and j.check.name in FIGURES
    }  # fmt: skip


def true_places(folder: Path) -> dict[str, Array]:
    """Each point's place in the axes of the car's design, by its sheet's corners in truth.json or from truth.toml."""
    if (folder / "truth.json").is_file():
        targets = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["targets"].values()
        return {each["name"]: np.mean(each["corners"], axis=0) for each in targets}
    points = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))["points"]
    return {name: np.array(at) for name, at in points.items()}


def pictures(folder: Path, runs: int = 3) -> list[str]:
    """Accuracy and time on a job folder of pictures with its truth."""
    place = true_places(folder)
    surveyed = survey(folder)
    names = [n for n in surveyed.solved.site.unknowns.points if n in place]
    off = gaps(solved_points(surveyed, names)[0], np.array([place[name] for name in names]))
    lines = [f"{folder.name}: points {off[0]:.4f}, {off[1]:.4f}, {off[2]:.4f} mm rms in x, y, z"]
    lines += [f"  {name}: {value:+.3f} +- {u95:.3f}" for name, (value, u95) in judged(surveyed.standing).items()]
    decode, whole, megabytes = [], [], 0.0
    for _ in range(runs):
        decode.append(float(_run(DECODE, folder / surveyed.stage / "photos")[0]))
        seconds, used = map(float, _run(CHECK, folder))
        whole.append(seconds)
        megabytes = max(megabytes, used)
    ratio = np.median(whole) / np.median(decode)
    return [
        *lines,
        f"  check, first time: {np.median(whole):.2f} s, {ratio:.2f} times decoding in grey "
        f"({np.median(decode):.2f} s); {megabytes:.0f} MB",
    ]


def _run(program: str, folder: Path) -> list[str]:
    """Run in a process of its own with an empty cache."""
    with tempfile.TemporaryDirectory() as cache:
        env = {**os.environ, "XDG_CACHE_HOME": cache}
        run = subprocess.run(
            [sys.executable, "-c", program, str(folder)], capture_output=True, text=True, check=True, env=env
        )
    time.sleep(0.1)
    return run.stdout.split()


if __name__ == "__main__":
    print("\n".join(pictures(Path(sys.argv[1])) if len(sys.argv) > 1 else coverage()))
