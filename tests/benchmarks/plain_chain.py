"""Ours beside the plain chain a user would write, on the same pictures in the same run.

The chain: the common detector with its sub-pixel corners, a sheet's centre where the diagonals cross; poses from
squares, chained from picture to picture; one general least squares of poses, points and lens with the bars as rows,
and the covariance of its Jacobian. It is given both cores, our first lens, analytic derivatives, a robust loss, and
for its intervals the scatter of its own images. Sheets that stand off their points are left out of the chain.

`python -m tests.benchmarks.plain_chain FOLDER`: a job folder of pictures of one camera, with truth.json or truth.toml.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

import measure.readings.photographs as photographs
import measure.survey as surveying
from measure.adjust.critical import K95
from measure.adjust.solver import solve
from measure.adjust.starting import starting_state
from measure.body import face
from measure.body.points import CarPoints, Sources
from measure.body.stand import stand
from measure.job import Job
from measure.photo.linear import LIGHT
from measure.rigid_fit import rigid_fit
from measure.survey import Surveyed, survey
from tests.benchmarks.general_least_squares import Images, Solution, solved
from tests.benchmarks.targets import crossing, plain
from tests.benchmarks.walkrounds import FIGURES, gaps, judged, over_sd, solved_points, true_places

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
Seen = list[dict[int, Array]]
"""Of each picture the corners (4, 2) px by number."""

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data" / "photo_car"
STAGES = ("detect", "poses", "least squares", "covariance")
IN_LIGHT = np.round(255 * LIGHT).astype(np.uint8)
LOSSES = ("linear", "soft_l1")
RUNS = 3


@dataclass(frozen=True)
class Measured:
    """What one side made of so many images: places (n, 3), covariance (3n, 3n), figures, seconds by stage."""

    names: list[str]
    at: Array
    covariance: Array
    figures: dict[str, tuple[float, float]]
    images: int
    seconds: dict[str, float]


def ours(folder: Path) -> tuple[Surveyed, Measured, float]:
    """Our side, nothing remembered; beside it the seconds of the whole adjustment, its search for mistakes included."""
    with tempfile.TemporaryDirectory() as cache, _environment("XDG_CACHE_HOME", cache):
        watched = [(photographs, "find_in"), (photographs, "first_poses"), (surveying, "adjust_what_is_held")]
        with _watched(watched) as seconds:
            surveyed = survey(folder)
    first = starting_state(surveyed.solved.site, surveyed.readings).state
    began = time.perf_counter()
    adjusted = solve(surveyed.solved.final.network, first)
    between = time.perf_counter()
    _ = adjusted.Q
    done = time.perf_counter()
    taken = dict(
        zip(STAGES, (seconds["find_in"], seconds["first_poses"], between - began, done - between), strict=True)
    )
    names = surveyed.solved.site.unknowns.points
    at, covariance = solved_points(surveyed, names)
    images = sum(r.seen is not None for r in surveyed.readings)
    measured = Measured(list(names), at, covariance, judged(surveyed.standing), images, taken)
    return surveyed, measured, seconds["adjust_what_is_held"]


@contextmanager
def _environment(name: str, value: str) -> Iterator[None]:
    before = os.environ.get(name)
    os.environ[name] = value
    try:
        yield
    finally:
        os.environ.pop(name)
        if before is not None:
            os.environ[name] = before


@contextmanager
def _watched(functions: Sequence[tuple[Any, str]]) -> Iterator[dict[str, float]]:
    """Seconds spent in some functions of modules, by name, all calls together."""
    seconds = {name: 0.0 for _, name in functions}
    before = [getattr(module, name) for module, name in functions]

    def timed(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **named: Any) -> Any:
            began = time.perf_counter()
            try:
                return function(*args, **named)
            finally:
                seconds[name] += time.perf_counter() - began

        return run

    for (module, name), function in zip(functions, before, strict=True):
        setattr(module, name, timed(name, function))
    try:
        yield seconds
    finally:
        for (module, name), function in zip(functions, before, strict=True):
            setattr(module, name, function)


def detect(paths: Sequence[Path], numbers: frozenset[int], in_light: bool) -> Seen:
    """The common detector on every picture, a picture a core; numbers that are not about are left out."""
    cv2.setNumThreads(1)

    def one(path: Path) -> dict[int, Array]:
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
        if grey is None:
            return {}
        found = plain(np.asarray(cv2.LUT(grey, IN_LIGHT) if in_light else grey, np.uint8))
        return {number: corners for number, corners in found.items() if number in numbers}

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(one, paths))


def poses(seen: Seen, sides: dict[int, float], K: Array) -> tuple[dict[int, Array], dict[int, Array]]:
    """camera_from_network (4, 4) by picture and network_from_sheet (4, 4) by number, chained from the fullest picture.

    Each square gives its pose (of the two the one with the smaller misfit); a picture takes the pose by that of its
    known sheets which suits all of them best, improved on all their corners.
    """
    squares = [{n: _square(corners, sides[n], K) for n, corners in picture.items()} for picture in seen]
    first = max(range(len(seen)), key=lambda i: len(seen[i]))
    cameras, sheets = {first: np.eye(4)}, dict(squares[first])
    while waiting := [i for i in range(len(seen)) if i not in cameras and seen[i].keys() & sheets.keys()]:
        i = max(waiting, key=lambda i: len(seen[i].keys() & sheets.keys()))
        known = sorted(seen[i].keys() & sheets.keys())
        places = np.concatenate([_corners(sides[n]) @ sheets[n][:3, :3].T + sheets[n][:3, 3] for n in known])
        pixels = np.concatenate([seen[i][n] for n in known])
        offered = [squares[i][n] @ np.linalg.inv(sheets[n]) for n in known]
        best = min(offered, key=lambda pose: _misfit(pose, places, pixels, K))
        turn, shift = cv2.solvePnPRefineLM(
            places, pixels, K, np.zeros(5), cv2.Rodrigues(best[:3, :3])[0], best[:3, 3:].copy()
        )
        cameras[i] = _pose(turn, shift)
        for n in seen[i].keys() - sheets.keys():
            sheets[n] = np.linalg.inv(cameras[i]) @ squares[i][n]
    return cameras, sheets


def _corners(side: float) -> Array:
    """(4, 3), in the order that IPPE_SQUARE asks for."""
    return side / 2 * np.array([(-1.0, 1.0, 0.0), (1.0, 1.0, 0.0), (1.0, -1.0, 0.0), (-1.0, -1.0, 0.0)])


def _square(corners: Array, side: float, K: Array) -> Array:
    """camera_from_sheet (4, 4)."""
    _, turns, shifts, misfits = cv2.solvePnPGeneric(
        _corners(side), corners, K, np.zeros(5), flags=cv2.SOLVEPNP_IPPE_SQUARE
    )
    best = int(np.argmin(misfits))
    return _pose(turns[best], shifts[best])


def _pose(turn: Any, shift: Any) -> Array:
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = cv2.Rodrigues(turn)[0], np.ravel(shift)
    return pose


def _misfit(camera: Array, places: Array, pixels: Array, K: Array) -> float:
    """Median px; a pose that has a place behind the camera is out."""
    x = (places @ camera[:3, :3].T + camera[:3, 3]) @ K.T
    if np.any(x[:, 2] <= 0):
        return float("inf")
    return float(np.median(np.linalg.norm(x[:, :2] / x[:, 2:] - pixels, axis=1)))


def chain(surveyed: Surveyed, in_light: bool) -> dict[str, tuple[Measured, Solution]]:
    """The plain chain on the pictures of a survey, by each of LOSSES."""
    job = surveyed.job
    listed = {r.seen.number: (r.names[0], r.seen.side) for r in surveyed.readings if r.seen and not r.seen.standoff}
    lenses = {r.seen.camera.key: r.seen.camera.lens for r in surveyed.readings if r.seen}
    if len(lenses) != 1:
        raise ValueError(f"{len(lenses)} cameras in {job.folder}: the chain knows one")
    focal, aspect, cx, cy = next(iter(lenses.values()))[:4]
    K = np.array([(focal, 0.0, cx), (0.0, focal * (1 + aspect), cy), (0.0, 0.0, 1.0)])
    clock = [time.perf_counter()]
    paths = sorted((job.folder / surveyed.stage / "photos").iterdir())
    seen = detect(paths, frozenset(listed), in_light)
    clock.append(time.perf_counter())
    cameras, sheets = poses(seen, {n: side for n, (_, side) in listed.items()}, K)
    clock.append(time.perf_counter())
    images, numbers = images_of(seen, cameras, sheets)
    point_of = {listed[n][0]: k for k, n in enumerate(numbers)}
    bars = [(point_of[r.names[0]], point_of[r.names[1]], r.values[0], r.sd)
            for r in surveyed.readings if r.kind == "bar" and set(r.names) <= point_of.keys()]  # fmt: skip
    places, views = np.array([sheets[n][:3, 3] for n in numbers]), np.array([cameras[i] for i in sorted(cameras)])
    made = {}
    for loss in LOSSES:
        began = time.perf_counter()
        found = solved(images, bars, places, views, next(iter(lenses.values())), loss)
        between = time.perf_counter()
        covariance = found.covariance()
        taken = (*np.diff(clock).tolist(), between - began, time.perf_counter() - between)
        figures = _judged(job, surveyed, list(point_of), found.points, covariance)
        seconds = dict(zip(STAGES, taken, strict=True))
        made[loss] = Measured(list(point_of), found.points, covariance, figures, len(images.point), seconds), found
    return made


def images_of(seen: Seen, cameras: dict[int, Array], sheets: dict[int, Array]) -> tuple[Images, list[int]]:
    """Centres of the sheets that two posed pictures or more show."""
    shown = [(place, n, crossing(seen[i][n])) for place, i in enumerate(sorted(cameras)) for n in sorted(seen[i])]
    numbers = [n for n in sorted(sheets) if sum(each[1] == n for each in shown) > 1]
    kept = [(picture, numbers.index(n), centre) for picture, n, centre in shown if n in numbers]
    picture, point, pixels = zip(*kept, strict=True)
    return Images(np.array(picture), np.array(point), np.array(pixels)), numbers


def _judged(
    job: Job, surveyed: Surveyed, names: Sequence[str], at: Array, covariance: Array
) -> dict[str, tuple[float, float]]:
    """The chain's figures by our body code: its points are laid into our axes, which no figure depends on."""
    mine = [names.index(name) for name in surveyed.points.names if name in names]
    kept = [names[i] for i in mine]
    R, t = rigid_fit(at[mine], solved_points(surveyed, kept)[0])
    rows = (3 * np.array(mine)[:, None] + np.arange(3)).ravel()
    size, axes = np.linalg.eigh(covariance[np.ix_(rows, rows)])
    effects = axes * np.sqrt(np.maximum(size, 0.0))
    sources = Sources(effects, ("pictures",) * len(rows), np.full(len(rows), np.inf)).turned(R)
    every = np.ones(len(kept), dtype=bool)
    points = CarPoints(tuple(kept), at[mine] @ R.T + t, sources, every, np.zeros((len(kept), 0)), (False,) * len(kept))
    return judged(stand(job, points))


