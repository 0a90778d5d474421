"""What a person may get wrong: words that can be acted on, exit status 2, no traceback, nothing written or lost."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from measure.cli import main
from tests.odd_jobs import (
    ALL,
    STATIONS,
    Files,
    body,
    every,
    heights,
    job,
    job_toml,
    lengths,
    levels,
    marks,
    names,
    place,
    points,
    snapshot,
    sound,
    write,
    xyz,
)

EXITS = (0, 1, 2, 3)
TAPE = str(sound()["before/tape.csv"])
FIRST = TAPE.split("\n")[1]  # hornL,hornR,800.0,floor in line 2


def ask(folder: Path, *options: str) -> Result:
    """`plumbsquare check` in this process: never an exception but click's own, and the folder stays as it was."""
    before = snapshot(folder)
    result = CliRunner().invoke(main, ["check", str(folder), *options])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code in EXITS
    assert "Traceback" not in result.output
    assert snapshot(folder) == before
    return result


def refused(folder: Path, files: Files) -> list[str]:
    """The numbered findings of a job that cannot be used."""
    result = ask(write(folder, files))
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    first, *found = result.stderr.rstrip("\n").split("\n")
    assert first.endswith("in the way. Nothing was written.")
    for number, line in enumerate(found, 1):
        assert line.startswith(f"{number}. "), "one numbered list"
        assert "found " in line and "; " in line, "what was found and what would do"
    count = sum(not re.match(r"\d+\. note: ", line) for line in found)
    assert first.startswith(f"{count} thing")
    return [line.partition(". ")[2] for line in found]


def changed(name: str, old: str, new: str) -> Files:
    """A sound job with one thing changed in one file."""
    files = sound()
    text = files[name]
    assert isinstance(text, str) and old in text
    return files | {name: text.replace(old, new, 1)}


def with_length(text: str) -> Files:
    return changed("before/tape.csv", FIRST, f"hornL,hornR,{text},floor")


def with_job(extra: str) -> Files:
    return sound() | {"job.toml": job_toml(extra)}


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


# --- past the tables: jobs that can be read and hardly be judged


def trusted(which: set[str]) -> str:
    rows = "".join(f"{line},{'yes' if line.split(',')[0] in which else ''}\n" for line in body(points()).split())
    return "name,side,part,trusted\n" + rows


def faces(left: int, right: int, spread: float = 50.0) -> tuple[str, str]:
    """points.csv and xyz.csv with so many points on each face of the axle."""
    names_, rows = "", ""
    for side, count, y in (("L", left, 700.0), ("R", right, -700.0)):
        for i in range(count):
            names_ += f"face{i}{side},{side},face:rear\n"
            rows += f"a,face{i}{side},{-2600 + spread * (i % 2)},{y},{300 + spread * (i // 2)},\n"
    return points() + names_, xyz() + rows


EXACT = "[sd]\n" + "".join(
    f"{k} = 0\n" for k in ("tape", "plumb", "marks", "heights", "levels", "xyz", "bar", "build", "level")
) + 'tape_class = "none"\n'  # fmt: skip
FULL = lengths(every())
FRONT, REAR = names(["horn", "cradle"], axle=False), names(["kick", "tail"])
PART = lengths([p for p in every() if not any(n.startswith(("tail", "kick")) for n in p)])
ROUNDED = "from,to,length,where\n" + "".join(
    f"{r.split(',')[0]},{r.split(',')[1]},1000,floor\n" for r in body(FULL).split()
)

