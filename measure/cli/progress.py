"""How far the pictures are looked through, on a terminal; nothing where the output is piped."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def pictures() -> Iterator[Callable[[int, int], None]]:
    """Yield a function told (pictures done, pictures in all); its bar is drawn on stderr and goes when done."""
    bar = None

    def tell(done: int, of: int) -> None:
        nonlocal bar
        if not sys.stderr.isatty():
            return
        if bar is None:
            from rich.console import Console
            from rich.progress import Progress

            bar = Progress(console=Console(stderr=True), transient=True)
            bar.start()
            bar.add_task("looking through the pictures", total=of)
        bar.update(bar.task_ids[0], completed=done, total=of)

    try:
        yield tell
    finally:
        if bar is not None:
            bar.stop()
