"""Commands that set a car up: its axles and its driveline."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from measure.cli.group import FOLDER, JSON, main, named_well, plainly
from measure.cli.progress import pictures

OUT = click.Path(path_type=Path)


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to judge; the first where left out.")
@JSON
@click.option("--out", type=OUT, multiple=True, help="Drawing, .svg or .png; may be given twice.")
@plainly
def axle(job: Path, stage: str | None, as_json_: bool, out: tuple[Path, ...]) -> None:
    """Say how far to move each arm and lateral rod, in mm, turns and flats, and what is expected then.

    Exit status 0: nothing to move; 1: something to move; 2: the input cannot be used; 3: something undecided.
    """
    for path in out:
        named_well(path)
    from measure.setup.axle import axle_document
    from measure.setup.axle_result import exit_status

    with pictures() as progress:
        doc = axle_document(job, stage, progress)
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(doc), nl=False)
    else:
        from measure.report.axle import render
        from measure.report.lines import shop_console

        render(doc, shop_console())
    for path in out:
        from measure.report.axle_drawing import draw

        draw(doc, path)
        click.echo(f"wrote {path}", err=as_json_)
    sys.exit(exit_status(doc))


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to judge; the first where left out.")
@JSON
@plainly
def driveline(job: Path, stage: str | None, as_json_: bool) -> None:
    """Say at which angles the propshaft's joints work, and whether they cancel.

    Exit status 0: within the limits; 1: something outside; 2: the input cannot be used; 3: something undecided.
    """
    from measure.setup.driveline import driveline_document
    from measure.setup.driveline_result import exit_status

    with pictures() as progress:
        doc = driveline_document(job, stage, progress)
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(doc), nl=False)
    else:
        from measure.report.driveline import render
        from measure.report.lines import shop_console

        render(doc, shop_console())
    sys.exit(exit_status(doc))
