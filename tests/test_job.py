import hashlib
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measure.findings import BadInput, Findings
from measure.job import Job, choose_stage, inputs_sha256, load_job, update_job_toml

TOML = """# my car
title = "a saloon"
units = "mm"
stages = ["before", "after"]  # in this order

[limits]
offset = 2.5
pair.front.offset = "0.1 in"

[sd]
tape = 0.4
plumb = 0
tape_class = "none"

[tape.steel]
zero = 0.3  # worn hook

[stage.before]
date = 2026-05-16
supported = "stands: sills"
temperature = 18.5

[axle.rear]
phase = 30

[mount.box]
from = "front"
ahead = "12 in"
"""
POINTS = """name,side,pair,part,trusted,x,y,z,hole,note
frontL,L,,reference,yes,,,,,
frontR,R,,reference,yes,,,,,
one,L,mid,rail,,100,200,-30,12,
two,R,mid,rail,,100,-200,-30,12,
hubL,L,,axle:rear,,,,,,
hubR,R,,axle:rear,,,,,,
drain,,,,,,,,,
tailL,L,,,,,,,,
tailR,R,,,,,,,,
"""
CHART = "from,to,length,tolerance\nfrontL,frontR,800,1\n"
MOUNTS = "mount,hole,x,y,z,diameter,bolt\nbox,a,0,50,,12,10\nbox,b,0,-50,,12,\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write(tmp_path, TOML, POINTS)
    (tmp_path / "before").mkdir()
    return tmp_path


def write(folder: Path, toml: str = TOML, points: str = POINTS) -> None:
    (folder / "job.toml").write_text(toml)
    (folder / "points.csv").write_text(points)


def load(folder: Path) -> tuple[Job | None, Findings]:
    findings = Findings()
    return load_job(folder, findings), findings


def good(folder: Path) -> Job:
    job, findings = load(folder)
    assert job is not None and not findings, findings.numbered()
    return job


def errors(folder: Path) -> str:
    return "\n".join(finding.text() for finding in load(folder)[1].errors)


def test_a_job(folder):
    (folder / "chart.csv").write_text(CHART)
    (folder / "mounts.csv").write_text(MOUNTS)
    job = good(folder)
    assert (job.title, job.units, job.stages) == ("a saloon", "mm", ["before", "after"])
    assert job.limits == {
        "offset": 2.5, "angle": 0.2, "chart": 3.0, "movement": 3.0, "pair.front.offset": pytest.approx(2.54)
    }  # fmt: skip
    assert (job.sd.tape, job.sd.plumb, job.sd.tape_class, job.sd.build, job.sd.level) == (
        0.4,
        0,
        "none",
        1.0,
        0.5,
    )
    assert job.tapes["steel"].zero == 0.3 and job.tapes["steel"].standard_pull == 50.0
    assert job.stage_info["before"].date == "2026-05-16" and job.stage_info["before"].temperature == 18.5
    assert job.axles["rear"].phase == 30.0 and job.axles["rear"].arm is None
    assert (job.mounts["box"].from_, job.mounts["box"].ahead, job.mounts["box"].up) == ("front", 304.8, 0.0)
    assert [(key, left.name, right.name) for key, left, right in job.pairs()] == [
        ("front", "frontL", "frontR"), ("mid", "one", "two"), ("tail", "tailL", "tailR"),
    ]  # fmt: skip
    hub, one = job.point("hubL"), job.point("one")
    assert (hub.kind, hub.group, hub.pair, job.point("drain").side) == ("axle", "rear", None, "C")
    assert (one.x, one.y, one.z, one.hole, one.line, one.trusted) == (100.0, 200.0, -30.0, 12.0, 4, False)
    assert (job.chart[0].start, job.chart[0].length, job.chart[0].tolerance) == ("frontL", 800.0, 1.0)
    assert [(hole.hole, hole.diameter, hole.bolt) for hole in job.mount_holes] == [
        ("a", 12, 10),
        ("b", 12, None),
    ]
    with pytest.raises(KeyError):
        job.point("nowhere")


def test_the_smallest_job_and_its_defaults(folder):
    write(folder, 'stages = ["before"]\n', "name\na\n")
    job, findings = load(folder)
    assert job is not None and job.units == "mm" and job.sd.tape_class == "II" and job.title == folder.name
    assert [note.found for note in findings] == ["no units"] and not findings.errors