def true_figures(job: Job, place: dict[str, Array]) -> dict[str, float]:
    """FIGURES from the true places of the face's points, in the axes of the design."""
    ends = [np.array([place[p.name] for p in job.points if p.part == "face:rear" and p.side == side]) for side in "LR"]
    (left, right) = (face.centre(end) for end in ends)
    across = left - right
    turned = np.mean([face.heading(end, side) for end, side in zip(ends, "LR", strict=True)])
    values = ((left + right)[1] / 2, np.degrees(np.arctan2(-across[0], across[1])), turned)
    return {name: float(value) for name, value in zip(FIGURES, values, strict=True)}


def table(folder: Path = SAMPLE, runs: int = RUNS) -> list[str]:
    """Lines to print."""
    survey(folder)  # what is loaded only once is not timed
    place = true_places(folder)
    mine, adjusting = [], []
    theirs: dict[str, list[tuple[Measured, Solution]]] = {}
    for _ in range(runs):  # side by side, so that other work on the machine slows all alike
        surveyed, measured, seconds = ours(folder)
        mine.append(measured)
        adjusting.append(seconds)
        for in_light, values in ((False, "values as stored"), (True, "linear light")):
            for loss, made in chain(surveyed, in_light).items():
                theirs.setdefault(f"chain, {values}, {loss} loss", []).append(made)
    own = _median(mine)
    found = {way: (_median([each for each, _ in made]), made[0][1]) for way, made in theirs.items()}
    true = true_figures(surveyed.job, place)
    common = [name for name in next(iter(found.values()))[0].names if name in place]
    lines = [
        f"{folder.name}: ours beside the plain chain, times the median of {runs} runs on {os.cpu_count()} cores",
        *_accuracy("ours", own, common, place, true),
        "    seconds: " + ", ".join(f"{stage} {own.seconds[stage]:.3f}" for stage in STAGES)
        + f"; adjusted with the search for mistakes {statistics.median(adjusting):.3f}",
    ]  # fmt: skip
    for way, (measured, solution) in found.items():
        over = ", ".join(f"{stage} {measured.seconds[stage] / own.seconds[stage]:.1f}" for stage in STAGES)
        whole = sum(measured.seconds.values())
        lines += [
            *_accuracy(way, measured, common, place, true),
            f"    images scatter by {solution.image_sd:.3f} px; seconds over ours: {over}; all "
            f"{whole / sum(own.seconds.values()):.1f} ({whole:.2f} s, {solution.evaluations} evaluations)",
        ]
    return lines


