"""What a person may get wrong: words that can be acted on, exit status 2, no traceback, nothing written or lost."""

from __future__ import annotations

import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import Workbook

from measure.cli import main
from tests.asked import FIRST, TAPE, ask, changed, refused, with_job, with_length
from tests.odd_jobs import Files, body, every, heights, job, job_toml, lengths, marks, points, snapshot, sound, write


@dataclass(frozen=True)
class Case:
    """A spoilt job and what its first finding must say, in this order."""

    files: Files
    says: tuple[str, ...]


IN_LENGTH = ("before/tape.csv line 2, column length: found ",)
BAD = {
    "tape empty": Case(sound() | {"before/tape.csv": ""}, ("before/tape.csv", "an empty file", "from, to, length")),
    "tape blank": Case(sound() | {"before/tape.csv": " \n\n \n"}, ("before/tape.csv", "an empty file")),
    "points empty": Case(sound() | {"points.csv": ""}, ("points.csv", "an empty file", "name")),
    "job.toml empty of stages": Case(sound() | {"job.toml": ""}, ("job.toml", "no stages", "stages = ")),
    "headers only": Case(
        job(tape="from,to,length,where\n", heights="point,height\n"), ("before", "no readings", "tape.csv")
    ),
    "points header only": Case(sound() | {"points.csv": "name,side\n"}, ("before/", "line 2", "column")),
    "missing column": Case(
        changed("before/tape.csv", "from,to,length,where", "from,to,,where"), ("before/tape.csv line 1", "length")
    ),
    "renamed column": Case(
        changed("before/tape.csv", "length", "lenght"),
        ("before/tape.csv line 1, column lenght", '"lenght"', "no such column", 'did you mean "length"'),
    ),
    "column twice": Case(changed("before/tape.csv", "where", "length"), ("before/tape.csv line 1", "twice")),
    "no header": Case(sound() | {"before/tape.csv": body(TAPE)}, ("before/tape.csv line 1", "name the columns")),
    "text": Case(with_length("about 800"), (*IN_LENGTH, '"about 800"', "such as")),
    "blank name": Case(changed("before/tape.csv", "hornL,hornR,", ",hornR,"), ("tape.csv line 2, column from",)),
    "nan": Case(with_length("nan"), (*IN_LENGTH, '"nan"')),
    "inf": Case(with_length("inf"), (*IN_LENGTH, '"inf"')),
    "-inf": Case(with_length("-inf"), (*IN_LENGTH, '"-inf"')),
    "negative": Case(with_length("-800"), (*IN_LENGTH, '"-800"', "greater than zero")),
    "zero": Case(with_length("0"), (*IN_LENGTH, '"0"', "greater than zero")),
    "1e300": Case(with_length("1e300"), (*IN_LENGTH, '"1e300"')),
    "three hundred digits": Case(with_length("9" * 300), (*IN_LENGTH,)),
    "200 km": Case(with_length("200000 m"), (*IN_LENGTH, '"200000 m"')),
    "unknown unit in a cell": Case(with_length("800 furlong"), (*IN_LENGTH, '"800 furlong"')),
    "two points in a number": Case(with_length("1.0.4"), (*IN_LENGTH, '"1.0.4"')),
    "thousands or decimals": Case(with_length('"1,234"'), (*IN_LENGTH, '"1,234"')),
    "a date": Case(with_length("16-May"), (*IN_LENGTH, '"16-May"', "date")),
    "unknown point": Case(
        changed("before/tape.csv", "hornL,hornR,", "hornL,honrR,"),
        ('before/tape.csv line 2, column to: found "honrR"', "points.csv", 'did you mean "hornR"'),
    ),
    "unknown where": Case(
        changed("before/tape.csv", FIRST, FIRST.replace("floor", "flor")),
        ("before/tape.csv line 2, column where", '"flor"', "floor"),
    ),
    "to itself": Case(changed("before/tape.csv", "hornL,hornR,", "hornL,hornL,"), ("before/tape.csv line 2", "hornL")),
    "name twice": Case(
        changed("points.csv", "cradleL,L,", "hornL,L,"), ('points.csv line 4, column name: found "hornL"', "line 2")
    ),
    "two lefts": Case(
        sound() | {"points.csv": "name,side,pair,part\nhornL,L,front,\nhornR,L,front,\n"}, ("points.csv line", "front")
    ),
    "unknown side": Case(
        changed("points.csv", "hornL,L,", "hornL,left,"), ('points.csv line 2, column side: found "left"', "L, R")
    ),
    "unknown part": Case(
        changed("points.csv", "reference", "referense"), ("points.csv line 2, column part", 'did you mean "reference"')
    ),
    "axle with one end": Case(
        changed("points.csv", "axleR,R,axle:rear\n", ""), ("points.csv line 12", "one L and one R")
    ),
    "broken TOML": Case(with_job("[sd\n"), ("job.toml line 4",)),
    "unknown key": Case(with_job("[sd]\ntaep = 1\n"), ("job.toml line 5, key sd.taep", 'did you mean "tape"')),
    "unknown limit": Case(with_job("[limits]\nofset = 1\n"), ("job.toml line 5", 'did you mean "offset"')),
    "limit of nought": Case(with_job("[limits]\noffset = 0\n"), ("job.toml line 5, key limits.offset", "zero")),
    "unknown unit": Case(sound() | {"job.toml": job_toml(units="cm")}, ("job.toml line 2, key units", "mm", "in")),
    "sd below nought": Case(with_job("[sd]\ntape = -1\n"), ("job.toml line 5, key sd.tape",)),
    "sd nan": Case(with_job("[sd]\ntape = nan\n"), ("job.toml line 5, key sd.tape", "finite")),
    "sd in words": Case(with_job('[sd]\ntape = "some"\n'), ("job.toml line 5, key sd.tape",)),
    "sd of a row below nought": Case(
        changed("before/heights.csv", "point,height\nhornL,600.0", "point,height,sd\nhornL,600.0,-1"),
        ("before/heights.csv line 2, column sd",),
    ),
    "stages empty": Case(sound() | {"job.toml": job_toml(stages="[]")}, ("job.toml line 3", "no stages")),
    "stage that is not there": Case(
        sound() | {"job.toml": job_toml(stages='["after"]')}, ("after", "make this folder")
    ),
    "stage outside": Case(sound() | {"job.toml": job_toml(stages='["../before"]')}, ("job.toml line 3",)),
    "binary": Case(sound() | {"before/tape.csv": bytes(range(256)) * 8}, ("before/tape.csv",)),
    "binary job": Case(sound() | {"job.toml": b"\x89PNG\r\n\x1a\n" + bytes(range(256))}, ("job.toml",)),
    "NUL": Case(changed("before/tape.csv", "hornL", "horn\0L"), ("before/tape.csv",)),
    "UTF-16": Case(sound() | {"before/tape.csv": TAPE.encode("utf-16")}, ("before/tape.csv", "UTF-16", "UTF-8")),
    "UTF-16 job": Case(sound() | {"job.toml": job_toml().encode("utf-16")}, ("job.toml",)),
    "xlsx that is none": Case(
        job(heights=heights()) | {"before/tape.xlsx": TAPE.encode()}, ("before/tape.xlsx",)
    ),
    "csv and xlsx": Case(sound() | {"before/tape.xlsx": b"PK"}, ("before/tape", "tape.csv and tape.xlsx", "keep one")),
    "other spreadsheet": Case(job() | {"before/tape.ods": b"PK"}, ("before/tape.ods", "save it as")),
    "one reading": Case(job(tape="from,to,length,where\nhornL,hornR,800,floor\n"), ("before", "too little", "measure")),
    "a cell too many": Case(changed("before/tape.csv", FIRST, FIRST + ",,oops"), ("before/tape.csv line 2", '"oops"')),
    "quote left open": Case(changed("before/tape.csv", "hornL,hornR", 'hornL,"hornR'), ("before/tape.csv",)),
    "second place for a mark": Case(
        job(marks=marks() + body(marks(["hornL"]))), ("before/marks.csv line 14", "line 2", "hornL#2")
    ),
    "second drop on the car": Case(
        changed("before/tape.csv", FIRST, "hornL#2,hornR,800,car"), ('line 2, column from: found "hornL#2"', "itself")
    ),
    "sd that drown each other": Case(
        with_job("[sd]\nplumb = 1e-9\n"), ("job.toml, key sd.plumb", "1e-09", "write 0 for what is exact")
    ),
    "a zero error that leaves nothing": Case(
        job(toml=job_toml("[tape.blue]\nzero = 5000\n"), tape=TAPE),
        ('before/tape.csv line 2, column length: found "800.0"', "5000 mm", "[tape.blue]"),
    ),
    "exact readings that contradict": Case(
        job(toml=job_toml('[sd]\ntape = 0\nplumb = 0\ntape_class = "none"\n'), tape=TAPE), ("before", "exact", "sd")
    ),
    "a height in metres": Case(
        changed("before/heights.csv", "hornL,600.0", "hornL,60 m"), ("before/heights.csv line 2", "lean", "unit")
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD.values(), ids=BAD.keys())
def test_what_cannot_be_used_is_told_in_words(tmp_path: Path, case: Case) -> None:
    first = refused(tmp_path / "car", case.files)[0]
    at = 0
    for says in case.says:
        assert says in first[at:], first
        at = first.index(says, at)


def test_no_job_at_all(tmp_path: Path) -> None:
    for folder in (tmp_path / "nowhere", tmp_path):
        result = ask(folder)
        assert (result.exit_code == 2 and "job.toml" in result.stderr) or "no such folder" in result.stderr


def test_a_file_in_place_of_the_job(tmp_path: Path) -> None:
    path = tmp_path / "car"
    path.write_text("hello")
    result = ask(path)
    assert result.exit_code == 2 and "folder" in result.stderr
    assert path.read_text() == "hello"


@pytest.mark.parametrize("name", ["job.toml", "points.csv", "before/tape.csv"])
def test_a_folder_in_place_of_a_file(tmp_path: Path, name: str) -> None:
    files = sound()
    del files[name]
    (tmp_path / "car" / name).mkdir(parents=True)
    assert refused(tmp_path / "car", files)[0].startswith(f"{name}: found ")


def test_a_file_in_place_of_the_stage(tmp_path: Path) -> None:
    folder = write(tmp_path / "car", sound())
    shutil.rmtree(folder / "before")
    (folder / "before").write_text("not a folder")
    result = ask(folder)
    assert result.exit_code == 2 and "before: found" in result.stderr


@pytest.mark.parametrize("name", ["job.toml", "points.csv", "before/tape.csv"])
def test_an_unreadable_file(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path / "car", sound())
    before, plain = snapshot(folder), Path.read_bytes

    def locked(self: Path) -> bytes:
        if self == folder / name:  # as the operating system says it, whoever runs the tests
            raise PermissionError(13, "Permission denied", str(self))
        return plain(self)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "read_bytes", locked)
        result = CliRunner().invoke(main, ["check", str(folder)])
    assert isinstance(result.exception, SystemExit) and result.exit_code == 2, result.output
    assert name in result.stderr
    assert snapshot(folder) == before


