"""What leaves the program: template in true scale, DXF as others read it, drawing, text and command."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from click.testing import CliRunner
from ezdxf import bbox
from pypdf import PdfReader
from pypdf.generic import ContentStream

from measure.cli import main
from measure.report.drill import render
from measure.report.drill_drawing import drawn
from measure.report.drill_dxf import ascii_of, dxf_bytes
from measure.report.drill_template import template_pdf, tiling_of
from measure.report.lines import shop_console
from measure.setup.drill import drill
from measure.setup.drill_result import DrillPlan
from tests.setup.drilled_car import drilled_car

MM = 25.4 / 72


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("papers") / "job"
    drilled_car(folder, np.random.default_rng(5), pilots={"fl": (-1098.0, 411.0, -20.0)}, drops=2)
    return folder


@pytest.fixture(scope="module")
def plan(job: Path) -> DrillPlan:
    return drill(job)


def circles(pdf: bytes, page: int) -> list[tuple[float, float, float]]:
    """Middle (mm from the lower left corner of the paper) and radius of every circle drawn on a page."""
    reader = PdfReader(io.BytesIO(pdf))
    found, at, curves = [], (0.0, 0.0), []
    for operands, operator in ContentStream(reader.pages[page].get_contents(), reader).operations:
        if operator == b"m":
            at, curves = tuple(map(float, operands)), []
        elif operator == b"c":
            curves.append([float(o) for o in operands])
        elif operator in (b"S", b"s") and len(curves) == 4:
            ends = np.array([[*at], *[c[4:] for c in curves]])[:4] * MM
            middle = ends.mean(axis=0)
            found.append((*middle, float(np.linalg.norm(ends - middle, axis=1).mean())))
    return found


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_template_joins_to_the_pattern_in_true_scale(plan, paper):
    pdf = template_pdf(plan, paper)
    assert template_pdf(plan, paper) == pdf
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    tiling = tiling_of(plan.mounts[0], plan.holes, paper)
    assert len(reader.pages) == len(tiling.tiles) >= 2
    placed = set()
    for number, tile in enumerate(tiling.tiles):
        text = reader.pages[number].extract_text()
        assert "FRONT" in text and "100 mm" in text and f"sheet {tiling.name(tile)}" in text
        for x, y, r in circles(pdf, number):
            assert r == pytest.approx(12.5 / 2, abs=1e-3)
            placed.add((round(x + tile.column * tiling.step[0], 2), round(y - tile.row * tiling.step[1], 2)))
    drawn_at = np.array(sorted(placed))
    wanted = np.array(sorted((-h.y, h.x) for h in plan.holes))
    assert len(drawn_at) == 4
    assert np.allclose(drawn_at - drawn_at.mean(axis=0), wanted - wanted.mean(axis=0), atol=0.02)


def test_the_centreline_is_where_the_car_has_it(plan):
    """The mount follows its pilot to the left, so the car's centreline lies to the right of the mount's middle."""
    tiling = tiling_of(plan.mounts[0], plan.holes, "A4")
    reader = PdfReader(io.BytesIO(template_pdf(plan, "A4")))
    on = [t for t, page in zip(tiling.tiles, reader.pages, strict=True) if "CENTRELINE" in page.extract_text()]
    assert plan.mounts[0].y > 0 and on
    assert all(t.left - 8 <= plan.mounts[0].y <= t.left + tiling.step[0] + 8 for t in on)


def test_a_template_of_too_many_sheets_is_refused(plan):
    holes = [replace(h, y=h.y * 100) for h in plan.holes]
    with pytest.raises(ValueError, match="sheets"):
        tiling_of(plan.mounts[0], holes, "A4")


def test_the_dxf_is_sound_and_in_millimetres(plan, tmp_path):
    data = dxf_bytes(plan)
    assert dxf_bytes(plan) == data
    data.decode("ascii")
    path = tmp_path / "drill_mm.dxf"
    path.write_bytes(data)
    doc = ezdxf.readfile(path)
    audit = doc.audit()
    assert not audit.has_errors and not audit.has_fixes
    assert doc.dxfversion == "AC1024" and doc.header["$INSUNITS"] == 4 and doc.header["$MEASUREMENT"] == 1
    space = doc.modelspace()
    holes = sorted((c.dxf.center.x, c.dxf.center.y, c.dxf.radius) for c in space.query('CIRCLE[layer=="HOLES"]'))
    assert np.allclose(holes, sorted((-h.y, h.x, h.diameter / 2) for h in plan.holes))
    longest = max(line.dxf.start.distance(line.dxf.end) for line in space.query('LINE[layer=="SCALE_1000_MM"]'))
    assert longest == pytest.approx(1000.0)
    words = [text.dxf.text for text in space.query("TEXT")]
    assert any("units: mm" in w for w in words) and any(w.startswith("FRONT") for w in words)
    view = doc.viewports.get("*Active")[0].dxf
    box = bbox.extents(space)
    assert abs(view.center.y - box.center.y) + box.size.y / 2 <= view.height
    assert not space.query("DIMENSION")


def test_names_in_a_dxf_are_ascii():
    assert ascii_of("Träger ✓ ^J") == "Trager ?  J" and "%%" not in ascii_of("%%c") and "\n" not in ascii_of("a\nb")


def test_the_drawing(plan):
    svg = drawn(plan, "svg")
    assert drawn(plan, "svg") == svg and svg.lstrip().startswith(b"<?xml") and b"script" not in svg
    assert drawn(plan, "png").startswith(b"\x89PNG")


def test_hostile_names_do_no_harm(plan):
    bad = "<script>$x_1$ %%c \x1b[31m" + "é" * 80
    odd = replace(
        plan, job=bad, mounts=[replace(m, name=bad) for m in plan.mounts],
        holes=[replace(h, mount=bad, hole=bad) for h in plan.holes],
    )  # fmt: skip
    assert b"<script" not in drawn(odd, "svg")
    template_pdf(odd, "A4")
    dxf_bytes(odd).decode("ascii")
    out = io.StringIO()
    render(odd, shop_console(out))
    assert "\x1b" not in out.getvalue()


def test_the_text_says_what_may_be_drilled_first(plan):
    out = io.StringIO()
    render(plan, shop_console(out))
    lines = out.getvalue().splitlines()
    assert [line.split()[0] for line in lines[1:4]] == ["MAY", "NOT", "DRILL"]
    assert "from mark" in out.getvalue()


def test_the_command(job, tmp_path):
    files = {o: tmp_path / n for o, n in {"--template": "t.pdf", "--dxf": "d_mm.dxf", "--out": "d.svg"}.items()}
    options = [str(part) for pair in files.items() for part in pair]
    run = CliRunner().invoke(main, ["drill", str(job), *options])
    assert run.exit_code == 3, run.output
    assert all(path.stat().st_size > 500 for path in files.values())
    as_json = CliRunner().invoke(main, ["drill", str(job), "--json", "--out", str(tmp_path / "again.png")])
    assert as_json.exit_code == 3 and as_json.stdout.startswith("{") and as_json.stdout.rstrip().endswith("}")


@pytest.mark.parametrize("option", [["--dxf", "drill.dxf"], ["--out", "drill.bmp"], ["--template", "t.txt"]])
def test_a_wrong_ending_is_refused_before_anything_is_written(job, tmp_path, option):
    run = CliRunner().invoke(main, ["drill", str(job), option[0], str(tmp_path / option[1])])
    assert run.exit_code == 2 and "end the name in" in run.output and not list(tmp_path.iterdir())


def test_bad_input_is_told_without_a_traceback(job, tmp_path):
    run = CliRunner().invoke(main, ["drill", str(tmp_path)])
    assert run.exit_code == 2 and "Nothing was written" in run.output and "Traceback" not in run.output