HARDLY: dict[str, tuple[Files, tuple[int, ...]]] = {
    "one point, one height": (job("name\na\n", heights="point,height\na,5\n"), (2,)),
    "one point in space": (job("name\na\n", xyz="setup,point,x,y,z\ns,a,1,2,3\n"), (3,)),
    "three points, no pair": (
        job("name\na\nb\nc\n", tape="from,to,length,where\na,b,3000,floor\nb,c,4000,floor\na,c,5000,floor\n"), (3,)
    ),
    "two points": (job(points(ALL[:2]), tape=lengths(every(ALL[:2]))), (2,)),
    "three points": (job(points(ALL[:3]), tape=lengths(every(ALL[:3]))), (2,)),
    "one pair": (job(points(ALL[:2]), tape=lengths(every(ALL[:2])), heights=heights(ALL[:2])), (2,)),
    "two pairs": (job(points(ALL[:4]), tape=lengths(every(ALL[:4]))), (0, 3)),
    "axle without pairs": (job(points(ALL[-2:]), tape=lengths(every(ALL[-2:]))), (2, 3)),
    "held in part": (job(tape=PART + "tailL,midL,1800,floor\nkickR,midL,1200,floor\n"), (3,)),
    "two pieces": (job(tape=lengths(every(FRONT) + every(REAR))), (3,)),
    "two pieces, one tape": (job(tape=lengths([*every(FRONT), *every(REAR), ("hornL", "kickR")])), (3,)),
    "a chain": (job(tape=lengths(pairwise(ALL))), (2,)),
    "a star": (job(tape=lengths([("hornL", n) for n in ALL[1:]])), (2,)),
    "all in one line": (job(marks=marks(change=lambda p: (p[0] + p[1], 0.0))), (2,)),
    "all on one spot": (job(marks=marks(change=lambda p: (7.0, 7.0))), (2,)),
    "all lengths alike": (job(tape=ROUNDED), (2,)),
    "every length twice": (job(tape=FULL + body(FULL)), (0, 3)),
    "90 km": (job(tape=lengths(every(), change=lambda d: 20000 * d)), (0, 1, 3)),
    "micrometres": (job(tape=lengths(every(), change=lambda d: f"{d * 1e-6:.9f}")), (2,)),  # type: ignore[arg-type, return-value]
    "exact and rounded": (job(toml=job_toml(EXACT), tape=FULL), (2,)),
    "exact to the last digit": (
        job(
            toml=job_toml(EXACT), heights=heights(),
            xyz=xyz(),
        ), (0,),
    ),
    "exact rows that contradict": (
        job(tape="from,to,length,where,sd\nhornL,hornR,800,floor,0\nhornL,hornR,900,floor,0\n"
            + "".join(f"{row},\n" for row in body(FULL).split())), (2, 3),
    ),
    "sd tiny": (job(toml=job_toml('[sd]\ntape = 1e-9\ntape_class = "none"\n'), tape=FULL), (2,)),
    "sd of almost nothing": (job(toml=job_toml("[sd]\nxyz = 1e-300\n"), xyz=xyz()), (2,)),
    "sd huge": (job(toml=job_toml("[sd]\ntape = 1e6\n"), tape=FULL), (2,)),
    "sd all huge": (job(toml=job_toml("[sd]\ntape = 1e6\nplumb = 1e6\nbuild = 1e6\n"), tape=FULL), (2, 3)),
    "lean of a million degrees": (job(toml=job_toml("[sd]\nlevel = 1e6\n"), tape=FULL), (3,)),
    "heights equal": (job(tape=FULL, heights=heights(change=lambda z: 100.0)), (0,)),
    "heights wild": (job(tape=FULL, heights=heights(change=lambda z: (z * 7919) % 9e6)), (2,)),
    "only heights": (job(heights=heights()), (2,)),
    "only levels": (job(levels=levels()), (2,)),
    "only marks": (job(marks=marks()), (0, 3)),
    "only exact marks": (job(marks=marks(sd="0")), (0, 3)),
    "one mark": (job(marks=marks(ALL[:1])), (2,)),
    "marks of the mirror image": (job(marks=marks(change=lambda p: (p[0], -p[1])), tape=FULL), (0, 3)),
    "levels and tapes": (job(levels=levels(), tape=FULL), (0,)),
    "levels that do not close": (job(levels=levels() + "tailL,hornL,9000\n", tape=FULL), (0, 1, 3)),
    "one point in space, on a taped car": (job(xyz=xyz(ALL[:1]), tape=FULL), (0, 3)),
    "two points in space, on a taped car": (job(xyz=xyz(ALL[:2]), tape=FULL), (3,)),
    "two points in space": (job(xyz=xyz(ALL[:2])), (2,)),
    "two points in space and all heights": (job(xyz=xyz(ALL[:2]), heights=heights()), (2,)),
    "three points in space": (job(xyz=xyz(ALL[:3])), (2,)),
    "space, in a line": (job(xyz=xyz(change=lambda p: (p[0] + p[1], 0.0, 0.0))), (2,)),
    "space, in a line, against tapes": (job(xyz=xyz(change=lambda p: (p[0] + p[1], 0.0, 0.0)), tape=FULL), (2, 3)),
    "space, on its side": (job(xyz=xyz(change=lambda p: (p[2], p[1], p[0]))), (0,)),
    "space, upside down": (job(xyz=xyz(change=lambda p: (p[0], -p[1], -p[2]))), (0,)),
    "space, 90 km away": (job(xyz=xyz(change=lambda p: (p[0] + 9e7, p[1] - 9e7, p[2] + 9e7))), (0,)),
    "two setups that share nothing": (job(xyz=xyz(ALL[:6]) + body(xyz(ALL[6:], setup="b"))), (2, 3)),
    "two setups that share two": (job(xyz=xyz(ALL[:6]) + body(xyz(ALL[4:], setup="b"))), (3,)),
    "two setups that share three": (job(xyz=xyz(ALL[:7]) + body(xyz(ALL[4:], setup="b"))), (0,)),
    "bars only": (job(tape=lengths(every(), "bar")), (2, 3)),
    "car tapes without heights": (job(tape=lengths(every(), "car")), (3,)),
    "car tapes with heights": (job(tape=lengths(every(), "car"), heights=heights()), (0,)),
    "car tapes shorter than the rise": (job(tape=lengths(every(), "car", lambda d: 10.0), heights=heights()), (2, 3)),
    "faces of two points": (job(faces(2, 2)[0], xyz=faces(2, 2)[1]), (0,)),
    "one face": (job(faces(3, 0)[0], xyz=faces(3, 0)[1]), (0,)),
    "faces on one spot": (job(faces(3, 3, 0.0)[0], xyz=faces(3, 3, 0.0)[1]), (0,)),
    "trusted on one pair": (job(trusted({"hornL", "hornR"}), tape=FULL), (2,)),
    "trusted on half a pair each": (job(trusted({"hornL", "tailR"}), tape=FULL), (0, 3)),
    "an axle named and not measured": (job(toml=job_toml("[axle.front]\n"), tape=FULL), (0, 3)),
    "ninth drop": (job(tape=FULL.replace("hornL,", "hornL#9,")), (0, 3)),
    "a drop to its own point": (job(tape=FULL + "hornL,hornL#2,3,floor\n"), (0, 3)),
    "a drop to its own point only": (job(tape="from,to,length,where\nhornL,hornL#2,3,floor\n"), (2,)),
    "a limit for one check": (job(toml=job_toml('[limits]\n"pair.mid.width" = 900\n'), tape=FULL), (0, 3)),
    "a pair on itself": (
        job(xyz=xyz().replace("a,midR,-1500.0,-450.0,480.0", "a,midR,-1500.0,450.0,480.0")), (1,)
    ),
    "every pair on itself": (job(xyz=xyz(change=lambda p: (p[0], 0.0, p[2]))), (2,)),
    "pairs at one station": (
        job(points(names(axle=False)), marks=marks(names(axle=False), lambda p: (0.0, p[1]))), (2,)
    ),
    "a car on its nose": (
        job(
            points(names(axle=False)), heights=heights(names(axle=False)),
            marks=marks(names(axle=False), lambda p: (0.001 * p[0], p[1])),
        ), (2,),
    ),
}  # fmt: skip


