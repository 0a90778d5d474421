"""The tables of a sheet: pairs, rails, axles, wheel faces, the body as a whole, and the points."""

from collections.abc import Sequence

from measure.compare.result import Comparison
from measure.compare.words import rounded
from measure.report.certificate.parts import Cell, Column, Part, Table
from measure.report.compare import VERDICT_WORDS as MOVEMENT_WORDS
from measure.report.words import VERDICT_WORDS, decimals, label, plain, remarks, signed, standing
from measure.result import CheckResult, Document
from measure.units import MM_PER_INCH

NOTHING = "–"
_JUDGED = (
    Column("figure and how it stands", "name"), Column("measured", "number"), Column("±", "number"),
    Column("unit", "unit"), Column("limit", "number"), Column("verdict", "verdict"),
)  # fmt: skip
_WIDTHS = ("lead", "rise", "width")
FAMILIES = {
    "Rails": ("rails", "rail"), "Axles": ("axle",), "Wheel faces": ("face",), "The body as a whole": ("body", "cross"),
    "Against the factory's chart": ("chart",),
}  # fmt: skip
"""The tables after those of the pairs, by their captions: the families of checks in each."""


def pair_tables(doc: Document) -> list[Part]:
    """What is judged of the pairs, then how each pair stands in itself."""
    own = _of(doc, "pair")
    judged = [c for c in own if c.limit is not None]
    tables: list[Part] = (
        [_judged("Pairs: how far each stands from the centreline", judged, doc.units)] if judged else []
    )
    figures = {c.name: c for c in own}
    keys = dict.fromkeys(c.name.removeprefix("pair.").rpartition(".")[0] for c in own)
    rows = []
    for key in keys:
        cells = [Cell(key)]
        for what in _WIDTHS:
            check = figures.get(f"pair.{key}.{what}")
            cells += _figure(check, doc.units) if check else [Cell(NOTHING), Cell("")]
        rows.append(tuple(cells))
    heads = ("left ahead", "left above", "width")
    columns = [Column("pair", "name")]
    for head in heads:
        columns += [Column(head, "number"), Column("±", "number")]
    unit = "mm, inches below" if doc.units == "in" else "mm"
    caption = f"Pairs: left against right, {unit} (no limit)"
    return [*tables, Table(caption, tuple(columns), tuple(rows))] if rows else tables


def family_tables(doc: Document) -> list[Part]:
    """All figures that are not of pairs, a table for each family; what belongs to none comes last."""
    chosen = {caption: [c for name in names for c in _of(doc, name)] for caption, names in FAMILIES.items()}
    told = {c.name for own in chosen.values() for c in own} | {c.name for c in _of(doc, "pair")}
    chosen["Further figures"] = [c for c in doc.checks if c.name not in told]
    return [_judged(caption, own, doc.units) for caption, own in chosen.items() if own]


def movements_table(found: Comparison) -> Table:
    """Every common point, the moved ones first."""
    columns = [Column("point", "name")]
    for head in ("forward", "left", "up"):
        columns += [Column(head, "number"), Column("±", "number")]
    columns += [Column("could be", "number"), Column("verdict", "verdict")]
    rows = []
    for verdict in MOVEMENT_WORDS:
        for m in (m for m in found.movements if m.verdict == verdict):
            cells = [Cell(m.name)]
            for value, u95 in zip((m.dx, m.dy, m.dz), m.u95, strict=True):
                cells.append(Cell("not known" if value is None else _minus(signed(value, 1))))
                cells.append(Cell("" if value is None or u95 is None else f"{u95:.1f}"))
            most = NOTHING if m.could_be is None else rounded(m.could_be, found.limit)
            rows.append((*cells, Cell(most), Cell(MOVEMENT_WORDS[m.verdict])))
    axes = "the car's axes" if found.frame == "car" else "the network's axes"
    return Table(f"Movements, mm, in {axes} of {found.before}; limit {found.limit:g}", tuple(columns), tuple(rows))


def points_table(doc: Document) -> list[Part]:
    """Every point with its standard deviations."""
    in_car = "In the car's own axes, mm: x forward, y to the left, z up"
    caption = in_car if doc.frame == "car" else "In the network's own axes, mm"
    columns = [Column("point", "name")]
    for axis in "xyz":
        columns += [Column(axis, "number"), Column(f"sd {axis}", "number")]
    rows = []
    for p in doc.points:
        cells = [Cell(p.name)]
        for value, sd in ((p.x, p.sd_x), (p.y, p.sd_y), (p.z, p.sd_z)):
            cells += [Cell(NOTHING if value is None else _minus(plain(value, 1)))]
            cells += [Cell(NOTHING if sd is None else f"{sd:.2f}")]
        rows.append(tuple(cells))
    return [Table(caption, tuple(columns), tuple(rows))] if rows else []


def _of(doc: Document, family: str) -> list[CheckResult]:
    return [c for c in doc.checks if c.name.startswith(f"{family}.")]


def _judged(caption: str, checks: Sequence[CheckResult], units: str) -> Table:
    rows = []
    for c in checks:
        below = [standing(c), *remarks(c)]
        verdict = NOTHING if c.limit is None else VERDICT_WORDS[c.verdict]
        most = NOTHING if c.limit is None else f"{c.limit:g}"
        rows.append((Cell(label(c.name), tuple(below)), *_figure(c, units), Cell(c.unit), Cell(most), Cell(verdict)))
    if all(c.limit is None for c in checks):
        return Table(caption, _JUDGED[:4], tuple(row[:4] for row in rows))
    return Table(caption, _JUDGED, tuple(rows))


def _figure(check: CheckResult, units: str) -> list[Cell]:
    """Value and u95 as two cells; a job in inches has them in inches below."""
    if check.value is None or not check.estimable:
        return [Cell("not held"), Cell("")]
    places = decimals(check)
    shown = plain if check.name.endswith(".width") else signed
    inch = (f"{_minus(shown(check.value / MM_PER_INCH, places + 1))} in",) if _in_inches(check, units) else ()
    cells = [Cell(_minus(shown(check.value, places)), inch)]
    if check.u95 is None:
        return [*cells, Cell("")]
    inch = (f"{check.u95 / MM_PER_INCH:.{places + 1}f} in",) if inch else ()
    return [*cells, Cell(f"{check.u95:.{places}f}", inch)]


def _in_inches(check: CheckResult, units: str) -> bool:
    return units == "in" and check.unit == "mm"


def _minus(text: str) -> str:
    """A true minus sign, as wide as the plus."""
    return text.replace("-", "\N{MINUS SIGN}")
