"""Which files a report consists of, and what is in each."""

from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path
from typing import Literal

from measure.atomic import write_atomically
from measure.compare.result import Comparison
from measure.job import Job
from measure.paper import Paper
from measure.report.certificate.page import html_bytes
from measure.report.certificate.paper import pdf_bytes
from measure.report.dxf import dxf_bytes
from measure.report.ply import ply_bytes
from measure.report.tables_csv import csv_files
from measure.report.workbook import xlsx_bytes
from measure.result import Document

Export = Literal["csv", "xlsx", "dxf", "ply"]
SHEETS = (".html", ".pdf")


def write_report(
    doc: Document,
    job: Job,
    out: Path | None,
    paper: Paper,
    exports: Collection[Export] = (),
    compared: Comparison | None = None,
) -> list[Path]:
    """Write the sheet and whatever else is asked for; the paths written, in order.

    `out`: a folder, made if need be, for report_STAGE.html and .pdf; or one file ending in .html or .pdf, which alone
    is written, exports beside it. The job's own folder where None. Everything is made before anything is written.
    Raises ValueError for another ending and OSError.
    """
    # which other stages could be asked for is the command's to say; a sheet names its own
    doc = replace(doc, notes=[note for note in doc.notes if "--stage" not in note])
    folder, stem, kinds = _where(out if out is not None else job.folder, doc.stage)
    made: dict[Path, bytes] = {}
    for kind in kinds:
        made[folder / f"{stem}{kind}"] = (html_bytes if kind == ".html" else pdf_bytes)(doc, job, paper, compared)
    if "csv" in exports:
        made |= {folder / f"{stem}_{name}.csv": data for name, data in csv_files(doc).items()}
    makers: dict[Export, tuple[str, Callable[[Document], bytes]]] = {
        "xlsx": (".xlsx", xlsx_bytes), "dxf": ("_mm.dxf", dxf_bytes), "ply": ("_points.ply", ply_bytes),
    }  # fmt: skip
    made |= {folder / f"{stem}{ending}": make(doc) for name, (ending, make) in makers.items() if name in exports}
    folder.mkdir(parents=True, exist_ok=True)
    for path, data in made.items():
        write_atomically(path, data)
    return list(made)


def _where(out: Path, stage: str) -> tuple[Path, str, tuple[str, ...]]:
    """Folder, stem and endings of the sheet's files."""
    if out.suffix.lower() in SHEETS and not out.is_dir():
        return out.parent, out.stem, (out.suffix.lower(),)
    if out.suffix and not out.is_dir():
        raise ValueError(f'"{out.name}": a sheet is HTML or PDF; name a folder, or a file ending in .html or .pdf')
    safe = "".join(c if c.isalnum() or c in "-_" else "_" for c in stage)
    return out, f"report_{safe}", SHEETS
