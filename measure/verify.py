"""Whether a sheet, the figures in it and the job it was made from still agree."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from measure.compare.result import Comparison
from measure.document import document
from measure.findings import BadInput, Findings, visible
from measure.paper import Paper
from measure.report.certificate.embedded import NotASheetError, ReadSheet, plain, read_sheet, sheet_from
from measure.report.certificate.page import html_bytes
from measure.report.certificate.paper import pdf_bytes
from measure.result import Document
from measure.survey import Surveyed, survey

RELATIVE, ABSOLUTE = 1e-6, 1e-6
"""How far a recomputed figure may be off: more than the last bits of a sum, which differ between processors."""
MOST_TOLD = 12
_APART = ("version", "inputs_sha256")  # told by themselves
_FIRST = ("job", "checks", "centreline", "suspects", "points")
_LATER = (".next.kind", ".next.names")
"""Keys that sheets of version 0.2.0 and before may not have; they had no budget of a figure without a limit."""


@dataclass(frozen=True)
class Verified:
    """What was found. `differences` is empty where all agrees; `remarks` say what could not be looked at."""

    stage: str
    fingerprint: str
    figures: int
    differences: list[str]
    remarks: list[str]


def verify(report: Path, folder: Path) -> Verified:
    """Hold a sheet against its job: fingerprint, recomputed figures, and the words as printed.

    The drawing is not compared: it is made from the same figures. Raises BadInput where the file is no sheet or the
    job cannot be used, and OSError.
    """
    try:
        sheet = read_sheet(report)
    except NotASheetError as problem:
        findings = Findings()
        findings.error(report.name, None, None, "no sheet", str(problem))
        raise BadInput(findings) from None
    stage = sheet.document.get("stage")
    surveyed = survey(folder, stage if isinstance(stage, str) else None)
    doc = document(surveyed)
    now = plain(doc)
    compared = _compared(sheet, folder, surveyed.stage)
    differences, remarks = [], []
    movements = None if compared is None else plain(compared)
    differences += _fingerprint(doc.stage, sheet.document.get("inputs_sha256"), doc.inputs_sha256)
    if compared is not None and sheet.compared is not None:
        then = sheet.compared.get("inputs_sha256")
        earlier = then.get("before") if isinstance(then, dict) else None
        differences += _fingerprint(compared.before, earlier, compared.inputs_sha256.before)
    found = list(_differences(sheet.document, now, ""))
    found += _differences(sheet.compared, movements, "before and after")
    differences += _told(found)
    if sheet.document.get("version") != doc.version:
        version = visible(str(sheet.document.get("version")))
        remarks.append(f"Written by version {version}, this is {doc.version}: the words as printed were not compared.")
    elif not differences:
        differences += _printed(sheet, surveyed, doc, compared)
    return Verified(doc.stage, doc.inputs_sha256, sum(1 for _ in _leaves([now, movements])), differences, remarks)


def _fingerprint(stage: str, then: object, now: str) -> list[str]:
    if then == now:
        return []
    return [
        f"fingerprint of {stage}: the sheet says {visible(str(then))[:12]}, the folder now gives {now[:12]}: "
        "a file that was read has changed since, or it is another job"
    ]


def _told(found: list[str]) -> list[str]:
    return found if len(found) <= MOST_TOLD else [*found[:MOST_TOLD], f"and {len(found) - MOST_TOLD} more"]


def _differences(then: Any, now: Any, where: str) -> Iterator[str]:
    """Every place where the sheet's document and the recomputed one disagree, in words."""
    if isinstance(then, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*(() if where else _FIRST), *now, *then]):
            place = f"{where}.{key}" if where else key
            later = (place.endswith(_LATER) and key not in then) or (key == "budget" and not then.get(key))
            if key not in _APART and not later:
                yield from _differences(then.get(key), now.get(key), place)
    elif isinstance(then, list) and isinstance(now, list):
        if len(then) != len(now):
            yield f"{where}: {len(then)} on the sheet, {len(now)} now"
        old, new = _by_name(then), _by_name(now)
        for name in [name for name in new if name in old]:
            yield from _differences(old[name], new[name], f"{where} {name}")
    elif not _alike(then, now):
        yield f"{visible(where)}: {_shown(then)} on the sheet, {_shown(now)} now"


def _by_name(rows: list[Any]) -> dict[str, Any]:
    """Rows by their own names; by their numbers where they have none, or one twice."""
    names = [str(row.get("name") or "") if isinstance(row, dict) else "" for row in rows]
    if len(set(names)) < len(names) or "" in names:
        names = [str(number) for number in range(1, len(rows) + 1)]
    return dict(zip(names, rows, strict=True))


def _alike(then: Any, now: Any) -> bool:
    if isinstance(then, bool) or isinstance(now, bool):
        return then is now
    if isinstance(then, int | float) and isinstance(now, int | float):
        return math.isclose(then, now, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
    return type(then) is type(now) and bool(then == now)


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    return f"{value:.6g}" if isinstance(value, float) else visible(str(value))


def _leaves(value: Any) -> Iterator[float]:
    """The figures of a document."""
    if isinstance(value, dict | list):
        for item in value.values() if isinstance(value, dict) else value:
            yield from _leaves(item)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield float(value)


def _compared(sheet: ReadSheet, folder: Path, stage: str) -> Comparison | None:
    """The comparison made again, where the sheet holds one."""
    if sheet.compared is None:
        return None
    from measure.compare.document import compare_stages

    return compare_stages(folder, str(sheet.compared.get("before")), stage)


def _printed(sheet: ReadSheet, surveyed: Surveyed, doc: Document, compared: Comparison | None) -> list[str]:
    """Lines of the sheet that this program does not print from the same figures: somebody wrote on it."""
    make = html_bytes if sheet.kind == "html" else pdf_bytes
    fresh = sheet_from(make(doc, surveyed.job, cast("Paper", sheet.paper), compared)).words
    if fresh == sheet.words:
        return []
    told = []
    for line in difflib.unified_diff(fresh, sheet.words, n=0, lineterm=""):
        if line[:1] in "+-" and line[:3] not in ("+++", "---"):
            told.append(f"printed on the sheet {'but not ours' if line[0] == '+' else 'no more'}: {visible(line[1:])}")
    return _told(told)
