"""Time and memory of the whole check() for 10, 100 and 1,000 points with ten floor tapes from each."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
SPACING, JITTER = 500.0, 60.0
READINGS = 10

PROBE = """
import json, resource, sys, time
from pathlib import Path
import measure.document  # loaded with the first check otherwise
from measure.check import check
start = time.perf_counter()
doc = check(Path(sys.argv[1]))
seconds = time.perf_counter() - start
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(json.dumps([seconds, peak / (2**20 if sys.platform == "darwin" else 2**10), doc.network.readings,
                  doc.network.sigma0, len(doc.suspects), len(doc.loose)]))
"""


@dataclass(frozen=True)
class Grown:
    """One size: seconds of check(), peak memory (MB) of a fresh process, and what came out."""

    points: int
    tapes: int
    seconds: float
    megabytes: float
    sigma0: float
    suspects: int
    loose: int


def write_grid(folder: Path, points: int, *, pairs: bool = False) -> int:
    """A job of points on a jittered grid, from each a floor tape to its ten nearest; returns the number of tapes.

    Two points that are near each other both ways are taped there and back. With pairs the points are those of a
    body: the left half of the grid against the right.
    """
    rng = np.random.default_rng(points)
    half = points // 2 if pairs else points
    columns = int(np.ceil(np.sqrt(half)))
    k = np.arange(half)
    xy = SPACING * np.column_stack([-(k // columns), 0.5 + k % columns]) + rng.normal(0.0, JITTER, (half, 2))
    names = [f"p{i}" for i in k]
    sides = ["C"] * points
    if pairs:
        xy = np.concatenate([xy, xy * [1.0, -1.0]])
        names = [f"p{i}{side}" for side in "LR" for i in k]
        sides = [side for side in "LR" for _ in range(half)]
    marks = xy + rng.normal(0.0, 1.0, xy.shape)
    apart = np.linalg.norm(xy[:, None] - xy, axis=2)
    np.fill_diagonal(apart, np.inf)
    nearest = np.argsort(apart, axis=1, kind="stable")[:, : min(READINGS, len(xy) - 1)]
    (folder / "before").mkdir(parents=True)
    (folder / "job.toml").write_text('title = "grid"\nunits = "mm"\nstages = ["before"]\n', encoding="utf-8")
    rows = ["name,side", *(f"{name},{side}" for name, side in zip(names, sides, strict=True))]
    (folder / "points.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    tapes = ["from,to,length,where"]
    for a, ends in enumerate(nearest.tolist()):
        for b in [*ends, *ends[: READINGS - len(ends)]]:
            length = float(np.linalg.norm(marks[a] - marks[b])) + rng.normal(0.0, 0.53)
            tapes.append(f"{names[a]},{names[b]},{length:.1f},floor")
    (folder / "before" / "tape.csv").write_text("\n".join(tapes) + "\n", encoding="utf-8")
    return len(tapes) - 1


def measure(points: int, *, pairs: bool = False) -> Grown:
    """One size, in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "grid"
        tapes = write_grid(job, points, pairs=pairs)
        argv = [sys.executable, "-c", PROBE, str(job)]
        done = subprocess.run(argv, cwd=ROOT, capture_output=True, check=True, text=True)
    seconds, megabytes, _, sigma0, suspects, loose = json.loads(done.stdout)
    return Grown(points, tapes, seconds, megabytes, sigma0, suspects, loose)


def exponent(sizes: list[int], values: list[float]) -> float:
    """p of value ~ size^p, least squares in logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(values), 1)[0])


def table(sizes: tuple[int, ...] = (10, 100, 1000), *, pairs: bool = False) -> list[str]:
    """Lines to print."""
    grown = [measure(n, pairs=pairs) for n in sizes]
    what = "all in pairs of one body" if pairs else "points on a grid"
    lines = [f"growth of the whole check(), {what}, ten floor tapes from each"]
    lines += [
        f"  {g.points:5d} points, {g.tapes:6d} tapes: {g.seconds:8.2f} s, {g.megabytes:6.0f} MB at most, "
        f"sigma0 {g.sigma0:.3f}, {g.suspects} suspects, {g.loose} loose"
        for g in grown
    ]
    n = [g.points for g in grown]
    lines.append(
        f"  time grows as points^{exponent(n, [g.seconds for g in grown]):.2f}, "
        f"memory as points^{exponent(n, [g.megabytes for g in grown]):.2f}; over the last step "
        f"^{exponent(n[-2:], [g.seconds for g in grown[-2:]]):.2f} and "
        f"^{exponent(n[-2:], [g.megabytes for g in grown[-2:]]):.2f}"
    )
    return lines
