"""The command that looks for printed targets in pictures."""

from __future__ import annotations

from pathlib import Path

import click

from measure.cli.group import FOLDER, JSON, Unusable, main, plainly
from measure.cli.progress import pictures as looked_through


@main.command()
@click.argument("photos", type=FOLDER, nargs=-1, required=True, metavar="PHOTO...")
@JSON
@click.option("--draw", type=FOLDER, metavar="FOLDER", help="Draw each picture, its targets outlined and numbered.")
@plainly
def find(photos: tuple[Path, ...], as_json_: bool, draw: Path | None) -> None:
    """Say which printed targets are seen in each PHOTO (files or folders), and where.

    Nothing of a job is needed: take one picture, see whether its targets are found, then walk round the car.

    Exit status 0: looked through; 2: no picture can be used.
    """
    if draw is not None and draw.exists() and not draw.is_dir():
        raise Unusable(f"{draw}: this is a file; name a folder to draw in. Nothing was written.")
    paths = _pictures(photos)
    from measure.photo.find import FoundPicture, find_in
    from measure.report.found import document, found_lines, unusable

    with looked_through() as progress:
        found = find_in(paths, progress=progress)
    if not any(isinstance(each, FoundPicture) for each in found):
        reasons = unusable(paths, found)
        raise Unusable("\n".join(["No picture can be used. Nothing was written.", *reasons]))
    if as_json_:
        from measure.result import as_json

        click.echo(as_json(document(paths, found)), nl=False)
    else:
        from measure.report.lines import shop_console

        found_lines(paths, found, shop_console())
    if draw is not None:
        from measure.report.found_drawing import draw_found

        draw.mkdir(parents=True, exist_ok=True)
        drawn = draw_found(draw, [each for each in found if isinstance(each, FoundPicture)])
        click.echo(f"wrote {len(drawn)} {'picture' if len(drawn) == 1 else 'pictures'} into {draw}", err=as_json_)


def _pictures(photos: tuple[Path, ...]) -> list[Path]:
    """The files named, and the pictures of the folders named, by name; Unusable where a name leads to nothing."""
    from measure.readings.photo_files import ENDINGS

    paths: list[Path] = []
    for each in photos:
        if not each.is_dir():
            if not each.exists():
                raise Unusable(f"{each}: there is no such picture or folder. Nothing was written.")
            paths.append(each)
            continue
        inside = sorted(p for p in each.iterdir() if p.is_file() and not p.name.startswith("."))
        pictures = [p for p in inside if p.suffix.lower() in ENDINGS]
        if not pictures:
            raise Unusable(f"{each}: there is no picture in this folder ({', '.join(ENDINGS)}). Nothing was written.")
        paths += pictures
    return paths