@pytest.mark.parametrize(("files", "exits"), HARDLY.values(), ids=HARDLY.keys())
def test_what_can_hardly_be_judged_ends_in_words(tmp_path: Path, files: Files, exits: tuple[int, ...]) -> None:
    result = ask(write(tmp_path / "car", files), "-v")
    assert result.exit_code in exits, result.output
    if result.exit_code == 2:
        assert "found" in result.stderr and result.stdout == ""
    else:
        assert "nan" not in result.stdout.split() and "inf" not in result.stdout.split()


@pytest.mark.parametrize(
    "noise", [(0.0, 0.0, 0.0), (1.5, 1.0, -1.5), (-2.0, -1.0, 1.0), (-3.0, -2.0, 0.0), (2.0, 2.0, 0.0)]
)
@pytest.mark.parametrize("ends", [("hornL", "midL", "tailL"), ("hornL", "midL")])
def test_a_point_taped_in_line_only_is_loose_and_spoils_nothing(
    tmp_path: Path, noise: tuple[float, ...], ends: tuple[str, ...]
) -> None:
    """The square of the way across is all that such tapes see: noise of a millimetre would look like 50 mm."""
    straight = {n: (place(n)[0], 400.0 if n.endswith("L") else -400.0) for n in ALL[:10]} | {
        n: place(n)[:2] for n in ALL[10:]
    }
    pairs = [p for p in every() if "cradleL" not in p] + [("cradleL", end) for end in ends]
    errors = dict(zip((("cradleL", end) for end in ends), noise, strict=False))
    rows = [(a, b, math.dist(straight[a], straight[b]) + errors.get((a, b), 0.0)) for a, b in pairs]
    tape = "from,to,length,where\n" + "".join(f"{a},{b},{d:.1f},floor\n" for a, b, d in rows)
    result = ask(write(tmp_path / "car", job(tape=tape, heights=heights())), "--json")
    assert result.exit_code == 3, result.output
    document = json.loads(result.stdout)
    assert [loose["points"] for loose in document["loose"]] == [["cradleL"]]
    assert document["loose"][0]["fix"]
    verdicts = {c["name"]: c["verdict"] for c in document["checks"] if c["limit"] is not None}
    assert verdicts.pop("pair.cradle.offset") == "undecided"
    assert set(verdicts.values()) == {"within"}


