"""Every command as a person runs it: what it prints, what it writes, how it exits."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from measure import __version__
from measure.cli import main
from tests.make_sample_data import SAMPLE_DATA
from tests.odd_jobs import every, job, job_toml, lengths, snapshot, write

EXIT = {"straight_saloon": 0, "pulled_rail": 1, "rushed_job": 3}
DOCUMENT = {  # DESIGN's keys of the result document; more may be added
    "": "job stage units version inputs_sha256 frame plan_only tilt network points readings suspects centreline "
    "checks cautions",
    "tilt": "roll pitch",
    "network": "points readings unknowns defect degrees_of_freedom sigma0 sigma0_low sigma0_high passed",
    "points": "name x y z sd_x sd_y sd_z",
    "readings": "source kind names value adjusted residual sd redundancy w findable",
    "suspects": "source kind w size hint",
    "centreline": "pairs_used pairs_set_aside ambiguous alternatives yaw_sd_deg offset_sd",
    "checks": "name value unit u95 limit verdict side words",
}


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def process(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "measure", *map(str, words)]
    return subprocess.run(command, capture_output=True, cwd=cwd, timeout=60, check=False)


@pytest.fixture
def samples(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SAMPLE_DATA, tmp_path / "sample_data"))


# --- check


@pytest.mark.parametrize(("name", "status"), EXIT.items())
@pytest.mark.parametrize("options", [(), ("-v",), ("--json",)])
def test_check_answers_and_touches_nothing(samples: Path, name: str, status: int, options: tuple[str, ...]) -> None:
    before = snapshot(samples)
    first, again = (run("check", samples / name, *options) for _ in range(2))
    assert first.exit_code == status
    assert first.stderr == ""
    assert first.stdout == again.stdout and first.stdout.endswith("\n")
    assert "\x1b" not in first.stdout
    assert snapshot(samples) == before


def test_the_verdicts_are_told_in_words(samples: Path) -> None:
    straight, pulled, rushed = (" ".join(run("check", samples / name).stdout.split()) for name in EXIT)
    assert "OUT nothing UNDECIDED nothing FINE " in straight
    assert "OUT pair rail4, sideways: rail4 stands 12" in pulled and "drop again before cutting" in pulled.lower()
    assert "OUT nothing UNDECIDED pair" in rushed
    assert "tape.csv line 22" in rushed
    assert "two digits swapped" in rushed
    assert "crossbarR" in rushed
    assert "not levelled" in rushed


def test_verbose_adds_to_the_plain_answer(samples: Path) -> None:
    plain, verbose = (run("check", samples / "pulled_rail", *o).stdout for o in ((), ("-v",)))
    assert len(verbose) > 2 * len(plain)
    assert "sigma0" in verbose


@pytest.mark.parametrize("name", EXIT)
def test_json_has_the_keys_that_others_build_on(samples: Path, name: str) -> None:
    document = json.loads(run("check", samples / name, "--json").stdout, parse_constant=pytest.fail)
    for section, keys in DOCUMENT.items():
        part = document[section] if section else document
        for each in part if isinstance(part, list) else [part]:
            assert set(keys.split()) <= set(each), f"{section}: {set(keys.split()) - set(each)}"
    assert document["version"] == __version__
    assert document["frame"] == "car"
    assert {c["verdict"] for c in document["checks"]} <= {"within", "outside", "undecided", "no limit"}
    assert len({c["name"] for c in document["checks"]}) == len(document["checks"])
    assert len(document["inputs_sha256"]) == 64


def test_text_and_json_say_the_same(samples: Path) -> None:
    verbose = run("check", samples / "pulled_rail", "-v").stdout
    document = json.loads(run("check", samples / "pulled_rail", "--json").stdout)
    outside = [c for c in document["checks"] if c["verdict"] == "outside"]
    assert outside
    for check in outside:
        places = 1 if check["unit"] == "mm" else 2
        assert f"{check['value']:+.{places}f} ± {check['u95']:.{places}f}" in verbose, check["name"]


def test_the_digest_follows_every_table(samples: Path) -> None:
    def digest() -> str:
        return str(json.loads(run("check", samples / "straight_saloon", "--json").stdout)["inputs_sha256"])

    seen = {digest()}
    for name in ("job.toml", "points.csv", "before/tape.csv", "before/heights.csv"):
        path = samples / "straight_saloon" / name
        path.write_bytes(path.read_bytes() + b"\n")
        seen.add(digest())
    (samples / "straight_saloon" / "truth.toml").write_text("# not read\n")
    seen.add(digest())
    assert len(seen) == 5


@pytest.mark.parametrize("name", EXIT)
def test_a_damaged_copy_is_refused(samples: Path, name: str) -> None:
    tape = samples / name / "before" / "tape.csv"
    tape.write_bytes(tape.read_bytes().replace(b"floor", b"flor", 3))
    before = snapshot(samples)
    result = run("check", samples / name, "--json")
    assert result.exit_code == 2 and result.stdout == ""
    for number in (1, 2, 3):
        assert f"{number}. before/tape.csv line " in result.stderr
    assert snapshot(samples) == before


def test_a_misread_tape_leaves_the_verdicts_alone_and_is_named(samples: Path) -> None:
    tape = samples / "straight_saloon" / "before" / "tape.csv"
    rows = tape.read_text().split("\n")
    assert rows[5].startswith("outriggerL,rail1L,412.5")
    rows[5] = rows[5].replace("412.5", "421.5")
    tape.write_text("\n".join(rows))
    result = run("check", samples / "straight_saloon", "--json")
    suspects = json.loads(result.stdout)["suspects"]
    assert suspects[0]["source"] == "tape.csv:6"
    assert suspects[0]["size"] == pytest.approx(9.0, abs=3.0)
    assert "digits swapped" in suspects[0]["hint"]
    assert result.exit_code in (0, 3)


def test_piped_output_is_plain_whatever_the_terminal(samples: Path) -> None:
    for options in ((), ("-v",)):
        done = process("check", samples / "pulled_rail", *options)
        assert done.returncode == 1
        assert done.stdout and b"\x1b" not in done.stdout
        assert done.stderr == b""
        assert done.stdout == process("check", samples / "pulled_rail", *options).stdout


def test_two_processes_write_the_same_json(samples: Path) -> None:
    first, again = (process("check", samples / "rushed_job", "--json") for _ in range(2))
    assert first.returncode == 3
    assert first.stdout == again.stdout
    assert json.loads(first.stdout)["job"]


def test_the_stage_asked_for_is_the_one_judged(samples: Path) -> None:
    folder = samples / "straight_saloon"
    shutil.copytree(folder / "before", folder / "after")
    toml = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(toml.replace('stages = ["before"]', 'stages = ["before", "after"]'))
    first = json.loads(run("check", folder, "--json").stdout)
    assert first["stage"] == "before"
    assert any("2 stages with readings" in note for note in first["notes"])
    assert json.loads(run("check", folder, "--json", "--stage", "after").stdout)["stage"] == "after"
    missing = run("check", folder, "--stage", "later")
    assert missing.exit_code == 2 and "before, after" in missing.stderr


def test_undecided_where_the_readings_cannot_tell(tmp_path: Path) -> None:
    folder = write(tmp_path / "car", job(tape=lengths(every())))
    result = run("check", folder)
    assert result.exit_code == 3
    assert "heights" in result.stdout.lower(), "what to measure next"


def test_help_and_version() -> None:
    shown = run("--help")
    assert shown.exit_code == 0
    for command in ("new", "sheet", "check", "plan", "tape"):
        assert f"\n  {command} " in shown.stdout
        assert run(command, "--help").exit_code == 0
    assert run("--version").stdout == f"plumbsquare {__version__}\n"
    assert run("chekc").exit_code == 2


# --- new, sheet


@pytest.mark.parametrize(("units", "paper"), list(zip(("mm", "in"), ("A4", "Letter"), strict=True)))
def test_new_writes_a_job_that_only_lacks_its_figures(tmp_path: Path, units: str, paper: str) -> None:
    folder = tmp_path / "my car"
    result = run("new", folder, "--units", units, "--paper", paper)
    assert result.exit_code == 0
    written = [line.removeprefix("wrote ") for line in result.stdout.splitlines() if line.startswith("wrote ")]
    assert sorted(written) == sorted(str(p) for p in folder.rglob("*") if p.is_file())
    assert len(PdfReader(folder / "recording_sheet.pdf").pages) >= 1
    asked = run("check", folder)
    assert asked.exit_code == 2
    assert "no readings" in asked.stderr and asked.stderr.startswith("1 thing stands")


def test_new_never_overwrites(tmp_path: Path) -> None:
    assert run("new", tmp_path / "car").exit_code == 0
    before = snapshot(tmp_path)
    again = run("new", tmp_path / "car")
    assert again.exit_code == 2 and "job.toml" in again.stderr
    assert snapshot(tmp_path) == before


def test_from_new_to_a_verdict(tmp_path: Path) -> None:
    folder = tmp_path / "car"
    run("new", folder)
    path = folder / "points.csv"
    listed = [line.split(",") for line in path.read_text().splitlines() if line and not line.startswith("#")][1:]
    places = {cells[0]: (-400.0 * (i // 2), 400.0 * (1 - 2 * (i % 2))) for i, cells in enumerate(listed)}
    tape = folder / "before" / "tape.csv"
    head = next(line for line in tape.read_text().splitlines() if not line.startswith("#"))
    rows = [head]
    for a, b in combinations(places, 2):
        (x, y), (u, v) = places[a], places[b]
        cells = {"from": a, "to": b, "length": f"{((x - u) ** 2 + (y - v) ** 2) ** 0.5:.1f}", "where": "floor"}
        rows.append(",".join(cells.get(column, "") for column in head.split(",")))
    tape.write_text("\n".join(rows) + "\n")
    (folder / "before" / "heights.csv").write_text("point,height\n" + "".join(f"{n},500\n" for n in places))
    result = run("check", folder, "--json")
    assert result.exit_code in (0, 3)
    values = [c["value"] for c in json.loads(result.stdout)["checks"] if c["name"].endswith(".offset")]
    assert len(values) >= 7 and max(map(abs, values)) < 0.2


def test_sheet_follows_the_points(tmp_path: Path) -> None:
    folder = tmp_path / "car"
    run("new", folder)
    path = folder / "points.csv"
    path.write_text(path.read_text().replace("cradle", "firewall"))
    result = run("sheet", folder)
    assert result.exit_code == 0
    assert "firewallL" in (folder / "before" / "tape.csv").read_text()
    assert "firewall" in "".join(page.extract_text() for page in PdfReader(folder / "recording_sheet.pdf").pages)


def test_sheet_keeps_what_was_measured(samples: Path) -> None:
    before = snapshot(samples)
    result = run("sheet", samples / "pulled_rail", "--out", samples / "sheet.pdf")
    assert result.exit_code == 0
    after = snapshot(samples)
    assert set(before) <= set(after)
    assert all(after[name] == digest for name, digest in before.items())
    assert (samples / "sheet.pdf").read_bytes().startswith(b"%PDF")


# --- plan


@pytest.mark.parametrize("name", EXIT)
def test_plan_draws_the_same_twice(samples: Path, name: str) -> None:
    before = snapshot(samples)
    drawn = []
    for folder in (samples.parent / "a", samples.parent / "b"):
        folder.mkdir()
        result = run("plan", samples / name, "--out", folder / "plan.svg", "--out", folder / "plan.png")
        assert result.exit_code == 0
        assert result.stdout.count("wrote ") == 2
        drawn.append([(folder / f"plan.{kind}").read_bytes() for kind in ("svg", "png")])
    assert drawn[0] == drawn[1]
    assert ET.fromstring(drawn[0][0]).tag.endswith("svg")
    assert drawn[0][1].startswith(b"\x89PNG")
    assert snapshot(samples) == before


def test_plan_refuses_another_kind_of_file(samples: Path) -> None:
    result = run("plan", samples / "pulled_rail", "--out", samples / "plan.docx")
    assert result.exit_code == 2
    assert ".svg" in result.stderr and ".png" in result.stderr
    assert not (samples / "plan.docx").exists()


def test_plan_into_a_folder_that_is_not_there(samples: Path) -> None:
    result = run("plan", samples / "pulled_rail", "--out", samples / "nowhere" / "plan.svg")
    assert result.exit_code == 2 and "nowhere" in result.stderr


def test_plan_of_a_job_that_cannot_be_judged(tmp_path: Path) -> None:
    folder = write(tmp_path / "car", job(tape="from,to,length,where\nhornL,hornR,800,floor\n"))
    result = run("plan", folder, "--out", tmp_path / "plan.svg")
    assert result.exit_code == 2 and "too little" in result.stderr
    assert not (tmp_path / "plan.svg").exists()


# --- tape

KNOWN = "known,reading\n" + "".join(f"{k},{k + 2.0}\n" for k in (500, 1000, 1500, 2000, 3000))


def test_tape_is_checked_once_and_used_from_then_on(tmp_path: Path) -> None:
    long = lengths(every(), change=lambda d: d + 2.0)
    folder = write(tmp_path / "car", job(toml=job_toml() + "# keep this remark\n", tape=long))
    (tmp_path / "known.csv").write_text(KNOWN)
    result = run("tape", folder, tmp_path / "known.csv", "--tape", "blue")
    assert result.exit_code == 0
    assert 'tape "blue": reads 2.00 mm long' in result.stdout
    toml = (folder / "job.toml").read_text()
    assert "[tape.blue]" in toml and "# keep this remark" in toml
    document = json.loads(run("check", folder, "--json").stdout)
    assert document["suspects"] == []
    width = next(c for c in document["checks"] if c["name"] == "pair.horn.width")
    assert width["value"] == pytest.approx(800.0, abs=0.5)


def test_a_bad_tape_table_leaves_the_job_alone(tmp_path: Path) -> None:
    folder = write(tmp_path / "car", job(tape=lengths(every())))
    (tmp_path / "known.csv").write_text(KNOWN.replace("1000,", "nan,"))
    before = snapshot(tmp_path)
    result = run("tape", folder, tmp_path / "known.csv", "--tape", "blue")
    assert result.exit_code == 2
    assert "known.csv line 3, column known" in result.stderr
    assert snapshot(tmp_path) == before
