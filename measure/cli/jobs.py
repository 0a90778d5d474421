"""Commands for one job: make it, judge it, draw it, check its tape."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from measure.cli.group import FOLDER, JSON, PAPER, main, named_well, plainly
from measure.cli.progress import pictures


@main.command()
@click.argument("folder", type=FOLDER)
@click.option(
    "--units", type=click.Choice(["mm", "in"]), default="mm", show_default=True, help="What bare numbers mean."
)
@PAPER
@plainly
def new(folder: Path, units: str, paper: str) -> None:
    """Write a new job: tables with remarks, and a recording sheet to print."""
    from measure.template import new_job

    for path in new_job(folder, units, paper):  # type: ignore[arg-type]
        click.echo(f"wrote {path}")
    click.echo("Next: change points.csv to suit the car, then run `plumbsquare sheet` for paper that matches.")


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage whose tapes to list; the first where left out.")
@PAPER
@click.option("--out", type=click.Path(path_type=Path), help="PDF to write; JOB/recording_sheet.pdf where left out.")
@plainly
def sheet(job: Path, stage: str | None, paper: str, out: Path | None) -> None:
    """Make the recording sheet anew after points.csv was changed, and the tables that hold no figure yet."""
    from measure.template import renew_sheet

    for path in renew_sheet(job, stage, paper, out):  # type: ignore[arg-type]
        click.echo(f"wrote {path}")


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to judge; the first where left out.")
@JSON
@click.option("-v", "--verbose", is_flag=True, help="With the statistics and every reading.")
@plainly
def check(job: Path, stage: str | None, as_json_: bool, verbose: bool) -> None:
    """Say how the body stands: within, outside or undecided, how sure, and what to measure next.

    Exit status 0: all within; 1: something outside; 2: the input cannot be used; 3: something undecided.
    """
    from measure.check import check as check_job
    from measure.check import exit_status

    with pictures() as progress:
        doc = check_job(job, stage, progress)
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(doc), nl=False)
    else:
        from measure.report.lines import shop_console
        from measure.report.text import render

        render(doc, verbose, shop_console())
    sys.exit(exit_status(doc))


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to draw; the first where left out.")
@click.option("--out", type=click.Path(path_type=Path), multiple=True, help="plan.svg or plan.png; may be given twice.")
@plainly
def plan(job: Path, stage: str | None, out: tuple[Path, ...]) -> None:
    """Draw the car from above: points, centreline, rails, axle, and how far each may be off."""
    for path in out:
        named_well(path)
    from measure.check import check as check_job
    from measure.report.plan import draw

    with pictures() as progress:
        doc = check_job(job, stage, progress)
    for path in out or (Path("plan.svg"), Path("plan.png")):
        draw(doc, path)
        click.echo(f"wrote {path}")


@main.command()
@click.argument("job", type=FOLDER)
@click.argument("readings", type=FOLDER)
@click.option("--tape", "name", default="", help="The tape's name, as in the `tape` column of tape.csv.")
@plainly
def tape(job: Path, readings: Path, name: str) -> None:
    """Check a tape against known lengths and write its zero error and scale to job.toml.

    READINGS is a table (.csv or .xlsx) with the columns known and reading, and if wanted known_sd, sd, note.
    """
    from calib.tape_of_job import check_tape_of_job
    from measure.report.tape import tape_lines

    result, findings = check_tape_of_job(job, readings, name)
    for line in [*tape_lines(result, name), *(f"note: {note.text()}" for note in findings.notes)]:
        click.echo(line)
