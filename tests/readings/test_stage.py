"""A stage's tables as readings with sources and sd, repeats refused, and heights that hang together."""

from pathlib import Path

import pytest

from measure.job import Sd
from measure.readings.stage import read_stage, site_of, unread
from tests.readings.sites import STAGE, job, read, reading

TABLES = {
    "tape": "from,to,length,where,tape,sd\nfrontL,tailR,2010.5,floor,red,\n"
    "frontL,frontR,100.2 cm,car,,0.2\nmidL,midR,900,bar,,\n",
    "marks": "point,along,across,sd\nfrontL,10,-20,\ntailR#2,0,0,0\n",
    "heights": "point,height,sd\nfrontL,-3,\ntailR,310,2\n",
    "levels": "from,to,rise,sd\nfrontL,frontR,-4.5,\n",
    "xyz": "setup,point,x,y,z,sd\narm,frontL,1,2,3,\narm,tailR,-1,0,5,0.1\n",
}


def test_every_table_is_read_in_order_with_its_sources_and_sd(tmp_path: Path) -> None:
    sd = Sd(tape=0.6, marks=1.1, heights=1.2, levels=1.3, xyz=0.4, bar=0.05)
    readings, findings = read(tmp_path, TABLES, job(folder=tmp_path, sd=sd))
    assert not findings.errors, findings.numbered()
    assert [(r.kind, r.source, r.names, r.values, r.sd, r.via, r.typed) for r in readings] == [
        ("floor", "tape.csv:2", ("frontL", "tailR"), (2010.5,), 0.6, "red", "2010.5"),
        ("car", "tape.csv:3", ("frontL", "frontR"), (1002.0,), 0.2, "", "100.2 cm"),
        ("bar", "tape.csv:4", ("midL", "midR"), (900.0,), 0.05, "", "900"),
        ("marks", "marks.csv:2", ("frontL",), (10.0, -20.0), 1.1, "", "10\t-20"),
        ("marks", "marks.csv:3", ("tailR#2",), (0.0, 0.0), 0.0, "", "0\t0"),
        ("heights", "heights.csv:2", ("frontL",), (-3.0,), 1.2, "", "-3"),
        ("heights", "heights.csv:3", ("tailR",), (310.0,), 2.0, "", "310"),
        ("levels", "levels.csv:2", ("frontL", "frontR"), (-4.5,), 1.3, "", "-4.5"),
        ("xyz", "xyz.csv:2", ("frontL",), (1.0, 2.0, 3.0), 0.4, "arm", "1\t2\t3"),
        ("xyz", "xyz.csv:3", ("tailR",), (-1.0, 0.0, 5.0), 0.1, "arm", "-1\t0\t5"),
    ]


@pytest.mark.parametrize(
    ("name", "text", "line", "first"),
    [
        ("marks", "point,along,across\nfrontL,1,2\ntailL,1,2\nfrontL,1,3\n", 4, "2"),
        ("marks", "point,along,across\nfrontL#2,1,2\nfrontL#2,1,3\n", 3, "2"),
        ("xyz", "setup,point,x,y,z\narm,frontL,1,2,3\nrear,frontL,1,2,3\narm,frontL,1,2,3\n", 4, "2"),
    ],
)
def test_a_place_given_twice_is_refused(tmp_path: Path, name: str, text: str, line: int, first: str) -> None:
    _, findings = read(tmp_path, {name: text}, job(folder=tmp_path))
    (error,) = findings.errors
    assert (error.file, error.line, error.column) == (f"before/{name}.csv", line, "point")
    assert f"line {first}" in error.would_do


def test_a_point_of_a_setup_seen_twice_is_not_told_to_drop_a_bob(tmp_path: Path) -> None:
    text = "setup,point,x,y,z\narm,frontL,1,2,3\narm,frontL,1,2,3\n"
    _, findings = read(tmp_path, {"xyz": text}, job(folder=tmp_path))
    assert "drop" not in findings.errors[0].would_do


def test_lengths_heights_and_levels_may_repeat(tmp_path: Path) -> None:
    tables = {
        "tape": "from,to,length,where\nfrontL,tailR,2000,floor\nfrontL,tailR,2001,floor\ntailR,frontL,2001,floor\n",
        "heights": "point,height\nfrontL,1\nfrontL,2\n",
        "levels": "from,to,rise\nfrontL,tailR,1\nfrontL,tailR,2\n",
    }
    readings, findings = read(tmp_path, tables, job(folder=tmp_path))
    assert len(readings) == 7 and not findings.errors


def test_a_stage_without_tables_has_no_readings(tmp_path: Path) -> None:
    readings, findings = read(tmp_path, {}, job(folder=tmp_path))
    assert readings == [] and not findings.errors
    assert read_stage(job(folder=tmp_path), STAGE, findings) == []


def test_heights_hang_together_through_one_datum_through_levels_and_through_a_setup() -> None:
    def sets(*readings: object) -> dict[str, int]:
        site = site_of(job(), STAGE, list(readings))  # type: ignore[arg-type]
        return dict(zip(site.unknowns.points, site.level_sets.tolist(), strict=True))

    tape = reading("floor", "tailL", "tailR")
    two = sets(tape, reading("levels", "frontL", "frontR"), reading("levels", "midL", "midR"))
    assert two["frontL"] == two["frontR"] != two["midL"] == two["midR"]
    assert two["tailL"] == two["tailR"] == -1
    joined = sets(*(reading("levels", a, b) for a, b in (("frontL", "frontR"), ("midL", "midR"), ("midR", "frontL"))))
    assert len(set(joined.values())) == 1
    one = sets(*(reading("heights", n) for n in ("frontL", "midR")), reading("levels", "midR", "tailL"))
    assert len(set(one.values())) == 1
    arms = sets(
        *(
            reading("xyz", n, values=(0.0, 0.0, 0.0), via=v)
            for n, v in (("frontL", "a"), ("frontR", "a"), ("midL", "b"))
        )
    )
    assert arms["frontL"] == arms["frontR"] != arms["midL"]


def test_points_stand_in_the_order_of_points_csv_whatever_the_readings_say() -> None:
    readings = [reading("floor", "tailR", "midL"), reading("floor", "frontR", "tailR"), reading("heights", "frontL")]
    site = site_of(job(), STAGE, readings)
    assert site.unknowns.points == ("frontR", "midL", "tailR", "frontL")
    assert [p.name for p in unread(job(), readings)] == ["midR", "tailL"]