def test_two_points_seen_from_an_unlevel_instrument_level_no_car(tmp_path: Path) -> None:
    """Their rise is free to tip at first order; it must not pass for a levelled pair."""
    document = json.loads(ask(write(tmp_path / "car", job(xyz=xyz(ALL[:2]), tape=FULL)), "--json").stdout)
    assert document["tilt"] == {"roll": None, "pitch": None} and document["plan_only"]
    flat = json.loads(ask(write(tmp_path / "flat", job(tape=FULL)), "--json").stdout)
    for one, other in zip(document["checks"], flat["checks"], strict=True):
        assert one["name"] == other["name"]
        if one["limit"] is not None:
            assert one["u95"] > 0.9 * other["u95"]


def test_an_arrangement_that_no_car_has_is_refused_not_judged(tmp_path: Path) -> None:
    """Two names changed about throughout: every length fits, and the pairs come out half a metre to one side."""
    swapped = TAPE.replace("kickL", "@").replace("tailR", "kickL").replace("@", "tailR")
    told = refused(tmp_path / "car", sound() | {"before/tape.csv": swapped})
    assert "kick stands 410.0 mm to the right" in told[0] and "changed about" in told[0]
    assert "tail stands 410.0 mm to the left" in told[1]


def test_twins_changed_about_are_cautioned(tmp_path: Path) -> None:
    swapped = TAPE.replace("kickL", "@").replace("kickR", "kickL").replace("@", "kickR")
    result = ask(write(tmp_path / "car", sound() | {"before/tape.csv": swapped}), "--json")
    assert any("kickL stands to the right of kickR" in caution for caution in json.loads(result.stdout)["cautions"])


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


# --- whatever else


NASTY = (
    "nan", "1e300", "-1", "0", "-0", "inf", "text", "", " ", "1,5", "1.5.5", "9" * 40, "16-May", "#", '"', "0.0001",
    "hornL", "hornL#2", "midR", "90000 m", '5/16"', "½", "\ufeff", "=A1", "é", "L", "yes", "\x00", "1e-9", "100", "254",
)  # fmt: skip
ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252", "cp500")
FILES = ("job.toml", "points.csv", "before/tape.csv", "before/heights.csv")
SMALL = names(list(STATIONS)[:3])


