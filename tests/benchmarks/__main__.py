"""`python -m tests.benchmarks [--cars N] [--sheets N] [--workers N]`: prints every figure; asserts nothing."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable

from tests.benchmarks import (
    axle_setting,
    bundle,
    coverage,
    drilling,
    growth,
    movements,
    patterns,
    plain_chain,
    sheets,
    start_up,
    walkrounds,
    web,
)


def main() -> None:
    """Run what is asked for, timings first, while nothing else runs."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=main.__doc__)
    parser.add_argument("what", nargs="*", help="which of them, such as start_up or sheets; all where left out")
    parser.add_argument("--cars", type=int, default=1000)
    parser.add_argument("--sheets", type=int, default=500)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    parts: dict[str, Callable[[], list[str]]] = {
        "start_up": start_up.table,
        "growth": growth.table,
        "pairs": lambda: growth.table((20, 100, 400), pairs=True),
        "coverage": lambda: coverage.table(asked.cars, asked.workers),
        "sheets": lambda: sheets.table(asked.sheets, asked.workers),
        "walkrounds": lambda: walkrounds.coverage(min(asked.cars, 600), asked.workers),
        "bundle": bundle.table,
        "web": web.table,
        "movements": lambda: movements.table(workers=asked.workers),
        "drilling": lambda: drilling.table(min(asked.cars, 300), asked.workers),
        "axle_setting": lambda: axle_setting.table(min(asked.cars, 300), asked.workers),
        "patterns": lambda: patterns.table(asked.sheets, asked.workers),
        "plain_chain": plain_chain.table,
    }
    if unknown := [name for name in asked.what if name not in parts]:
        parser.error(f"there is no {unknown[0]}: {', '.join(parts)}")
    for name in asked.what or parts:
        print("\n".join(parts[name]()), flush=True)


if __name__ == "__main__":
    main()