def test_an_inch_job_says_that_bare_lengths_are_inches(folder):
    write(
        folder,
        'units = "in"\nstages = ["before"]\n[sd]\ntape = 0.02\n[limits]\noffset = 0.125\nangle = 0.3\n',
    )
    job, findings = load(folder)
    assert job.sd.tape == pytest.approx(0.508) and job.limits["offset"] == 3.175 and job.limits["angle"] == 0.3
    assert job.sd.plumb == 1.0 and job.point("one").x == 2540.0
    told = findings.numbered()
    assert "[sd]: tape;" in told and "[limits]: offset;" in told and not findings.errors


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('units = "mm"', "units = mm", 3, "this is no TOML"),
        ('units = "mm"', 'units = "furlong"', 3, 'write "mm" or "in"'),
        ("[sd]", "[sd", 10, "this is no TOML"),
        ("[sd]", "[ds]", 10, 'did you mean "sd"'),
        ("offset = 2.5", "ofset = 2.5", 7, 'did you mean "offset"'),
        ("offset = 2.5", "offset = 0", 7, "greater than zero"),
        ("offset = 2.5", "offset = nan", 7, "finite"),
        ("offset = 2.5", 'offset = "wide"', 7, "write a length"),
        ("pair.front.offset", "pair.fromt.offset", 8, 'did you mean "pair.front.offset"'),
        ("tape = 0.4", "tpae = 0.4", 11, 'did you mean "tape"'),
        ("tape = 0.4", "tape = -0.4", 11, "at least 0"),
        ("tape = 0.4", "tape = inf", 11, "finite"),
        ("tape = 0.4", "tape = 1e300", 11, "finite"),
        ("tape = 0.4", "tape = true", 11, "write a number"),
        ('tape_class = "none"', 'tape_class = "IV"', 13, '"I", "II", "III" or "none"'),
        ("[tape.steel]\n", "[tape]\n", 16, "[tape.NAME]"),
        ("zero = 0.3", "scale = 3", 16, "at most 0.1"),
        ("[stage.before]", "[stage.befor]", 18, 'did you mean "before"'),
        ("temperature = 18.5", "temperature = 'warm'", 21, "write a number"),
        ('from = "front"', 'from = "fornt"', 27, 'did you mean "front"'),
        ("ahead", "behind", 28, "no such key"),
        ('"before", "after"', '"before", "../after"', 4, "name of a folder"),
        ('"before", "after"', '"before", "before"', 4, "listed once"),
        ('["before", "after"]', "[]", 4, "list the folders"),
        ('["before", "after"]', "3", 4, "write a list"),
        ('title = "a saloon"', "title = 5", 2, "text in quotes"),
        ("offset = 2.5", "offset = " + "9" * 5000, 1, "no TOML"),
        ("offset = 2.5", "offset = " + "9" * 400, 7, "finite"),
        ("[limits]", "[limits." + "a." * 200 + "a]", None, "plain settings"),
    ],
)
def test_settings_that_cannot_be_used(folder, old, new, line, says):
    assert old in TOML
    write(folder, TOML.replace(old, new))
    _, findings = load(folder)
    told = [error for error in findings.errors if says in error.would_do]
    assert told, findings.numbered()
    assert told[0].file == "job.toml" and (line in {None, 1} or told[0].line == line), told[0].text()


def test_all_errors_at_once(folder):
    write(folder, TOML.replace("tape = 0.4", "tpae = 1").replace("offset = 2.5", "ofset = 2"), POINTS + "x,Q\n")
    told = errors(folder)
    assert all(part in told for part in ("sd.tpae", "limits.ofset", "points.csv line 11, column side"))


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("frontL,L,,", "name", "taken in line 2"),
        ("other,L,front,", "side", 'the pair "front" has the L point frontL already (line 2)'),
        ("x,left,,", "side", "write L, R or C"),
        ("x#2,L,,", "name", "second drop"),
        ("   ,L,,", "name", "must be filled in"),
        ("a\tb,L,,", "name", "a name has letters"),
        ("x,L,,axel:rear", "part", 'did you mean "axle"'),
        ("x,L,,axle", "part", "say which axle"),
        ("x,L,,axle:", "part", "say which axle"),
        ("x,C,,face:rear", "part", "fill in its side"),
        ("x,C,front,", "pair", "joins two sides"),
        ("x,L,,axle:rear", "part", "needs one L and one R"),
        ("x,C,,axle:front", "part", "needs one L and one R"),
        ("x,,,,maybe", "trusted", "yes or no"),
        ("x,,,,,1e300", "x", "write the number out"),
        ("x,,,,,,,,-1", "hole", "greater than zero"),
    ],
)
def test_points_that_cannot_be_used(folder, row, column, says):
    write(folder, points=f"{POINTS}{row}\n")
    (error,) = load(folder)[1].errors
    assert (error.file, error.line, error.column) == ("points.csv", 11, column) and says in error.would_do


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("lone,L,pear,", 'its pair "pear" has no other side'),
        ("lone,L,,", "belongs to no pair"),
        ("f1,L,,face:rear", "needs 3 points"),
        ("xR,L,odd,rail\nxx,R,odd,rail", "ends in R"),
        ("endL,,,\nendR,,,", "nor has endR"),
        ("x,L,front,mount:box", "form no pair of the body"),
    ],
)
def test_odd_points_are_noted(folder, row, says):
    write(folder, points=f"{POINTS}{row}\n")
    _, findings = load(folder)
    assert not findings.errors and any(says in note.would_do for note in findings), findings.numbered()


