"""A survey written as a job folder, the way a person's spreadsheet would write it."""

from __future__ import annotations

import csv
import io
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

from tests.synthetic.car import Car
from tests.synthetic.survey import Survey, Table

LENGTHS = frozenset(
    ("length", "along", "across", "height", "rise", "x", "y", "z", "sd", "hole", "tolerance", "standoff")
)


def write_job(
    folder: Path, car: Car, survey: Survey, title: str = "an invented car", *, delimiter: str = ",",
    decimal_comma: bool = False, stage_info: dict[str, Any] | None = None,
) -> Path:  # fmt: skip
    """Write job.toml, points.csv and the stage's tables; the folder may exist. Returns the folder.

    Inches are written as whole inches and sixteenths. `stage_info` becomes [stage.NAME].
    """
    settings = survey.settings
    stage = folder / settings["stage"]
    stage.mkdir(parents=True, exist_ok=True)
    info = {settings["stage"]: stage_info} if stage_info else {}
    _write(folder / "job.toml", job_toml(title, settings, info))
    tables = {folder / "points.csv": survey.points}
    tables |= {stage / f"{name}.csv": rows for name, rows in survey.tables.items()}
    for path, rows in tables.items():
        _write(path, table_text(rows, settings["units"], delimiter, decimal_comma))
    return folder


def job_toml(title: str, settings: dict[str, Any], stage_info: dict[str, dict[str, Any]]) -> str:
    """The text of job.toml. Where the job is in inches an sd, being in mm here, says so."""
    lines = [
        f"title = {json.dumps(title)}",
        f"units = {json.dumps(settings['units'])}",
        f"stages = {json.dumps([settings['stage']])}",
    ]
    sd = dict(settings.get("sd", {}))
    if settings["units"] != "mm":
        bare = ("tape_class", "level", "target")
        sd = {key: value if key in bare else f"{value:g} mm" for key, value in sd.items()}
    tables = {"sd": sd, "limits": settings.get("limits", {})}
    tables |= {f"tape.{name}": values for name, values in settings.get("tapes", {}).items()}
    tables |= {f"stage.{name}": values for name, values in stage_info.items()}
    for name, values in tables.items():
        if values:
            lines += ["", f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in values.items())]
    return "\n".join(lines) + "\n"


def table_text(rows: Table, units: str, delimiter: str = ",", decimal_comma: bool = False) -> str:
    """One table with the columns its rows have, in the order they first appear."""
    columns = list(dict.fromkeys(key for row in rows for key in row))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        cells = [_cell(key, row.get(key, ""), units) for key in columns]
        writer.writerow([cell.replace(".", ",") if decimal_comma and _is_number(cell) else cell for cell in cells])
    return out.getvalue()


def _cell(column: str, value: object, units: str) -> str:
    if not isinstance(value, float) or column not in LENGTHS:
        return str(value)
    if units == "mm":
        return f"{value + 0.0:.4f}".rstrip("0").rstrip(".") if abs(value) >= 5e-5 else "0"
    sixteenths = round(value / 25.4 * 16)
    whole, rest = divmod(abs(sixteenths), 16)
    sign = "-" if sixteenths < 0 else ""
    if not rest:
        return f"{sign}{whole}"
    return f"{sign}{whole} {Fraction(rest, 16)}" if whole else f"{sign}{Fraction(rest, 16)}"


def _is_number(cell: str) -> bool:
    return cell.replace(".", "", 1).lstrip("-").isdigit()


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
