"""The command that tests photographs against known lengths."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from measure.cli.group import FOLDER, JSON, main, plainly
from measure.cli.progress import pictures


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage whose photographs to test; the first where left out.")
@JSON
@plainly
def acceptance(job: Path, stage: str | None, as_json_: bool) -> None:
    """Test photographs against known lengths in many directions: the first bar of tape.csv gives the scale.

    Exit status 0: passed; 1: failed; 2: the input cannot be used; 3: too few directions to say.
    """
    from measure.acceptance import acceptance as test
    from measure.acceptance import exit_status

    with pictures() as progress:
        result = test(job, stage, progress)
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(result), nl=False)
    else:
        from measure.report.acceptance import render_acceptance
        from measure.report.lines import Lines, shop_console

        render_acceptance(result, Lines(shop_console()))
    sys.exit(exit_status(result))