def test_a_point_with_a_bad_cell_is_still_known(folder):
    write(folder, points=POINTS.replace("hubL,L", "hubL,Q"))
    job, findings = load(folder)
    assert len(findings.errors) == 1 and job.point("hubL").part == "axle:rear"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("frontL,frontQ,5,", 'did you mean "front'),
        ("frontL,frontL,5,", "two different points"),
        ("frontR,frontL,5,", "stands in line 2"),
        ("frontL,tailR,-5,", "greater than zero"),
    ],
)
def test_chart_lengths_that_cannot_be_used(folder, row, says):
    (folder / "chart.csv").write_text(f"{CHART}{row}\n")
    told = errors(folder)
    assert "chart.csv line 3" in told and says in told


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("box,a,1,1,,12,10", "line 2 already"),
        ("box,c,1,1,,10,12", "does not go"),
        ("box,c,1,1,,0,", "than zero"),
    ],
)
def test_holes_that_cannot_be_drilled(folder, row, says):
    (folder / "mounts.csv").write_text(f"{MOUNTS}{row}\n")
    told = errors(folder)
    assert "mounts.csv line 4" in told and says in told


def test_limits_for_single_checks(folder):
    named = '"cross.front.tail" = 4\n"chart.frontL.x" = 2\n"axle.rear.thrust" = 0.1\n"rail.L.bow" = 2\n'
    write(folder, TOML.replace("offset = 2.5\n", f"offset = 2.5\n{named}"))
    assert good(folder).limits["axle.rear.thrust"] == 0.1


def test_jobs_that_are_none(tmp_path):
    def told(path):
        job, findings = load(path)
        assert job is None and findings.errors
        return findings.numbered()

    assert "no such folder" in told(tmp_path / "nowhere")
    assert "this is no job folder" in told(tmp_path)
    write(tmp_path)
    assert "a file" in told(tmp_path / "job.toml")
    (tmp_path / "points.csv").unlink()
    assert "points.csv: found no such file" in told(tmp_path)
    (tmp_path / "points.csv").mkdir()
    assert "points.csv: found a folder" in errors(tmp_path)
    for content in (b"\xff\xfeu\0n\0", b"title = '\0'", b"\x89PNG\r\n", b"title = '\xfc'"):
        (tmp_path / "job.toml").write_bytes(content)
        assert told(tmp_path).startswith("1. job.toml")
    (tmp_path / "job.toml").unlink()
    (tmp_path / "job.toml").mkdir()
    assert "job.toml: found a folder" in told(tmp_path)


def test_stages(folder):
    job = good(folder)

    def choose(stage, *with_readings):
        findings = Findings()
        return choose_stage(job, stage, findings, lambda name: name in with_readings), findings.numbered()

    assert choose(None, "before") == ("before", "")
    assert choose(None) == ("before", "")
    assert choose("before") == ("before", "")
    assert choose("after")[0] is None and "after: found no such folder" in choose("after")[1]
    assert choose("befor")[0] is None and 'did you mean "before"' in choose("befor")[1]
    (folder / "after").mkdir()
    assert choose(None, "after")[0] == "after" and "note:" in choose(None, "after")[1]
    assert choose(None, "before", "after")[0] == "before" and "--stage" in choose(None, "before", "after")[1]
    for name in ("before", "after"):
        (folder / name).rmdir()
    assert choose(None)[0] is None and "no such folder" in choose(None)[1]
    (folder / "before").write_text("")
    assert choose("before")[0] is None and "before: found a file" in choose("before")[1]


