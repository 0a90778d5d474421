"""A sheet against its job, from the command line."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from measure.cli import main
from measure.report.certificate.embedded import read_sheet
from tests import odd_jobs

CAR = Path(__file__).resolve().parents[2] / "sample_data" / "pulled_rail"


def run(*words: object) -> tuple[int, str]:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.output


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("car")
    shutil.copytree(CAR, folder / "job")
    code, out = run("report", folder / "job", "--csv", "--xlsx", "--dxf", "--ply")
    assert code == 0, out
    assert out.count("wrote") == 11
    return folder / "job"


@pytest.fixture
def job(written: Path, tmp_path: Path) -> Path:
    shutil.copytree(written, tmp_path / "job")
    return tmp_path / "job"


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_a_fresh_sheet_agrees(job: Path, kind: str) -> None:
    code, out = run("verify", job / f"report_before.{kind}", job)
    assert code == 0 and "agrees" in out and "figures computed again" in out


def test_a_sheet_of_a_job_with_two_stages_agrees_whichever_way_the_stage_was_named(job: Path) -> None:
    shutil.copytree(job / "before", job / "after")
    settings = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(settings.replace('["before"]', '["before", "after"]'), encoding="utf-8")
    code, out = run("report", job, "--out", job / "sheet.html")
    assert code == 0, out
    assert "--stage" not in (job / "sheet.html").read_text(encoding="utf-8")
    code, out = run("verify", job / "sheet.html", job)
    assert code == 0, out


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_a_changed_reading_is_told(job: Path, kind: str) -> None:
    table = job / "before" / "heights.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    lines[-1] = _raised(lines[-1])
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    code, out = run("verify", job / f"report_before.{kind}", job)
    assert code == 1 and "fingerprint" in out and "on the sheet" in out and "checks " in out


def _raised(line: str) -> str:
    """The same row with another first digit in its height."""
    head, _, height = line.rstrip(";,\t ").rpartition(";" if ";" in line else ",")
    return f"{head}{';' if ';' in line else ','}1{height}"


def test_a_remark_alone_changes_the_fingerprint_and_nothing_else(job: Path) -> None:
    table = job / "points.csv"
    table.write_text(table.read_text(encoding="utf-8") + "# seen\n", encoding="utf-8")
    code, out = run("verify", job / "report_before.html", job)
    assert code == 1 and out.count("  - ") == 1 and "fingerprint" in out


def test_a_figure_changed_inside_the_sheet_is_named(job: Path) -> None:
    page = job / "report_before.html"
    text = page.read_text(encoding="utf-8")
    page.write_text(text.replace('"limit": 3.0', '"limit": 30.0'), encoding="utf-8")
    code, out = run("verify", page, job)
    assert code == 1 and "pair.outrigger.offset.limit: 30 on the sheet, 3 now" in out


def test_words_changed_on_the_sheet_alone_are_seen(job: Path) -> None:
    page = job / "report_before.html"
    text = page.read_text(encoding="utf-8")
    changed = text.replace('class="verdict outside"><span class="mark" aria-hidden="true">■</span> OUTSIDE',
                           'class="verdict within"><span class="mark" aria-hidden="true">○</span> within')  # fmt: skip
    assert changed != text
    page.write_text(changed, encoding="utf-8")
    code, out = run("verify", page, job)
    assert code == 1 and "printed on the sheet but not ours" in out


def test_another_version_is_a_remark(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("measure.document.__version__", "99.0")
    code, out = run("verify", job / "report_before.html", job)
    assert code == 0 and "Written by version" in out


def test_a_sheet_from_before_the_next_act_had_a_kind_still_agrees(job: Path) -> None:
    page = job / "report_before.html"
    text = page.read_text(encoding="utf-8")
    old = re.sub(r',\s*"kind": "\w+",\s*"names": \[[^]]*\](?=\s*\},\s*"single_drops")', "", text)
    assert '"next": {' in old and len(old) < len(text)
    page.write_text(old, encoding="utf-8")
    code, out = run("verify", page, job)
    assert code == 0 and "agrees" in out


def test_what_cannot_be_used_ends_in_2(job: Path, tmp_path: Path) -> None:
    (tmp_path / "empty.pdf").write_bytes(b"")
    for sheet, folder in (
        (job / "points.csv", job),
        (tmp_path / "empty.pdf", job),
        (job / "none.pdf", job),
        (job / "report_before.pdf", tmp_path / "nowhere"),
    ):
        code, out = run("verify", sheet, folder)
        assert code == 2 and "Traceback" not in out and out.strip()


def test_out_may_be_one_file_or_a_new_folder(job: Path, tmp_path: Path) -> None:
    code, out = run("report", job, "--out", tmp_path / "one.html", "--dxf", "--paper", "Letter")
    assert code == 0 and {p.name for p in tmp_path.glob("one*")} == {"one.html", "one_mm.dxf"}
    assert run("verify", tmp_path / "one.html", job)[0] == 0
    assert run("report", job, "--out", tmp_path / "new" / "deep")[0] == 0
    assert {p.name for p in (tmp_path / "new" / "deep").iterdir()} == {"report_before.html", "report_before.pdf"}
    code, out = run("report", job, "--out", tmp_path / "sheet.docx")
    assert code == 2 and "ending in .html or .pdf" in out


def two_stages(folder: Path) -> Path:
    """A straight car, and the same with its tail pulled 12 mm to the left, both measured in space."""
    tail = tuple(odd_jobs.place("tailL")), tuple(odd_jobs.place("tailR"))

    def pulled(place: odd_jobs.Place) -> odd_jobs.Place:
        return (place[0], place[1] + 12.0, *place[2:]) if place in tail else place

    return odd_jobs.write(folder, {
        "job.toml": odd_jobs.job_toml(stages='["before", "after"]'),
        "points.csv": odd_jobs.points(),
        "before/xyz.csv": odd_jobs.xyz(),
        "after/xyz.csv": odd_jobs.xyz(change=pulled),
    })  # fmt: skip


def test_before_and_after_stand_on_the_sheet_and_are_computed_again(tmp_path: Path) -> None:
    job = two_stages(tmp_path / "car")
    assert run("report", job, "--stage", "after", "--before", "before")[0] == 0
    sheets = [job / f"report_after.{kind}" for kind in ("html", "pdf")]
    for sheet in sheets:
        words = " ".join(read_sheet(sheet).words)
        assert "Before and after" in words and "MOVED: tailL, tailR" in words and "Movements, mm" in words
        assert run("verify", sheet, job)[0] == 0
    (job / "before" / "xyz.csv").write_text(odd_jobs.xyz(change=lambda p: (p[0], p[1] * 1.01, p[2])), encoding="utf-8")
    for sheet in sheets:
        code, out = run("verify", sheet, job)
        assert code == 1 and "before and after" in out and "fingerprint of before" in out
