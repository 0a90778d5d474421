"""The command that calibrates a camera."""

from __future__ import annotations

import re
from pathlib import Path

import click

from measure.cli.group import FOLDER, Unusable, main, named_well, plainly
from measure.cli.progress import pictures as looked_through


@main.command()
@click.argument("photos", type=FOLDER, nargs=-1, required=True)
@click.option("--chessboard", metavar="9x6", help="A plain chessboard with so many inner corners, not the coded board.")
@click.option("--out", type=click.Path(path_type=Path), default=Path("camera.toml"), show_default=True)
@click.option("--coverage", type=click.Path(path_type=Path), help="PNG that shows where in the frame the board was.")
@plainly
def camera(photos: tuple[Path, ...], chessboard: str | None, out: Path, coverage: Path | None) -> None:
    """Calibrate a camera from PHOTOS (files or folders) of the printed board, and write camera.toml.

    12 to 20 pictures: the board large and in every corner of the frame, tilted 20 to 45 degrees in all directions, a
    third of them with the camera turned. Same lens, no zoom, focus as at the car.
    """
    named_well(coverage, (".png",))
    for path in filter(None, (out, coverage)):
        if not path.absolute().parent.is_dir():
            raise Unusable(f"{path}: there is no such folder to write to; make it first. Nothing was written.")
    from calib.board import CODED, Chessboard
    from calib.camera_file import as_toml
    from calib.camera_pictures import calibrate_pictures
    from measure.atomic import write_atomically
    from measure.report.camera import camera_lines

    board: Chessboard | None = None
    if chessboard is not None:
        match = re.fullmatch(r"(\d{1,3})\s*[x×]\s*(\d{1,3})", chessboard.strip().lower())
        if match is None or min(int(match[1]), int(match[2])) < 3:
            raise Unusable(
                f'--chessboard: found "{chessboard}"; count inner corners, such as 9x6. Nothing was written.'
            )
        board = Chessboard(int(match[1]), int(match[2]))
    with looked_through() as progress:
        found = calibrate_pictures(_pictures(photos), board or CODED, progress)
    write_atomically(out, as_toml(found.camera))
    for line in [*camera_lines(found.camera, found.weak), *(f"note: {note.text()}" for note in found.findings.notes)]:
        click.echo(line)
    click.echo(f"wrote {out}")
    if coverage is not None:
        from measure.report.coverage import draw_coverage

        draw_coverage(coverage, found.camera, found.pixels)
        click.echo(f"wrote {coverage}")


def _pictures(photos: tuple[Path, ...]) -> list[Path]:
    """The files named, and all files of the folders named, in the order of their names."""
    paths: list[Path] = []
    for each in photos:
        paths.extend(sorted(p for p in each.iterdir() if p.is_file()) if each.is_dir() else [each])
    return paths
