"""Time of whole commands, as a ratio to importing what they cannot do without, in the same run."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.benchmarks.simulated import measured_car
from tests.synthetic import write_job

ROOT = Path(__file__).resolve().parents[2]
NUMERIC = [sys.executable, "-c", "import numpy, scipy.linalg, scipy.stats"]
CLICK = [sys.executable, "-c", "import click"]


def ratio(command: list[str], yardstick: list[str], runs: int = 7) -> tuple[float, float, float]:
    """(ratio of the medians, seconds of the command, of the yardstick); runs in turn, the first of each not counted."""
    taken: dict[int, list[float]] = {0: [], 1: []}
    for k in range(runs + 1):
        for which, argv in enumerate((command, yardstick)):
            start = time.perf_counter()
            done = subprocess.run(argv, cwd=ROOT, capture_output=True, check=False)
            if k:
                taken[which].append(time.perf_counter() - start)
            if done.returncode not in (0, 1, 3) or b"Traceback" in done.stderr:
                raise RuntimeError(done.stderr.decode(errors="replace"))
    ours, theirs = statistics.median(taken[0]), statistics.median(taken[1])
    return ours / theirs, ours, theirs


def table(runs: int = 7) -> list[str]:
    """Lines to print."""
    lines = [f"whole commands, median of {runs} runs in turn with their yardstick"]
    car, sheet = measured_car(np.random.default_rng(7))
    with tempfile.TemporaryDirectory() as folder:
        job = str(write_job(Path(folder) / "job", car, sheet))
        for words, args, yardstick in (
            ("check --json", ["check", job, "--json"], NUMERIC),
            ("check", ["check", job], NUMERIC),
            ("--help", ["--help"], CLICK),
        ):
            r, ours, theirs = ratio([sys.executable, "-m", "measure", *args], yardstick, runs)
            lines.append(f"  {words:13s} {ours:.3f} s = {r:.2f} times `{yardstick[2]}` ({theirs:.3f} s)")
    return lines
