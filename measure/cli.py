"""The commands. No arithmetic here, and nothing heavy at the top: `--help` must feel instant."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from measure import __version__

BAD_INPUT = 2
# A car is too small to share between cores: waiting for each other costs more than the sums, and one core adds up in
# the same order every time. Must be set before numpy loads; whoever sets it otherwise is heeded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
FOLDER = click.Path(path_type=Path)


class _Missing(click.ClickException):
    """Input that cannot be used: the reasons on stderr, exit status 2."""

    exit_code = BAD_INPUT

    def show(self, file: Any = None) -> None:
        """Print the findings as they are, without a prefix."""
        click.echo(self.message, file=file or sys.stderr)


def _plainly(command: Callable[..., None]) -> Callable[..., None]:
    """Turn bad input into its findings on stderr and exit status 2, never a traceback."""

    @wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> None:
        from measure.findings import BadInput

        try:
            command(*args, **kwargs)
        except BadInput as bad:
            count = len(bad.findings.errors)
            things = "1 thing stands" if count == 1 else f"{count} things stand"
            raise _Missing(f"{things} in the way. Nothing was written.\n{bad}") from None
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            raise _Missing(f"{where}{error.strerror or error}. Nothing was written.") from None

    return wrapped


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="plumbsquare %(version)s")
def main() -> None:
    """Tell whether a car body is square before anyone drills it.

    Start with `plumbsquare new my_car`, measure, fill in the tables, then `plumbsquare check my_car`.
    """


@main.command()
@click.argument("folder", type=FOLDER)
@click.option(
    "--units", type=click.Choice(["mm", "in"]), default="mm", show_default=True, help="What bare numbers mean."
)
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@_plainly
def new(folder: Path, units: str, paper: str) -> None:
    """Write a new job: tables with remarks, and a recording sheet to print."""
    from measure.template import new_job

    for path in new_job(folder, units, paper):  # type: ignore[arg-type]
        click.echo(f"wrote {path}")
    click.echo("Next: change points.csv to suit the car, then run `plumbsquare sheet` for paper that matches.")


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage whose tapes to list; the first where left out.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@click.option("--out", type=click.Path(path_type=Path), help="PDF to write; JOB/recording_sheet.pdf where left out.")
@_plainly
def sheet(job: Path, stage: str | None, paper: str, out: Path | None) -> None:
    """Make the recording sheet anew after points.csv was changed, and the tables that hold no figure yet."""
    from measure.template import renew_sheet

    for path in renew_sheet(job, stage, paper, out):  # type: ignore[arg-type]
        click.echo(f"wrote {path}")


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to judge; the first where left out.")
@click.option("--json", "as_json_", is_flag=True, help="One JSON document instead of text.")
@click.option("-v", "--verbose", is_flag=True, help="With the statistics and every reading.")
@_plainly
def check(job: Path, stage: str | None, as_json_: bool, verbose: bool) -> None:
    """Say how the body stands: within, outside or undecided, how sure, and what to measure next.

    Exit status 0: all within; 1: something outside; 2: the input cannot be used; 3: something undecided.
    """
    from measure.check import check as check_job
    from measure.check import exit_status

    doc = check_job(job, stage)
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
@_plainly
def plan(job: Path, stage: str | None, out: tuple[Path, ...]) -> None:
    """Draw the car from above: points, centreline, rails, axle, and how far each may be off."""
    from measure.check import check as check_job
    from measure.report.plan import draw

    doc = check_job(job, stage)
    for path in out or (Path("plan.svg"), Path("plan.png")):
        try:
            draw(doc, path)
        except ValueError as error:
            raise _Missing(str(error)) from None
        click.echo(f"wrote {path}")


@main.command()
@click.argument("job", type=FOLDER)
@click.argument("readings", type=FOLDER)
@click.option("--tape", "name", default="", help="The tape's name, as in the `tape` column of tape.csv.")
@_plainly
def tape(job: Path, readings: Path, name: str) -> None:
    """Check a tape against known lengths and write its zero error and scale to job.toml.

    READINGS is a table (.csv or .xlsx) with the columns known and reading, and if wanted known_sd, sd, note.
    """
    from calib.tape_of_job import check_tape_of_job
    from measure.report.tape import tape_lines

    result, findings = check_tape_of_job(job, readings, name)
    for line in [*tape_lines(result, name), *(f"note: {note.text()}" for note in findings.notes)]:
        click.echo(line)