def test_the_fingerprint_covers_every_file_read_and_no_other(folder):
    (folder / "before" / "tape.csv").write_bytes(b"from,to\n")
    (folder / "notes.txt").write_text("not read")
    expected = hashlib.sha256()
    for name in ("before/tape.csv", "job.toml", "points.csv"):
        expected.update(name.encode() + (folder / name).read_bytes())
    assert inputs_sha256(folder, "before") == expected.hexdigest()
    assert inputs_sha256(folder, "before", tables=()) != expected.hexdigest()


def test_the_fingerprint_takes_names_as_they_are(folder):
    """In UTF-8, or as the bytes that they are."""
    (folder / "before" / "photos").mkdir()
    for name in ("IMG_\udcff.jpg", "ü.jpg"):
        (folder / "before" / "photos" / name).write_bytes(b"p")
    expected = hashlib.sha256()
    for name in (b"before/photos/IMG_\xff.jpg", b"before/photos/\xc3\xbc.jpg", b"job.toml", b"points.csv"):
        expected.update(name + (folder / os.fsdecode(name)).read_bytes())
    assert inputs_sha256(folder, "before") == expected.hexdigest()


def test_settings_are_changed_in_place(folder):
    update_job_toml(folder, ("tape", "steel"), {"zero": "0.45 mm", "scale": 0.0002, "sd": 3e-5})
    update_job_toml(folder, ("tape", "long one"), {"zero": "-1 mm"})
    text = (folder / "job.toml").read_text()
    assert text.startswith(TOML.split("[tape.steel]")[0]) and 'zero = "0.45 mm"  # worn hook' in text
    tapes = good(folder).tapes
    assert (tapes["steel"].zero, tapes["steel"].scale, tapes["steel"].sd) == (0.45, 0.0002, 3e-5)
    assert tapes["long one"].zero == -1.0
    update_job_toml(folder, ("tape", "steel"), {"scale": None, "sd": None})
    assert good(folder).tapes["steel"].scale == 0.0
    assert sorted(path.name for path in folder.iterdir()) == ["before", "job.toml", "points.csv"]


def test_a_first_tape_and_other_line_ends(folder):
    (folder / "job.toml").write_bytes(b'\xef\xbb\xbfunits = "mm" # mine\r\nstages = ["before"]\r\n')
    update_job_toml(folder, ("tape", "a"), {"zero": "1 mm"})
    data = (folder / "job.toml").read_bytes()
    assert b"# mine\r\n" in data and tomllib.loads(data.decode())["tape"] == {"a": {"zero": "1 mm"}}


@pytest.mark.parametrize("toml", ["[tape\n", "tape = 3\n", "tape = [1]\n"])
def test_settings_that_cannot_be_changed_stay_as_they_are(folder, toml):
    (folder / "job.toml").write_text(toml)
    with pytest.raises(BadInput):
        update_job_toml(folder, ("tape", "a"), {"zero": 1.0})
    assert (folder / "job.toml").read_text() == toml


def test_what_is_no_number_is_never_kept(folder):
    with pytest.raises(ValueError, match="scale = nan"):
        update_job_toml(folder, ("tape", "a"), {"scale": float("nan")})
    assert (folder / "job.toml").read_text() == TOML


def test_loading_a_job_needs_no_slow_library():
    slow = {"numpy", "scipy", "openpyxl", "tomlkit", "pandas", "matplotlib", "rich"}
    program = f"import sys, measure.job; print(sorted({slow!r} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


FUZZ = settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@FUZZ
@given(data=st.data())
def test_mutated_jobs_give_findings_and_nothing_else(folder, data):
    for name, content in (("job.toml", TOML), ("points.csv", POINTS)):
        changed = bytearray(content.encode())
        for _ in range(data.draw(st.integers(0, 3))):
            at = data.draw(st.integers(0, len(changed)))
            new = st.binary(max_size=8) | st.sampled_from([b"[", b"=", b"1e999", b"\0", b"\n", b"nan", b'"'])
            changed[at : at + data.draw(st.integers(0, 20))] = data.draw(new)
        (folder / name).write_bytes(changed)
    job, findings = load(folder)
    assert job is not None or findings.errors
    for finding in findings:
        assert finding.text() and "\n" not in finding.text()
    if job is not None:
        job.pairs()
        choose_stage(job, None, findings, lambda name: True)