def test_an_unknown_stage_is_asked_for(tmp_path: Path) -> None:
    result = ask(write(tmp_path / "car", sound()), "--stage", "befor")
    assert result.exit_code == 2
    assert 'no stage "befor"' in result.stderr and 'did you mean "before"' in result.stderr


def test_everything_wrong_in_every_file_is_told_at_once(tmp_path: Path) -> None:
    files = sound()
    files["job.toml"] = job_toml('[sd]\ntaep = 1\n[limits]\nangle = "wide"\n')
    files["points.csv"] = str(files["points.csv"]).replace("midL,L,", "midL,X,").replace("tailR,R,ref", "tailR,R,raf")
    files["before/tape.csv"] = TAPE.replace(FIRST, "hornL,hornR,nan,floor").replace("hornL,cradleL,", "hornL,cradelL,")
    files["before/heights.csv"] = heights().replace("kickL,520.0", "kickL,high")
    told = "\n".join(refused(tmp_path / "car", files))
    for place_ in (
        "job.toml line 5, key sd.taep", "job.toml line 7, key limits.angle", "points.csv line 6, column side",
        "points.csv line 11, column part", "before/tape.csv line 2, column length", "before/tape.csv line 3, column to",
        "before/heights.csv line 8, column height",
    ):  # fmt: skip
        assert place_ in told


