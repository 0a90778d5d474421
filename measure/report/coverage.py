"""A picture of where the board's corners fell in the frame."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calib.camera_advice import CUTS
from calib.camera_file import CameraFile
from measure.atomic import write_atomically
from measure.typeface import FAMILIES, register_for_drawings

Array = NDArray[np.float64]

WIDTH_INCHES = 7.5
INK, FAINT = "#222222", "#b8b8b8"


def draw_coverage(path: Path, camera: CameraFile, pixels: Sequence[Array]) -> None:
    """Write a PNG: the corners (n, 2) of each picture in the sensor's own frame, its nine parts, the lens's middle.

    The file is written only when the drawing is complete.
    """
    import matplotlib
    import matplotlib.style
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    register_for_drawings()
    w, h = camera.width, camera.height
    with matplotlib.style.context("default"), matplotlib.rc_context({"font.family": FAMILIES}):
        figure = Figure(figsize=(WIDTH_INCHES, WIDTH_INCHES * min(h / w, 2.0) + 0.9), dpi=120, facecolor="white")
        FigureCanvasAgg(figure)
        axes = figure.add_axes((0.1, 0.12, 0.87, 0.78))
        for share in CUTS:
            axes.axvline(w * share - 0.5, color=FAINT, linewidth=0.8)
            axes.axhline(h * share - 0.5, color=FAINT, linewidth=0.8)
        for each in pixels:
            axes.plot(each[:, 0], each[:, 1], ".", color=INK, markersize=2.5, alpha=0.7)
        axes.plot([camera.values[2]], [camera.values[3]], "+", color=INK, markersize=14, markeredgewidth=1.4)
        axes.set(xlim=(-0.5, w - 0.5), ylim=(h - 0.5, -0.5), aspect="equal")
        axes.tick_params(labelsize=8)
        axes.set_xlabel("pixels, camera held level (before any EXIF rotation); + is the lens's middle", fontsize=8)
        corners = sum(len(each) for each in pixels)
        axes.set_title(
            f"{corners} corners of {len(pixels)} pictures, {w} x {h} pixels: they should reach all nine parts",
            fontsize=9, color=INK, loc="left",
        )  # fmt: skip
        drawn = io.BytesIO()
        figure.savefig(drawn, format="png", metadata={"Software": None})
    write_atomically(path, drawn.getvalue())
