"""Commands for the page at the car, and for the history that it keeps."""

from __future__ import annotations

from pathlib import Path

import click

from measure.cli.group import FOLDER, Unusable, main, plainly

PORT = 8177


@main.command()
@click.argument("folder", type=FOLDER)
@click.option("--lan", is_flag=True, help="Let phones in the same network join, by a code shown here.")
@click.option("--host", help="The address of this computer to listen on, where --lan picks the wrong one.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True)
@click.option("--no-browser", is_flag=True, help="Do not open a browser here.")
@plainly
def serve(folder: Path, lan: bool, host: str | None, port: int, no_browser: bool) -> None:
    """Show the page at the car: FOLDER is a job, or a folder of jobs.

    Readings, photographs and results in a browser, against the same files and the same solver as the commands.
    Listens on this computer alone unless --lan is given.
    """
    from measure.web.server import NoAddressError
    from measure.web.server import serve as run

    if not folder.is_dir():
        raise Unusable(f"{folder}: no such folder; name a job, or a folder of jobs")
    try:
        run(folder, lan=lan, host=host, port=port, open_browser=not no_browser, tell=click.echo)
    except NoAddressError as problem:
        raise Unusable(str(problem)) from None


@main.command()
@click.argument("job", type=FOLDER)
@click.option("--undo", type=int, metavar="NUMBER", help="Take back this one change.")
@click.option("--back-to", type=int, metavar="NUMBER", help="Take back every change after this one; 0 for all.")
@plainly
def history(job: Path, undo: int | None, back_to: int | None) -> None:
    """List every change made on the page, and take changes back.

    Taking back is a change as well: it is listed, and can itself be taken back. Files changed by hand are listed too.
    """
    from measure.history import History, HistoryError

    if not (job / "job.toml").is_file():
        raise Unusable(f"{job}: no job.toml in it; name the folder of a job")
    if undo is not None and back_to is not None:
        raise Unusable("take either --undo or --back-to. Nothing was written.")
    kept = History(job)
    try:
        made = [kept.undo(undo)] if undo is not None else kept.back_to(back_to) if back_to is not None else []
    except HistoryError as problem:
        raise Unusable(f"{problem}. Nothing was written.") from None
    for entry in made:
        click.echo(f"{entry.file}: {entry.words}")
    if made or undo is not None or back_to is not None:
        return
    undone = kept.taken_back()
    entries = kept.entries()
    if not entries:
        click.echo("Nothing has been changed on the page yet.")
    for entry in entries:
        mark = "  (taken back)" if entry.number in undone else ""
        click.echo(f"{entry.number:5}  {entry.when}  {entry.file}  {entry.words}{mark}")
