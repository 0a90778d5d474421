"""The command that compares two surveys of one car."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from measure.cli.group import FOLDER, JSON, main, named_well, plainly


@main.command()
@click.argument("job", type=FOLDER, metavar="JOB|FOLDER")
@click.argument("before", metavar="BEFORE|FOLDER")
@click.argument("after", required=False, metavar="[AFTER]")
@JSON
@click.option("-v", "--verbose", is_flag=True, help="With the statistics.")
@click.option(
    "--out", type=click.Path(path_type=Path), multiple=True, help="Drawing, .svg or .png; may be given twice."
)
@plainly
def compare(job: Path, before: str, after: str | None, as_json_: bool, verbose: bool, out: tuple[Path, ...]) -> None:
    """Say what moved between two surveys of one car, which way and how far.

    Two stages of one job (JOB BEFORE AFTER), or two job folders (FOLDER FOLDER) with one stage of readings each.

    Exit status 0: all held; 1: something moved; 2: the input cannot be used; 3: something undecided.
    """
    for path in out:
        named_well(path)
    from measure.compare.document import compare_folders, compare_stages
    from measure.compare.result import exit_status

    found = compare_folders(job, Path(before)) if after is None else compare_stages(job, before, after)
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(found), nl=False)
    else:
        from measure.report.compare import render
        from measure.report.lines import shop_console

        render(found, verbose, shop_console())
    for path in out:
        from measure.report.movements import draw

        draw(found, path)
        click.echo(f"wrote {path}", err=as_json_)
    sys.exit(exit_status(found))
