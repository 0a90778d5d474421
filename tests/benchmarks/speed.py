"""How long a command takes, as a ratio to a reference run beside it: machines differ, ratios less."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCIENCE = "import numpy, scipy.linalg, scipy.stats"


def ratio(command: Sequence[str], reference: Sequence[str], runs: int = 7) -> tuple[float, float, float]:
    """(ratio, seconds of the command, seconds of the reference): medians of runs taken in turn."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(runs + 1):
        for kept, line in zip(times, (command, reference), strict=True):
            start = time.perf_counter()
            subprocess.run(line, cwd=ROOT, capture_output=True, check=False, timeout=120)
            kept.append(time.perf_counter() - start)
    own, other = (sorted(kept[1:])[runs // 2] for kept in times)  # the first run of each warms the disk
    return own / other, own, other


def check_command(runs: int = 7) -> tuple[float, float, float]:
    """`plumbsquare check` on a car with seven pairs, against importing numpy and scipy."""
    own = [sys.executable, "-m", "measure", "check", "sample_data/pulled_rail"]
    return ratio(own, [sys.executable, "-c", SCIENCE], runs)


def help_command(runs: int = 7) -> tuple[float, float, float]:
    """`plumbsquare --help`, against importing click."""
    own = [sys.executable, "-c", "from measure.cli import main; main(['--help'])"]
    return ratio(own, [sys.executable, "-c", "import click"], runs)
