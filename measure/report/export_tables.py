"""The result document as plain tables, for spreadsheets: figures stay numbers, words stay words."""

from collections.abc import Sequence
from dataclasses import dataclass

from measure.report.words import label, printable, unit_of
from measure.result import Document

Value = str | float | int | None
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\N{FULLWIDTH EQUALS SIGN}", "\N{FULLWIDTH PLUS SIGN}",
                  "\N{FULLWIDTH HYPHEN-MINUS}", "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip
"""What a spreadsheet may take for the start of a formula."""

UNITS = "mm and degrees; px (pixels) where a row says so: targets seen in photographs"


@dataclass(frozen=True)
class ExportTable:
    """One table: a name that may be a file's or a sheet's, heads, rows. An absent figure is None, never nought."""

    name: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


def export_tables(doc: Document) -> list[ExportTable]:
    """Every table of the document. Millimetres and degrees, whatever the job's unit; axes as in the document.

    Readings of targets in photographs, and suspects among them, are in pixels; each row says which.
    """
    return [_about(doc), _checks(doc), _points(doc), _suspects(doc), _readings(doc), _remarks(doc)]


def harmless(text: str) -> str:
    """Words that no spreadsheet runs: what looks like a formula gets an apostrophe before it.

    Control characters are made spaces first, so that none can hide the start of a formula.
    """
    plain = printable(text)
    return f"'{plain}" if plain.lstrip().startswith(FORMULA_STARTS) else plain


def _about(doc: Document) -> ExportTable:
    line = doc.centreline
    rows: list[tuple[Value, ...]] = [
        ("job", doc.job), ("stage", doc.stage), ("units of this file", UNITS), ("version", doc.version),
        ("inputs_sha256", doc.inputs_sha256),
        ("axes", "x forward, y to the left, z up" if doc.frame == "car" else "the network's own"),
        ("roll, degrees", _number(doc.tilt.roll)), ("pitch, degrees", _number(doc.tilt.pitch)),
        ("pairs used", _joined(line.pairs_used)), ("pairs set aside", _joined(line.pairs_set_aside)),
        ("readings", doc.network.readings), ("degrees of freedom", doc.network.degrees_of_freedom),
        ("sigma0", _number(doc.network.sigma0)),
    ]  # fmt: skip
    return ExportTable("about", ("what", "value"), tuple(rows))


def _checks(doc: Document) -> ExportTable:
    heads = ("name", "what", "value", "u95", "unit", "limit", "verdict", "words")
    return ExportTable("checks", heads, tuple(
        (c.name, label(c.name), _number(c.value), _number(c.u95), c.unit, _number(c.limit), c.verdict, c.words)
        for c in doc.checks
    ))  # fmt: skip


def _points(doc: Document) -> ExportTable:
    heads = ("name", "side", "pair", "part", "x_mm", "y_mm", "z_mm", "sd_x_mm", "sd_y_mm", "sd_z_mm")
    return ExportTable("points", heads, tuple(
        (p.name, p.side, p.pair or "", p.part, *map(_number, (p.x, p.y, p.z, p.sd_x, p.sd_y, p.sd_z)))
        for p in doc.points
    ))  # fmt: skip


def _suspects(doc: Document) -> ExportTable:
    heads = ("source", "kind", "w", "size", "unit", "set_aside", "cannot_tell_from", "hint")
    return ExportTable("suspects", heads, tuple(
        (s.source, s.kind, _number(s.w), _number(s.size), unit_of(s.kind),
         "yes" if s.set_aside else "no", _joined(s.with_), s.hint)
        for s in doc.suspects
    ))  # fmt: skip


def _readings(doc: Document) -> ExportTable:
    heads = ("source", "kind", "between", "unit", "value", "adjusted", "residual", "sd", "redundancy", "w", "findable")
    return ExportTable("readings", heads, tuple(
        (r.source, r.kind, _joined(r.names), unit_of(r.kind),
         *map(_number, (r.value, r.adjusted, r.residual, r.sd, r.redundancy, r.w, r.findable)))
        for r in doc.readings
    ))  # fmt: skip


def _remarks(doc: Document) -> ExportTable:
    rows: list[tuple[Value, ...]] = [("mind", words) for words in doc.cautions]
    rows += [("note", words) for words in doc.notes]
    rows += [("not held", f"{_joined(loose.points)}: {loose.direction}") for loose in doc.loose]
    return ExportTable("remarks", ("kind", "words"), tuple(rows))


def _joined(names: Sequence[str]) -> str:
    return ", ".join(names)


def _number(value: float | None) -> float | None:
    """Nine significant digits: the last bits of a sum differ between processors. No minus nought."""
    return None if value is None else float(f"{value:.9g}") + 0.0
