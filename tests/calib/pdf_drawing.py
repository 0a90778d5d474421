"""What a PDF of ours draws, read from its content stream: rectangles and lines in mm, and a raster of them."""

from __future__ import annotations

import io
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

MM = 25.4 / 72


@dataclass
class Drawing:
    """Millimetres from the upper left corner of the paper, y down, in the order drawn."""

    width: float
    height: float
    blocks: list[tuple[float, float, float, float, float]]  # x, y, width, height, grey
    lines: list[tuple[float, float, float, float]]

    def raster(self, per_mm: float, samples: int = 4) -> np.ndarray:
        """The blocks as grey (h, w) uint8, area sampled."""
        scale = per_mm * samples
        page = np.ones((round(self.height * scale), round(self.width * scale)))
        for x, y, w, h, grey in self.blocks:
            page[round(y * scale) : round((y + h) * scale), round(x * scale) : round((x + w) * scale)] = grey
        h, w = (n // samples for n in page.shape)
        mean = page[: h * samples, : w * samples].reshape(h, samples, w, samples).mean(axis=(1, 3))
        return np.rint(255 * mean).astype(np.uint8)


def drawings(pdf: bytes) -> list[Drawing]:
    reader = PdfReader(io.BytesIO(pdf))
    return [_drawing(page, reader) for page in reader.pages]


def _drawing(page, reader) -> Drawing:
    width, height = float(page.mediabox.width), float(page.mediabox.height)
    made = Drawing(width * MM, height * MM, [], [])
    grey, at, path = 0.0, (0.0, 0.0), []
    shift = [0.0, 0.0]
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        numbers = [float(o) for o in operands if isinstance(o, int | float) or hasattr(o, "as_numeric")]
        match operator:
            case b"cm":
                if numbers[:4] == [1, 0, 0, 1]:
                    shift = [shift[0] + numbers[4], shift[1] + numbers[5]]
            case b"g":
                grey = numbers[0]
            case b"re":
                x, y, w, h = numbers
                path = [((x + shift[0]) * MM, (height - y - h - shift[1]) * MM, w * MM, h * MM)]
            case b"f" | b"f*":
                made.blocks += [(*each, grey) for each in path]
                path = []
            case b"m":
                at, path = (numbers[0], numbers[1]), []
            case b"l":
                to = (numbers[0], numbers[1])
                made.lines.append((at[0] * MM, (height - at[1]) * MM, to[0] * MM, (height - to[1]) * MM))
                at = to
    return made


def lengths(lines: list[tuple[float, float, float, float]]) -> np.ndarray:
    """Run in x and in y of each line, (n, 2), mm."""
    table = np.array(lines)
    return np.abs(table[:, 2:] - table[:, :2])


def printed(pdf: bytes, folder: Path, dpi: int, page: int = 1) -> Path | None:
    """A page as a PNG by a common renderer, type and all; None where none is installed."""
    if shutil.which("pdftoppm") is None:
        return None
    (folder / "sheet.pdf").write_bytes(pdf)
    where = ["-f", str(page), "-l", str(page), "-r", str(dpi), "-gray", "-png", "-singlefile"]
    subprocess.run(["pdftoppm", *where, str(folder / "sheet.pdf"), str(folder / f"page{page}")], check=True)
    return folder / f"page{page}.png"


def write_png(path: Path, grey: np.ndarray) -> Path:
    ok, data = cv2.imencode(".png", grey)
    assert ok
    path.write_bytes(data.tobytes())
    return path
