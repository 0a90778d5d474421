"""The commands that say what kind of damage a car has, and what must come back."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from measure.cli.group import FOLDER, JSON, main, named_well, plainly

STAGE = click.option("--stage", help="The stage to explain; the first where left out.")
OUT = click.option("--out", type=click.Path(path_type=Path), help="Draw it as well: a name ending in .svg or .png.")


@main.command()
@click.argument("job", type=FOLDER)
@STAGE
@JSON
@OUT
@plainly
def pattern(job: Path, stage: str | None, as_json_: bool, out: Path | None) -> None:
    """Say what kind of damage explains the car: which few parts moved, how far, and what would explain it as well.

    Exit status 0: no pattern, or inside the limits; 1: found outside them; 2: the input cannot be used; 3: undecided.
    """
    named_well(out)
    from measure.pattern.find import exit_status, find_pattern
    from measure.survey import survey

    found = find_pattern(survey(job, stage)).pattern
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(found), nl=False)
    else:
        from measure.report.lines import shop_console
        from measure.report.pattern import render_pattern

        render_pattern(found, shop_console())
    if out is not None:
        from measure.report.pattern_plan import draw_pattern

        draw_pattern(found, out)
        click.echo(f"wrote {out}", err=as_json_)
    sys.exit(exit_status(found))


@main.command()
@click.argument("job", type=FOLDER)
@STAGE
@JSON
@OUT
@plainly
def corrections(job: Path, stage: str | None, as_json_: bool, out: Path | None) -> None:
    """Say which points should come which way, by how much, in what order, and what the figures would be afterwards.

    Exit status 0: nothing to correct; 1: something is; 2: the input cannot be used; 3: undecided.
    """
    named_well(out)
    from measure.pattern.correct import exit_status, find_corrections
    from measure.survey import survey

    wanted, found = find_corrections(survey(job, stage))
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(wanted), nl=False)
    else:
        from measure.report.lines import shop_console
        from measure.report.pattern import render_corrections

        render_corrections(wanted, shop_console())
    if out is not None:
        from measure.report.pattern_plan import draw_corrections

        draw_corrections(wanted, found.pattern, out)
        click.echo(f"wrote {out}", err=as_json_)
    sys.exit(exit_status(wanted))
