"""What `plumbsquare new FOLDER` writes: a job to fill in, and the paper to take under the car.

The layout is invented: seven pairs and the ends of a rear axle, to be renamed to suit the car at hand.
Remarks in the tables hold no comma, semicolon, tab or quote, so that a spreadsheet keeps each in one cell.
"""

import contextlib
from collections.abc import Sequence
from pathlib import Path

import tomlkit

from measure.atomic import write_atomically
from measure.findings import BadInput, Findings
from measure.job import load_job
from measure.job.points import Point
from measure.paper import Paper
from measure.readings import KINDS
from measure.report.sheet import sheet_bytes
from measure.report.words import printable
from measure.tables import Column, read_table
from measure.tape_plan import groups, levels_to_read, tapes_to_run
from measure.units import Unit

STAGE = "before"
SHEET = "recording_sheet.pdf"

# key, part, where it is; front to back
LAYOUT = (
    ("horn", "rail", "front end of the frame rail"),
    ("cradle", "reference", "front bolt hole of the front crossmember"),
    ("dash", "rail", "hole in the rail under the bulkhead"),
    ("mid", "rail", "hole in the rail under the seat"),
    ("arm", "reference", "front mount of the rear arm"),
    ("kick", "rail", "where the rail climbs over the axle"),
    ("axle", "axle:rear", "end of the rear axle"),
    ("tail", "rail", "rear end of the frame rail"),
)


def new_job(folder: Path, units: Unit = "mm", paper: Paper = "A4") -> list[Path]:
    """Write a new job into `folder`, made where it is missing; the files written, in order.

    Nothing is ever overwritten: BadInput where any of the files is there already, or where the folder cannot
    be written to. What was begun is taken away again.
    """
    contents = job_files(printable(folder.resolve().name) or "car", units, paper)
    _refuse_what_is_there(folder, list(contents))
    made: list[Path] = []
    try:
        for name, data in contents.items():
            path = folder / name
            for parent in (
                *reversed(path.parent.relative_to(folder).parents),
                path.parent.relative_to(folder),
            ):
                _make_folder(folder / parent, made)
            with path.open("xb") as file:
                made.append(path)
                file.write(data)
    except OSError as error:
        for path in reversed(made):
            with contextlib.suppress(OSError):
                path.rmdir() if path.is_dir() else path.unlink()
        where = Path(error.filename).name if error.filename else folder.name
        _refuse(where, error.strerror or "it cannot be written", "name a folder that you may write to")
    return [path for path in made if not path.is_dir()]


def _make_folder(path: Path, made: list[Path]) -> None:
    if not path.is_dir():
        path.mkdir(parents=True)
        made.append(path)


def _refuse_what_is_there(folder: Path, names: list[str]) -> None:
    findings = Findings()
    if folder.exists() and not folder.is_dir():
        _refuse(folder.name, "a file of this name", "name a new folder")
    for name in names:
        if (folder / name).exists():
            findings.error(name, None, None, "a file of this name", "name a new folder: nothing is overwritten")
    findings.raise_if_errors()


def _refuse(file: str, found: str, would_do: str) -> None:
    findings = Findings()
    findings.error(file, None, None, found, would_do)
    findings.raise_if_errors()


def default_points() -> list[Point]:
    """The points of the invented layout, as points.csv will give them."""
    return [
        Point(key + side, side, None if ":" in part else key, part, note=where)
        for key, part, where in LAYOUT
        for side in ("L", "R")
    ]


def job_files(title: str, units: Unit = "mm", paper: Paper = "A4") -> dict[str, bytes]:
    """The files of a new job by their names inside its folder."""
    points = default_points()
    listed = [f"{p.name},{p.side},{p.pair or ''},{p.part},,,,,,{p.note}" for p in points]
    files = {
        "job.toml": JOB.format(title=tomlkit.item(title).as_string(), units=units, stage=STAGE).encode(),
        "points.csv": _table("points", listed, units),
    }
    files |= {f"{STAGE}/{name}": data for name, data in stage_tables(points, units).items()}
    files[SHEET] = sheet_bytes(title, STAGE, points, units, paper)
    return files


def stage_tables(points: Sequence[Point], units: Unit) -> dict[str, bytes]:
    """All tables of a new stage: those that wait for figures, and the others, empty."""
    others = {f"{stem}.csv": _table(stem, [], units) for stem in ("marks", "xyz", "targets")}
    return blank_tables(points, units) | others


def blank_tables(points: Sequence[Point], units: Unit) -> dict[str, bytes]:
    """The tables of a stage that wait for figures, in the order of the recording sheet."""
    names = [point.name for station in groups(points) for point in station]
    return {
        "tape.csv": _table("tape", [f"{a},{b},,floor,,," for a, b in tapes_to_run(points)], units),
        "levels.csv": _table("levels", [f"{a},{b},,," for a, b in levels_to_read(points)], units),
        "heights.csv": _table("heights", [f"{name},,," for name in names], units),
    }


def renew_sheet(folder: Path, stage: str | None, paper: Paper, out: Path | None) -> list[Path]:
    """Make the recording sheet anew from points.csv, and the blank tables with it; the files written.

    A table that holds a figure is never touched, and then the paper keeps to the order of its tapes. Raises BadInput
    where the job cannot be read.
    """
    findings = Findings()
    job = load_job(folder, findings)
    if job is None:
        raise BadInput(findings)
    chosen = stage or next(iter(job.stages), "")
    if job.stages and chosen not in job.stages:
        findings.error("job.toml", None, "stages", f'no stage "{chosen}"', f"stages listed: {', '.join(job.stages)}")
    findings.raise_if_errors()
    made = []
    for name, data in blank_tables(job.points, job.units).items():
        path = folder / chosen / name
        if _is_blank(path.parent, path.stem):
            path.parent.mkdir(exist_ok=True)
            write_atomically(path, data)
            made.append(path)
    path = out or folder / SHEET
    tapes = _tapes_of(folder / chosen)
    write_atomically(path, sheet_bytes(job.title, chosen, job.points, job.units, paper, tapes))
    return [*made, path]


