"""Commands that make something to print: targets, scale bars, calibration boards."""

from __future__ import annotations

from pathlib import Path

import click

from measure.cli.group import PAPER, main, plainly

PRINT_IT = 'Print at 100 % ("actual size"), then check both 100 mm rules against a steel rule.'


@main.command()
@click.option("--numbers", help="Which targets, such as 0-27 or 3,5,8-11; 0-27 where left out, 500-501 for a bar.")
@click.option("--side", type=float, default=80.0, show_default=True, help="Outer edge of the black square, 30-130 mm.")
@PAPER
@click.option("--bar", is_flag=True, help="Pairs of targets for scale bars, with a label for the measured length.")
@click.option("--out", type=click.Path(path_type=Path), help="PDF to write; targets.pdf or scale_bar.pdf if left out.")
@plainly
def targets(numbers: str | None, side: float, paper: str, bar: bool, out: Path | None) -> None:
    """Make a PDF of numbered targets in true scale, to print and glue to the car."""
    from calib.printed_targets import bar_pdf, numbers_from, targets_pdf
    from measure.atomic import write_atomically

    listed = numbers_from(numbers if numbers is not None else "500-501" if bar else "0-27")
    make = bar_pdf if bar else targets_pdf
    path = out or Path("scale_bar.pdf" if bar else "targets.pdf")
    write_atomically(path, make(listed, side, paper))  # type: ignore[arg-type]
    click.echo(f"wrote {path}")
    click.echo(PRINT_IT)


@main.command()
@PAPER
@click.option("--plain", is_flag=True, help="A plain chessboard with 9 x 6 inner corners instead of coded squares.")
@click.option("--out", type=click.Path(path_type=Path), help="PDF to write; board.pdf where left out.")
@plainly
def board(paper: str, plain: bool, out: Path | None) -> None:
    """Make a PDF of the board that a camera is calibrated with."""
    from calib.printed_board import coded_board_pdf, plain_board_pdf
    from measure.atomic import write_atomically

    path = out or Path("board.pdf")
    write_atomically(path, (plain_board_pdf if plain else coded_board_pdf)(paper))  # type: ignore[arg-type]
    click.echo(f"wrote {path}")
    click.echo(PRINT_IT)
