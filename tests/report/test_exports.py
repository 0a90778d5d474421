"""CSV, workbook, DXF and PLY."""

from __future__ import annotations

import csv
import io
import math

import ezdxf
import numpy as np
import pytest
from openpyxl import load_workbook

from measure.report.dxf import BAR, LAYERS, dxf_bytes
from measure.report.export_tables import export_tables, harmless
from measure.report.plain_ascii import plain_ascii
from measure.report.plan_layout import ELLIPSE_95
from measure.report.ply import ply_bytes
from measure.report.tables_csv import csv_files
from measure.report.workbook import xlsx_bytes
from measure.result import Document, PointResult, ReadingResult
from tests.documents import FACE_CENTRES, faced_car, loose_car, pulled_car
from tests.report.sheets import TYPE, hostile_car

FORMULAS = ("=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1+1")


def rows(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_csv_reads_back_with_figures_as_numbers() -> None:
    doc = pulled_car()
    points = rows(csv_files(doc)["points"])
    assert points[0][:5] == ["name", "side", "pair", "part", "x_mm"]
    assert [float(v) for v in points[1][4:7]] == [doc.points[0].x, doc.points[0].y, doc.points[0].z]
    checks = {row[0]: row for row in rows(csv_files(doc)["checks"])}
    assert checks["body.twist"][2] == "" and checks["pair.tail.offset"][6] == "outside"


def test_each_reading_has_its_unit() -> None:
    seen = ReadingResult("photos/IMG_1.jpg:7", "target", ["a", "across"], 3222.87, 3222.8, -0.01, 0.05, 0.4, -0.2, 0.6)
    files = csv_files(pulled_car(readings=[*pulled_car().readings, seen]))
    head, *lines = rows(files["readings"])
    assert [line[head.index("unit")] for line in lines] == ["mm", "mm", "px"]
    assert "px (pixels)" in dict(row[:2] for row in rows(files["about"]))["units of this file"]


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_cell_is_a_formula(formula: str) -> None:
    assert harmless(formula).startswith("'")
    doc = hostile_car(formula)
    for data in csv_files(doc).values():
        for row in rows(data)[1:]:
            for cell in row:
                ok = not cell.lstrip().startswith(("=", "+", "-", "@", "＝")) or _is_number(cell)
                assert ok, cell
    book = load_workbook(io.BytesIO(xlsx_bytes(doc)))
    assert all(cell.data_type != "f" for sheet in book for line in sheet.iter_rows() for cell in line)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def test_the_workbook_has_a_table_a_sheet_and_numbers() -> None:
    doc = pulled_car()
    book = load_workbook(io.BytesIO(xlsx_bytes(doc)))
    assert book.sheetnames == [table.name for table in export_tables(doc)]
    x = book["points"]["E2"]
    assert x.data_type == "n" and x.value == pytest.approx(doc.points[0].x)
    assert book["about"]["B2"].value == "Bench coupé"
    assert xlsx_bytes(doc) == xlsx_bytes(pulled_car())


def test_hostile_words_do_not_stop_an_export() -> None:
    for make in (csv_files, xlsx_bytes, dxf_bytes, ply_bytes):
        assert make(hostile_car())


@pytest.mark.parametrize("doc", [pulled_car(), loose_car(), hostile_car(), pulled_car(points=[])])
def test_the_dxf_reads_back_clean(doc: Document) -> None:
    data = dxf_bytes(doc)
    assert data.isascii() and data == dxf_bytes(doc)
    drawing = ezdxf.read(io.StringIO(data.decode("ascii")))
    audit = drawing.audit()
    assert not audit.errors and not audit.fixes
    assert drawing.dxfversion == "AC1024"
    assert drawing.header["$INSUNITS"] == 4 and drawing.header["$MEASUREMENT"] == 1
    assert {"points", "pairs", "centreline", "ellipses", "rails", "axle"} <= set(LAYERS)
    assert all(layer in drawing.layers for layer in LAYERS)
    space = drawing.modelspace()
    assert {e.dxf.layer for e in space} <= set(LAYERS)
    bars = [e for e in space.query("LINE[layer=='scale']") if (e.dxf.end - e.dxf.start).magnitude == BAR]
    assert len(bars) == 1
    assert "units: mm" in [t.dxf.text for t in space.query("TEXT")]


def test_the_dxf_stands_in_true_size() -> None:
    doc = pulled_car()
    space = ezdxf.read(io.StringIO(dxf_bytes(doc).decode("ascii"))).modelspace()
    drawn = sorted((e.dxf.location.x, e.dxf.location.y) for e in space.query("POINT"))
    assert np.allclose(drawn, sorted((p.x, p.y) for p in doc.points))
    assert len(space.query("LINE[layer=='centreline']")) == 1
    assert len(space.query("LINE[layer=='axle']")) == 1
    assert len(space.query("ELLIPSE")) == len(doc.points)
    rail_points = sum(p.part == "rail" for p in doc.points)
    assert len(space.query("LINE[layer=='rails']")) == rail_points - 2


def test_an_axle_known_by_its_faces_is_in_the_dxf() -> None:
    space = ezdxf.read(io.StringIO(dxf_bytes(faced_car()).decode("ascii"))).modelspace()
    axle = space.query("LINE[layer=='axle']")
    assert len(axle) == 1 and len(space.query("LINE[layer=='faces']")) == 6
    ends = sorted([tuple(axle[0].dxf.start)[:2], tuple(axle[0].dxf.end)[:2]], key=lambda end: -end[1])
    assert np.allclose(ends, FACE_CENTRES)
    assert "axle rear" in [t.dxf.text for t in space.query("TEXT")]


def test_an_ellipse_of_the_dxf_has_the_points_own_covariance() -> None:
    point = PointResult("p", 10.0, 20.0, None, 1.0, 2.0, None, 1.2)
    ellipse = (
        ezdxf.read(io.StringIO(dxf_bytes(pulled_car(points=[point])).decode("ascii"))).modelspace().query("ELLIPSE")[0]
    )
    values, vectors = np.linalg.eigh([[1.0, 1.2], [1.2, 4.0]])
    axis = np.array([ellipse.dxf.major_axis.x, ellipse.dxf.major_axis.y])
    assert np.linalg.norm(axis) == pytest.approx(ELLIPSE_95 * math.sqrt(values[1]))
    assert ellipse.dxf.ratio == pytest.approx(math.sqrt(values[0] / values[1]))
    assert abs(axis @ vectors[:, 1]) == pytest.approx(np.linalg.norm(axis))


def test_no_word_of_the_dxf_steers_its_type() -> None:
    doc = pulled_car(job="100%%%d ^J \\U+0041 Škoda")
    texts = [t.dxf.text for t in ezdxf.read(io.StringIO(dxf_bytes(doc).decode("ascii"))).modelspace().query("TEXT")]
    title = next(t for t in texts if t.startswith("100%"))
    assert "%%" not in title and "\\" not in title and "Skoda" in title


def test_the_ply_reads_back() -> None:
    doc = loose_car()
    lines = ply_bytes(doc).decode("ascii").splitlines()
    end = lines.index("end_header")
    placed = [p for p in doc.points if p.x is not None]
    assert lines[:2] == ["ply", "format ascii 1.0"]
    assert f"element vertex {len(placed)}" in lines and any("units: mm" in line for line in lines[:end])
    data = np.loadtxt(io.StringIO("\n".join(lines[end + 1 :])))
    assert data.shape == (len(placed), 7)
    assert np.allclose(data[:, :3], [(p.x, p.y, p.z or 0.0) for p in placed])
    assert f"comment vertex 0 {placed[0].name}" in lines


def test_letters_without_a_plain_one_become_question_marks() -> None:
    assert plain_ascii("Škoda Łódź µ ± 3° 中\n") == "Skoda Lodz u +/- 3deg ? "
    assert plain_ascii(TYPE).isascii()