def small() -> Files:
    return job(
        points(SMALL), job_toml("[sd]\ntape = 0.5\n[limits]\noffset = 3\n[tape.blue]\nzero = 0\n"),
        tape=lengths(every(SMALL)), heights=heights(SMALL),
    )  # fmt: skip


def cell(data: st.DataObject, text: str) -> tuple[list[str], int, list[str], int]:
    rows = text.split("\n")
    at = data.draw(st.integers(0, len(rows) - 1))
    cells = rows[at].split(",")
    return rows, at, cells, data.draw(st.integers(0, len(cells) - 1))


def mutated(data: st.DataObject, content: bytes) -> bytes:
    """One thing done to a file that a person, a spreadsheet or a bad disk might do."""
    how = data.draw(st.sampled_from(("cell", "cell", "cell", "swap", "cut", "double", "flip", "end", "mark", "code")))
    if how == "flip":
        at = data.draw(st.integers(0, max(len(content) - 1, 0)))
        return content[:at] + bytes([data.draw(st.integers(0, 255))]) + content[at + 1 :]
    if how == "end":
        return content[: data.draw(st.integers(0, len(content)))]
    text = content.decode("utf-8", errors="replace")
    if how == "code":
        return text.encode(data.draw(st.sampled_from(ENCODINGS)), errors="replace")
    if how == "mark":
        return text.replace(",", data.draw(st.sampled_from(";\t|:"))).encode()
    rows, at, cells, k = cell(data, text)
    if how == "cell":
        cells[k] = data.draw(st.sampled_from(NASTY))
        rows[at] = ",".join(cells)
    elif how == "swap":
        other, others = data.draw(st.integers(0, len(rows) - 1)), rows[at].split(",")
        others = rows[other].split(",") if other != at else cells
        j = data.draw(st.integers(0, len(others) - 1))
        cells[k], others[j] = others[j], cells[k]
        rows[at], rows[other] = ",".join(cells), ",".join(others)
    elif how == "cut":
        del rows[at : at + data.draw(st.integers(1, 12))]
    else:
        rows[at:at] = [rows[at]] * data.draw(st.integers(1, 3))
    return "\n".join(rows).encode()


@settings(
    max_examples=1000, deadline=None, derandomize=True, database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(data=st.data())
def test_no_table_brings_it_down(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    files = small()
    for _ in range(data.draw(st.integers(1, 3))):
        name = data.draw(st.sampled_from(FILES))
        content = files[name]
        files[name] = mutated(data, content if isinstance(content, bytes) else content.encode())
    folder = write(tmp_path_factory.mktemp("m"), files)
    try:
        result = ask(folder)
        assert result.exit_code != 2 or "found " in result.stderr
    finally:
        shutil.rmtree(folder)


@settings(max_examples=120, deadline=None, derandomize=True, database=None)
@given(
    taped=st.lists(st.sampled_from(every(SMALL)), max_size=28, unique=True),
    levelled=st.lists(st.sampled_from(SMALL), max_size=8, unique=True),
    placed=st.lists(st.sampled_from(SMALL), max_size=5, unique=True),
    marked=st.lists(st.sampled_from(SMALL), max_size=4, unique=True),
    factor=st.sampled_from((1.0, 1.0, 1.0, 0.1, 25.4)),
)
def test_no_choice_of_readings_brings_it_down(
    tmp_path_factory: pytest.TempPathFactory, taped: list[tuple[str, str]], levelled: list[str], placed: list[str],
    marked: list[str], factor: float,
) -> None:  # fmt: skip
    tables = {"tape": lengths(taped)} if taped else {}
    if levelled:
        tables["heights"] = heights(levelled)
    if placed:
        tables["xyz"] = xyz(placed, lambda p: tuple(factor * c for c in p))
    if marked:
        tables["marks"] = marks(marked)
    folder = write(tmp_path_factory.mktemp("r"), job(points(SMALL), **tables))
    try:
        result = ask(folder)
        if factor == 1.0:
            assert result.exit_code != 1, "a straight car was called bent\n" + result.output
    finally:
        shutil.rmtree(folder)
