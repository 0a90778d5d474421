"""The command that says where to drill."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.cli.group import FOLDER, JSON, PAPER, Unusable, main, named_well, plainly

if TYPE_CHECKING:
    from measure.setup.drill_result import DrillPlan

FILE = click.Path(path_type=Path)


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to drill from; the first where left out.")
@JSON
@click.option("--template", type=FILE, help="PDF to write: the hole patterns in full size, to lay on the panel.")
@PAPER
@click.option("--dxf", type=FILE, help="DXF to write, in mm; its name ends in _mm.dxf.")
@click.option("--out", type=FILE, multiple=True, help="drill.svg or drill.png to draw; may be given twice.")
@plainly
def drill(
    job: Path, stage: str | None, as_json_: bool, template: Path | None, paper: str, dxf: Path | None,
    out: tuple[Path, ...],
) -> None:  # fmt: skip
    """Say where the holes of mounts.csv go, and how to mark each with a tape from two plumb marks.

    Exit status 0: all may be drilled; 1: a mount may not; 2: the input cannot be used; 3: not yet, something undecided.
    """
    for path in out:
        named_well(path)
    named_well(template, (".pdf",))
    named_well(dxf, ("_mm.dxf",))
    from measure.setup.drill import drill as plan_of
    from measure.setup.drill_result import exit_status

    plan = plan_of(job, stage)
    written = _write(plan, template, paper, dxf, out)
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(plan), nl=False)
    else:
        from measure.report.drill import render
        from measure.report.lines import shop_console

        render(plan, shop_console())
    for path in written:
        click.echo(f"wrote {path}", err=as_json_)
    sys.exit(exit_status(plan))


def _write(plan: DrillPlan, template: Path | None, paper: str, dxf: Path | None, out: tuple[Path, ...]) -> list[Path]:
    """The files asked for, the template first: it is the one that may be refused."""
    written = []
    if template is not None:
        from measure.report.drill_template import write_template

        try:
            write_template(plan, template, paper)  # type: ignore[arg-type]
        except ValueError as error:
            raise Unusable(f"{error}. Nothing was written.") from None
        written.append(template)
    if dxf is not None:
        from measure.report.drill_dxf import write_dxf

        write_dxf(plan, dxf)
        written.append(dxf)
    for path in out:
        from measure.report.drill_drawing import draw

        draw(plan, path)
        written.append(path)
    return written