def _median(made: Sequence[Measured]) -> Measured:
    """The first, with the median of all times."""
    seconds = {stage: statistics.median(each.seconds[stage] for each in made) for stage in STAGES}
    return replace(made[0], seconds=seconds)


def _accuracy(
    way: str, measured: Measured, common: Sequence[str], place: dict[str, Array], true: dict[str, float]
) -> list[str]:  # fmt: skip
    mine = [measured.names.index(name) for name in common if name in measured.names]
    rows = (3 * np.array(mine)[:, None] + np.arange(3)).ravel()
    at, where = measured.at[mine], np.array([place[measured.names[i]] for i in mine])
    off = gaps(at, where)
    ratio = over_sd(at, measured.covariance[np.ix_(rows, rows)], where)
    told = []
    for name, (value, u95) in measured.figures.items():
        holds = "holds" if abs(value - true[name]) <= u95 else "misses"
        told.append(f"{name.rpartition('.')[2]} {value:+.3f} +- {u95:.3f} ({holds} {true[name]:+.3f})")
    return [
        f"  {way}: {len(mine)} points from {measured.images} images, {off[0]:.4f}, {off[1]:.4f}, {off[2]:.4f} mm rms "
        f"in x, y, z; lengths between them held {100 * np.mean(np.abs(ratio) < K95):.0f} % (error over sd "
        f"{np.sqrt(np.mean(ratio**2)):.2f})",
        f"    {', '.join(told)}",
    ]


if __name__ == "__main__":
    print("\n".join(table(Path(sys.argv[1])) if len(sys.argv) > 1 else table()))
