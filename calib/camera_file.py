"""camera.toml: a calibrated lens with its uncertainty, and the pictures it came from; written, and read back.

The program writes this file and a person may read it. Values are written with all their digits, so that what is read
is what was written.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measure.findings import Findings, did_you_mean
from measure.photo.lens import LENS
from measure.tables.textfile import decode, read_bytes

Array = NDArray[np.float64]

MODEL = "pinhole, radial k1 k2 k3, tangential p1 p2"
_LEAST_EIGENVALUE = -1e-9
"""A correlation matrix that was written and read has none lower than rounding makes it."""

HEAD = """\
A calibrated lens, made by `plumbsquare camera`. Put it in the job's folder beside job.toml.
It holds for this camera and lens, this picture size, and no digital zoom.
Pixels: the centre of the first pixel is (0, 0), in the sensor's own frame, before any EXIF rotation.
fx = focal, fy = focal * (1 + aspect); k1 k2 p1 p2 k3 as in common open libraries.
"""


@dataclass(frozen=True)
class CalibratedOn:
    """One picture of the calibration: corners used and left out, rms of a corner and width of an edge in pixels."""

    name: str
    corners: int
    left_out: int
    rms: float
    blur: float


@dataclass(frozen=True)
class CameraFile:
    """A lens: `values` (9,), `sd` (9,), `correlation` (9, 9) in the order of LENS; which camera it is of.

    `key` is the camera_key of its pictures; `sigma0` the sd of a corner's coordinate in pixels.
    """

    key: str
    make: str
    model: str
    lens: str
    focal_mm: float | None
    width: int
    height: int
    values: Array
    sd: Array
    correlation: Array
    sigma0: float = 0.0
    board: str = ""
    pictures: tuple[CalibratedOn, ...] = field(default=())

    @property
    def covariance(self) -> Array:
        """Marginal covariance (9, 9) of the values."""
        return self.correlation * np.outer(self.sd, self.sd)


def as_toml(camera: CameraFile) -> bytes:
    """The file for a lens, as UTF-8 bytes."""
    import tomlkit

    document = tomlkit.document()
    for line in HEAD.splitlines():
        document.add(tomlkit.comment(line))
    document.add("lens_model", tomlkit.item(MODEL))
    about: dict[str, Any] = {
        "key": camera.key, "make": camera.make, "model": camera.model, "lens": camera.lens,
        "focal_mm": camera.focal_mm, "width": camera.width, "height": camera.height,
    }  # fmt: skip
    document.add("camera", _table({k: v for k, v in about.items() if v is not None}))
    document.add("values", _table(dict(zip(LENS, map(float, camera.values), strict=True))))
    document.add("sd", _table(dict(zip(LENS, map(float, camera.sd), strict=True))))
    rows = tomlkit.array()
    for row in camera.correlation:
        rows.add_line(list(map(float, row)))
    rows.add_line(indent="")
    rows.multiline(False)
    document.add("correlation", _table({"order": list(LENS), "rows": rows}))
    made: dict[str, Any] = {
        "board": camera.board,
        "pictures": len(camera.pictures),
        "corners": sum(each.corners for each in camera.pictures),
        "sigma0": round(camera.sigma0, 4),
    }
    document.add("made", _table(made))
    lines = tomlkit.aot()
    for each in camera.pictures:
        lines.append(
            _table({
                "name": each.name, "corners": each.corners, "left_out": each.left_out,
                "rms": round(each.rms, 4), "blur": round(each.blur, 2),
            })
        )  # fmt: skip
    if camera.pictures:
        document.add("picture", lines)
    return tomlkit.dumps(document).encode("utf-8")


def _table(values: dict[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.table()
    for key, value in values.items():
        table.add(key, value)
    return table


def read_camera_file(path: Path, findings: Findings) -> CameraFile | None:
    """A lens from the file at `path`; None after an error, each of which says what would do."""
    own = Findings()
    camera = _read(path, own)
    findings.extend(own)
    return None if own.errors else camera


def _read(path: Path, findings: Findings) -> CameraFile | None:
    file = path.name
    data = read_bytes(path, file, findings)
    text = None if data is None else decode(data, file, findings, only_utf8=True)
    if text is None:
        return None
    again = "make it anew with `plumbsquare camera`"
    try:
        document = tomllib.loads(text.replace("\r\n", "\n"))
    except (ValueError, RecursionError) as problem:
        findings.error(file, None, None, f"no TOML ({problem})", again)
        return None
    reader = _Reader(document, file, findings, again)
    if document.get("lens_model") != MODEL:
        findings.error(file, None, "lens_model", str(document.get("lens_model")), f'write "{MODEL}", or {again}')
    values, sd = reader.nine("values"), reader.nine("sd")
    correlation = reader.correlation()
    width, height = reader.count("width"), reader.count("height")
    key = reader.text("key")
    if values is None or sd is None or correlation is None or width is None or height is None or key is None:
        return None
    if values[0] <= 0:
        findings.error(file, None, "values.focal", f"{values[0]:g}", f"a focal length is positive; {again}")
    if np.any(sd < 0):
        findings.error(file, None, "sd", "a negative figure", f"a standard deviation is not; {again}")
    about = document["camera"]
    focal = about.get("focal_mm")
    made = document.get("made", {})
    return CameraFile(
        key, reader.words("make"), reader.words("model"), reader.words("lens"),
        float(focal) if _is_number(focal) else None, width, height, values, sd, correlation,
        float(made["sigma0"]) if isinstance(made, dict) and _is_number(made.get("sigma0")) else 0.0,
        str(made.get("board", "")) if isinstance(made, dict) else "",
        _pictures(document.get("picture", [])),
    )  # fmt: skip


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and bool(np.isfinite(value))


def _pictures(listed: object) -> tuple[CalibratedOn, ...]:
    """What is told about the pictures; for people only, so that a line that cannot be read is passed over."""
    made = []
    for each in listed if isinstance(listed, list) else []:
        figures = each if isinstance(each, dict) else {}
        if all(_is_number(figures.get(k)) for k in ("corners", "left_out", "rms", "blur")):
            counts = int(figures["corners"]), int(figures["left_out"])
            made.append(
                CalibratedOn(str(figures.get("name", "")), *counts, float(figures["rms"]), float(figures["blur"]))
            )
    return tuple(made)


@dataclass(frozen=True)
class _Reader:
    """Takes figures out of the parsed file and tells what is wrong with them."""

    document: dict[str, Any]
    file: str
    findings: Findings
    again: str

    def table(self, name: str) -> dict[str, Any] | None:
        found = self.document.get(name)
        if isinstance(found, dict):
            return found
        near = did_you_mean(name, self.document) if found is None else ""
        self.findings.error(self.file, None, name, "no such table", f"write [{name}], or {self.again}{near}")
        return None

    def nine(self, name: str) -> Array | None:
        table = self.table(name)
        if table is None:
            return None
        wrong = [key for key in LENS if not _is_number(table.get(key))]
        for key in wrong:
            found = str(table[key]) if key in table else "nothing"
            self.findings.error(self.file, None, f"{name}.{key}", found, f"write a number, or {self.again}")
        return None if wrong else np.array([float(table[key]) for key in LENS])

    def correlation(self) -> Array | None:
        table = self.table("correlation")
        if table is None:
            return None
        rows: object = table.get("rows")
        ok = isinstance(rows, list) and len(rows) == 9 and all(_is_row(row) for row in rows)
        matrix = np.array(rows, dtype=float) if ok else np.zeros((9, 9))
        ok = ok and table.get("order") == list(LENS) and bool(np.allclose(matrix, matrix.T, rtol=0, atol=1e-9))
        ok = ok and bool(np.allclose(np.diag(matrix), 1.0, rtol=0, atol=1e-9))
        if not ok or np.min(np.linalg.eigvalsh(matrix)) < _LEAST_EIGENVALUE:
            found = "no correlation matrix of the nine parameters"
            self.findings.error(self.file, None, "correlation", found, self.again)
            return None
        return matrix

    def count(self, key: str) -> int | None:
        table = self.document.get("camera")
        value = table.get(key) if isinstance(table, dict) else None
        if isinstance(value, int) and not isinstance(value, bool) and value > 0:
            return value
        self.findings.error(
            self.file, None, f"camera.{key}", "nothing" if value is None else str(value), "write the picture's pixels"
        )
        return None

    def text(self, key: str) -> str | None:
        table = self.document.get("camera")
        value = table.get(key) if isinstance(table, dict) else None
        if isinstance(value, str):
            return value
        self.findings.error(
            self.file, None, f"camera.{key}", "nothing" if value is None else str(value), f"write text, or {self.again}"
        )
        return None

    def words(self, key: str) -> str:
        value = self.document["camera"].get(key, "")
        return value if isinstance(value, str) else ""


def _is_row(row: Sequence[object] | object) -> bool:
    return isinstance(row, list) and len(row) == 9 and all(_is_number(n) for n in row)
