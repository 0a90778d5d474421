"""The camera command on OpenCV's public chessboard pictures, and its intervals on simulated boards.

`python -m tests.benchmarks.chessboard FOLDER`: the folder holds left01.jpg ... left14.jpg, as in Debian's package
opencv-doc (examples/data). Without a folder only the simulation runs. Prints; asserts nothing.
"""

from __future__ import annotations

import argparse
import time
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from calib.board import CODED, PLAIN, Board, Chessboard
from calib.camera_calibration import calibrate
from measure.photo.lens import LENS
from tests.calib.boards import LENS_TRUE, SIZE, exact_views, noisy, poses

DATA = Path(__file__).parents[1] / "published" / "data" / "chessboard_opencv_left.toml"


def on_pictures(folder: Path) -> list[str]:
    """Lens from the pictures beside the published one, and how long it took."""
    from calib.camera_pictures import calibrate_pictures

    published: dict[str, Any] = tomllib.loads(DATA.read_text(encoding="utf-8"))
    paths = [folder / f"left{name}.jpg" for name in published["images"]]
    start = time.perf_counter()
    found = calibrate_pictures(paths, Chessboard(9, 6))
    took = time.perf_counter() - start
    camera = found.camera
    lines = [f"{len(camera.pictures)} of {len(paths)} pictures in {took:.2f} s, sd of a corner {camera.sigma0:.3f} px"]
    lines.append("parameter       found         sd  published")
    for name, value, sd in zip(LENS, camera.values, camera.sd, strict=True):
        beside = published["published"].get({"focal": "fx"}.get(name, name), 0.0)
        lines.append(f"{name:9} {value:11.5f} {sd:10.5f} {beside:10.5f}")
    return lines + [f"weak: {words}" for words in found.weak]


def intervals(board: Board, name: str, times: int = 1000, corner_sd: float = 0.1) -> list[str]:
    """Shares of 95 % intervals that hold the truth, 12 pictures, `times` draws of the corners' noise."""
    rng = np.random.default_rng(20)
    R, t = poses(board, LENS_TRUE, SIZE, 12, rng)
    views = exact_views(board, LENS_TRUE, R, t)
    held, lenses = np.zeros(9), []
    start = time.perf_counter()
    for _ in range(times):
        found = calibrate(noisy(views, corner_sd, rng), (LENS_TRUE, R, t))
        held += np.abs(found.lens - LENS_TRUE) < 1.96 * found.sd
        lenses.append(found.lens)
    took = (time.perf_counter() - start) / times
    L = np.linalg.cholesky(found.covariance)
    whitened = np.linalg.solve(L, (np.array(lenses) - LENS_TRUE).T)
    eigenvalues = np.linalg.eigvalsh(whitened @ whitened.T / times)
    by_chance = (1 - np.sqrt(9 / times)) ** 2, (1 + np.sqrt(9 / times)) ** 2
    return [
        f"{name}, {times} simulated sets of 12 pictures, {1000 * took:.0f} ms each",
        "  95 % intervals that hold the truth: "
        + ", ".join(f"{n} {100 * h / times:.1f} %" for n, h in zip(LENS, held, strict=True)),
        f"  covariance against re-solves, eigenvalues {eigenvalues[0]:.2f} to {eigenvalues[-1]:.2f}"
        f" (by chance {by_chance[0]:.2f} to {by_chance[1]:.2f})",
    ]


def table(folder: Path | None = None) -> list[str]:
    """All lines."""
    lines = [] if folder is None else on_pictures(folder)
    return [*lines, *intervals(PLAIN, "plain board"), *intervals(CODED, "coded board")]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.chessboard", description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    print("\n".join(table(parser.parse_args().folder)))