def test_a_table_of_another_kind_altogether_is_cut_short(tmp_path: Path) -> None:
    rows = "".join("hornL,hornR,oops,floor\n" for _ in range(5000))
    told = refused(tmp_path / "car", sound() | {"before/tape.csv": "from,to,length,where\n" + rows})
    assert len(told) < 200 and "errors so far" in told[-1]


# --- lengths that no triangle has


def test_a_length_that_breaks_a_well_measured_triangle_is_a_suspect(tmp_path: Path) -> None:
    result = ask(write(tmp_path / "car", with_length("9500")))
    assert result.exit_code in (0, 1, 3)
    assert "tape.csv line 2" in result.stdout or "tape.csv:2" in result.stdout


def test_a_triangle_that_cannot_be_is_named_where_nothing_else_checks_it(tmp_path: Path) -> None:
    rows = "hornL,hornR,100,floor\nhornL,midL,100,floor\nhornR,midL,3000,floor\n"
    files = job(points(["hornL", "hornR", "midL", "midR"]), tape="from,to,length,where\n" + rows)
    first = refused(tmp_path / "car", files)[0]
    assert first.startswith('before/tape.csv line 4, column length: found "3000"')
    assert "hornR to midL" in first and "lines 2 and 3" in first


# --- other ways to write the same


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_delimiters_and_units_change_no_verdict(tmp_path: Path, delimiter: str, units: str) -> None:
    files = sound()
    if units == "in":
        inches = lambda mm: f"{round(mm / 25.4, 3)}"  # noqa: E731
        files = job(toml=job_toml(units="in"), tape=lengths(every(), change=inches), heights=heights(change=inches))  # type: ignore[arg-type]
    for name in files:
        if name.endswith(".csv"):
            files[name] = str(files[name]).replace(",", delimiter)
    assert ask(write(tmp_path / "car", files)).exit_code == 0


def test_tables_as_xlsx(tmp_path: Path) -> None:
    folder = write(tmp_path / "car", {"job.toml": job_toml()})
    for stem, text in (("points", points()), ("before/tape", TAPE), ("before/heights", heights())):
        book = Workbook()
        for row in text.strip().split("\n"):
            book.active.append([float(c) if c.replace(".", "").isdigit() else c for c in row.split(",")])
        book.save(folder / f"{stem}.xlsx")
    assert ask(folder).exit_code == 0


# --- as a person runs it


@pytest.mark.parametrize("name", ["unknown point", "binary", "broken TOML", "one reading"])
def test_as_a_process(tmp_path: Path, name: str) -> None:
    folder = write(tmp_path / "car", BAD[name].files)
    before = snapshot(folder)
    done = subprocess.run(
        [sys.executable, "-m", "measure", "check", str(folder)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 2
    assert done.stdout == "" and "Traceback" not in done.stderr and "Warning" not in done.stderr
    assert BAD[name].says[0] in done.stderr
    assert snapshot(folder) == before
