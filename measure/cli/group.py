"""What every command shares: the group, bad input told plainly, folders. Nothing heavy at the top."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from measure import __version__

BAD_INPUT = 2
FOLDER = click.Path(path_type=Path)
JSON = click.option("--json", "as_json_", is_flag=True, help="One JSON document instead of text.")
PAPER = click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
DRAWINGS = (".svg", ".png")


class Unusable(click.ClickException):
    """Input that cannot be used: the reasons on stderr, exit status 2."""

    exit_code = BAD_INPUT

    def show(self, file: Any = None) -> None:
        """Print the findings as they are, without a prefix."""
        click.echo(self.message, file=file or sys.stderr)


def named_well(path: Path | None, endings: tuple[str, ...] = DRAWINGS) -> None:
    """Refuse, before anything is computed, the name of a file to write that has none of `endings`."""
    if path is not None and not path.name.lower().endswith(endings):
        raise Unusable(f'"{path.name}": end the name in {" or ".join(endings)}. Nothing was written.')


def plainly(command: Callable[..., None]) -> Callable[..., None]:
    """Turn bad input into its findings on stderr and exit status 2, never a traceback."""

    @wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> None:
        from measure.findings import BadInput

        try:
            command(*args, **kwargs)
        except BadInput as bad:
            count = len(bad.findings.errors)
            things = "1 thing stands" if count == 1 else f"{count} things stand"
            raise Unusable(f"{things} in the way. Nothing was written.\n{bad}") from None
        except BrokenPipeError:
            raise  # whoever read the output had enough; click ends quietly
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            raise Unusable(f"{where}{error.strerror or error}. Nothing was written.") from None

    return wrapped


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="plumbsquare %(version)s")
def main() -> None:
    """Tell whether a car body is square before anyone drills it.

    Start with `plumbsquare new my_car`, measure, fill in the tables, then `plumbsquare check my_car`.
    """