WAITS_FOR = {"tape": "length", "levels": "rise", "heights": "height"}
"""The column that is filled in at the car."""


def _is_blank(stage: Path, stem: str) -> bool:
    """No such table, or a readable one in which not one figure stands."""
    columns = next(kind.columns for kind in KINDS if kind.table == stem)
    findings = Findings()
    rows = read_table(stage, stem, columns, "mm", findings, fill_in=WAITS_FOR[stem])
    return rows is None or not (rows or findings.errors)


def _tapes_of(stage: Path) -> list[tuple[str, str]] | None:
    """The tapes listed in tape.csv, so that paper and table have one order; None where it lists none."""
    columns = [Column(c.name, "text") for kind in KINDS if kind.table == "tape" for c in kind.columns]
    rows = read_table(stage, "tape", columns, "mm", Findings()) or []
    tapes = [(row.text("from"), row.text("to")) for row in rows]
    return [ends for ends in tapes if all(ends)] or None


def _table(stem: str, lines: Sequence[str], units: Unit) -> bytes:
    head, remarks = TABLES[stem]
    remarked = _remarks(remarks.format(length=EXAMPLES[units], units=units))
    return "\n".join([*remarked, head, *lines, ""]).encode()


def _remarks(text: str) -> list[str]:
    return [f"# {line}" for line in text.strip().split("\n")]


EXAMPLES = {"mm": "1043 or 1043.5 or 104.3 cm", "in": "41 5/16 or 41.3 or 1043 mm"}

JOB = """\
# A job of plumbsquare. A line that starts with # is a remark; take the # away to use a setting.
title = {title}
units = "{units}"            # what a bare number means: "mm" or "in"
stages = ["{stage}"]     # one folder each; when the car is measured again: ["{stage}", "after"]

[stage.{stage}]
# date = 2026-05-16
# by = "who measured"
# supported = "stands: under the rails at the bulkhead and the rear axle"
# ride_height = "145 mm"
# temperature = 18           # of the body, degrees Celsius

[limits]                   # beyond which a figure is outside; these are what is used when left out
# offset = "3 mm"            # a pair or an axle off the centreline
# angle = 0.2                # degrees: axle or rails out of square
# chart = "3 mm"             # a point off its factory position
# movement = "3 mm"          # a point between two stages

[sd]                       # how well you measure (standard deviations); used as they stand when left out
# tape = "0.5 mm"            # one reading of the tape
# tape_class = "II"          # printed on the tape: "I", "II", "III" or "none"
# plumb = "1 mm"             # one drop of the bob
# marks = "1 mm"             # a mark measured off a base line
# heights = "1 mm"
# levels = "1 mm"
# xyz = "0.5 mm"
# bar = "0.1 mm"
# build = "1 mm"             # how far the factory itself scattered a point
# level = 0.5                # degrees that a car which was never levelled may lean
"""

TABLES = {
    "points": (
        "name,side,pair,part,trusted,x,y,z,hole,note",
        """
The points you measure: FRONT FIRST in the order a walk from nose to tail meets them.
Rename them and take out what your car has not. Then: plumbsquare sheet FOLDER makes the paper anew.
name: letters and figures. Left and right of a pair end in L and R.
side: L is the side on your left when you sit in the car. R the other. Blank or C on the middle.
pair: what both sides share. Left out it is the name without its L or R.
part: rail or reference or axle:rear (one point at each end) or face:rear (3 or more on a wheel face).
trusted: yes where you know a pair to be straight. Then the centreline rests on such pairs alone.
x y z: the factory position where you have a body chart. x forward and y to the left and z up.
hole: its diameter where the chart measures to edges.
""",
    ),
    "tape": (
        "from,to,length,where,tape,sd,note",
        """
Tape readings in the order of the recording sheet. Leave a length blank until it is measured.
from and to: the two marks on the floor. A second drop of the bob is NAME#2.
length: as you read it: {length}. A bare number is in {units}.
where: floor between two plumb marks. car from point to point. bar for a bar of known length.
tape: which tape where you use several. sd: only where this one reading is worse or better than the rest.
""",
    ),
    "levels": (
        "from,to,rise,sd,note",
        """
Spirit level or water level. It holds how the car leans: without it the lean is a guess.
rise: how much higher the second point is than the first. Minus where it is lower. Blank until measured.
""",
    ),
    "heights": (
        "point,height,sd,note",
        """
Heights above one level: a laser line or a water level or a floor you know to be flat. Blank until measured.
Either these or levels.csv will do. Both are better.
""",
    ),
    "marks": (
        "point,along,across,sd,note",
        """
Only where you chalk a base line on the floor and measure the plumb marks off it. One mark a row.
along: forward along the line. across: square to it and plus to the left of the way the line runs.
""",
    ),
    "xyz": (
        "setup,point,x,y,z,sd,note",
        """
Only where points were measured in space by an instrument. One point a row.
setup: a name for each place the instrument stood. Each has axes of its own and need not be level.
""",
    ),
    "targets": (
        "target,point,side,standoff,note",
        """
Only where printed targets are photographed. target: the printed number. point: where it sits.
side: of the black square. Left out it is 80 mm.
standoff: from the paper to the point. Minus where the point lies behind it.
""",
    ),
}
