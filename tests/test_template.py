"""A new job: it can be read back at once, and nothing is overwritten."""

import re

import pytest
from pypdf import PdfReader

from measure.findings import BadInput, Findings
from measure.job import load_job
from measure.readings.stage import read_stage
from measure.tape_plan import tapes_to_run
from measure.template import SHEET, default_points, job_files, new_job

TABLES = [
    "points.csv",
    *(f"before/{t}.csv" for t in ("tape", "levels", "heights", "marks", "xyz", "targets")),
]


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_new_job_reads_back_without_an_error(tmp_path, units):
    written = new_job(tmp_path / "my car", units)
    assert {p.relative_to(tmp_path / "my car").as_posix() for p in written} == {"job.toml", SHEET, *TABLES}
    findings = Findings()
    job = load_job(tmp_path / "my car", findings)
    assert not findings.errors and job is not None
    assert (job.title, job.units, job.stages) == ("my car", units, ["before"])
    assert [p.name for p in job.points] == [p.name for p in default_points()]
    assert tapes_to_run(job.points) == tapes_to_run(default_points())
    assert read_stage(job, "before", findings) == [] and not findings.errors


@pytest.mark.parametrize("units", ["mm", "in"])
def test_every_setting_that_is_remarked_out_may_be_used_and_is_the_default(tmp_path, units):
    folder = tmp_path / "car"
    new_job(folder, units)
    before = load_job(folder, Findings())
    text = (folder / "job.toml").read_text()
    used = re.sub(r"^# (\w+ = )", r"\1", text, flags=re.MULTILINE)
    assert used.count("\n# ") < text.count("\n# ") - 10
    (folder / "job.toml").write_text(used)
    findings = Findings()
    after = load_job(folder, findings)
    assert not findings.errors and after is not None and before is not None
    assert after.limits == before.limits
    assert after.sd == before.sd
    assert after.stage_info["before"].by == "who measured"


def test_paper_and_table_have_the_same_order(tmp_path):
    new_job(tmp_path)
    rows = [r.split(",")[:2] for r in (tmp_path / "before/tape.csv").read_text().splitlines() if r[0] != "#"]
    text = "\n".join(page.extract_text() for page in PdfReader(tmp_path / SHEET).pages)
    at = [text.index(f"\n{i}\n{a}\n{b}\n") for i, (a, b) in enumerate(rows[1:], start=1)]
    assert len(at) == 64 and at == sorted(at)


def test_remarks_stay_in_one_cell_of_a_spreadsheet():
    for name, data in job_files("car", "in").items():
        if name.endswith(".csv"):
            remarks = [line for line in data.decode().splitlines() if line.startswith("#")]
            assert remarks and not [line for line in remarks if set(line) & set(',;"\t')]
            assert max(map(len, remarks)) <= 110


def test_every_column_is_explained():
    for name, data in job_files("car").items():
        if name.endswith("points.csv") or name.endswith("tape.csv"):
            lines = data.decode().splitlines()
            remarks = " ".join(line for line in lines if line.startswith("#"))
            head = next(line for line in lines if not line.startswith("#"))
            missing = [c for c in head.split(",") if c != "note" and not re.search(rf"\b{c}\b", remarks)]
            assert not missing


@pytest.mark.parametrize("taken", ["job.toml", "points.csv", "before/tape.csv"])
def test_a_folder_that_holds_a_job_is_left_alone(tmp_path, taken):
    (tmp_path / "before").mkdir()
    (tmp_path / taken).write_text("mine")
    with pytest.raises(BadInput, match="nothing is overwritten"):
        new_job(tmp_path)
    assert (tmp_path / taken).read_text() == "mine"
    assert len([p for p in tmp_path.rglob("*") if p.is_file()]) == 1


def test_what_else_is_in_the_folder_does_not_matter(tmp_path):
    (tmp_path / "photo.jpg").write_text("x")
    new_job(tmp_path)
    assert (tmp_path / "photo.jpg").read_text() == "x" and (tmp_path / "job.toml").exists()


def test_a_file_in_place_of_the_folder(tmp_path):
    (tmp_path / "car").write_text("x")
    with pytest.raises(BadInput, match="name a new folder"):
        new_job(tmp_path / "car")


def test_a_folder_that_cannot_be_made_leaves_nothing(tmp_path):
    (tmp_path / "before").write_text("a file where the stage's folder goes")
    with pytest.raises(BadInput):
        new_job(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["before"]


def test_an_odd_folder_name_is_a_good_title(tmp_path):
    folder = tmp_path / 'a "quoted" {car} é'
    new_job(folder)
    job = load_job(folder, Findings())
    assert job is not None and job.title == folder.name
