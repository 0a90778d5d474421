"""Commands for the sheet that leaves the shop: write it, and hold it against its job later."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from measure.cli.group import FOLDER, PAPER, Unusable, main, plainly


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--stage", help="The stage to report; the first where left out.")
@click.option("--before", help="An earlier stage: what moved since is on the sheet too.")
@PAPER
@click.option(
    "--out", type=click.Path(path_type=Path), help="A folder, or one file ending in .html or .pdf; JOB where left out."
)
@click.option("--csv", is_flag=True, help="Also every table as a CSV file.")
@click.option("--xlsx", is_flag=True, help="Also all tables as one workbook.")
@click.option("--dxf", is_flag=True, help="Also the plan for CAD, true size in mm.")
@click.option("--ply", is_flag=True, help="Also the points in space.")
@plainly
def report(
    job: Path,
    stage: str | None,
    before: str | None,
    paper: str,
    out: Path | None,
    csv: bool,
    xlsx: bool,
    dxf: bool,
    ply: bool,
) -> None:
    """Write the sheet that leaves the shop, HTML and PDF, with a place to sign.

    Exit status 0 where it was written, whatever it says; 2 where the input cannot be used.
    """
    from measure.document import document
    from measure.report.certificate.files import write_report
    from measure.survey import survey

    surveyed = survey(job, stage)
    compared = None
    if before is not None:
        from measure.compare.document import compare_stages

        compared = compare_stages(job, before, surveyed.stage)
    asked = {"csv": csv, "xlsx": xlsx, "dxf": dxf, "ply": ply}
    exports = [name for name, wanted in asked.items() if wanted]
    try:
        doc = document(surveyed)
        written = write_report(doc, surveyed.job, out, paper, exports, compared)  # type: ignore[arg-type]
    except ValueError as error:
        raise Unusable(str(error)) from None
    for path in written:
        click.echo(f"wrote {path}")


@main.command()
@click.argument("report", type=FOLDER)
@click.argument("job", type=FOLDER)
@plainly
def verify(report: Path, job: Path) -> None:
    """Say whether a sheet (HTML or PDF) still agrees with its job: fingerprint, figures, words as printed.

    The drawing is not compared: it is made from the same figures.

    Exit status 0: all agrees; 1: something differs, which is named; 2: no sheet, or the job cannot be used.
    """
    from measure.verify import verify as hold_against

    found = hold_against(report, job)
    for remark in found.remarks:
        click.echo(remark)
    if not found.differences:
        click.echo(
            f"The sheet agrees with {job}, stage {found.stage}: fingerprint {found.fingerprint[:12]}, "
            f"{found.figures} figures computed again."
        )
        return
    click.echo(f"The sheet does NOT agree with {job}, stage {found.stage}:")
    for difference in found.differences:
        click.echo(f"  - {difference}")
    sys.exit(1)
