"""Plain lines and tables on a console: no trailing blanks, no markup, the same when piped into a file."""

from collections.abc import Iterable, Sequence
from typing import IO

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.segment import Segment, Segments
from rich.table import Table
from rich.text import Text

from measure.report.words import printable

WIDTH_WHEN_PIPED = 100
STYLES = {"OUTSIDE": "bold magenta", "UNDECIDED": "bold yellow", "within": "cyan", "OUT": "bold magenta"}
_IN_ASCII = str.maketrans({"±": "+/-", "°": " deg", "–": "-", "—": "-", "²": "2"})


def shop_console(file: IO[str] | None = None) -> Console:
    """A console for the shop's text: as wide as the terminal, 100 columns where there is none."""
    console = Console(file=file, highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console.width = WIDTH_WHEN_PIPED
    return console


class Lines:
    """Writes headings, items and tables to one console.

    Text is taken as it stands: brackets are no markup, control characters become spaces. Where the console's
    encoding has no ± it becomes +/-; what it cannot show at all becomes a question mark.
    """

    def __init__(self, console: Console) -> None:
        self.console = console

    @property
    def width(self) -> int:
        """Columns to write in."""
        return self.console.width

    def blank(self) -> None:
        """An empty line."""
        self._print(Text(""))

    def heading(self, words: str) -> None:
        """An empty line, then a heading."""
        self.blank()
        self._print(self._text(words, "bold"))

    def line(self, words: str, style: str = "", indent: int = 0) -> None:
        """A paragraph, wrapped, its lines indented alike."""
        self._print(Padding(self._text(words, style), (0, 0, 0, indent)))

    def item(self, words: str) -> None:
        """A paragraph with a dash before it and its further lines hanging."""
        self.keyed("  -", words, gap=1)

    def keyed(self, key: str, words: str, width: int = 0, gap: int = 2) -> None:
        """A key, then words that hang beside it; the key takes at least `width` columns."""
        grid = Table.grid(padding=(0, gap, 0, 0), pad_edge=False)
        grid.add_column(no_wrap=True, min_width=width)
        grid.add_column()
        grid.add_row(self._text(key, STYLES.get(key.strip(), "")), self._text(words))
        self._print(grid)

    def table(self, heads: Sequence[str], rows: Iterable[Sequence[str]], wrap: Sequence[str] = ()) -> None:
        """A table without rules. Heads that start with ">" are set to the right; those in `wrap` may wrap."""
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for head in heads:
            table.add_column(head.lstrip(">"), justify="right" if head[0] == ">" else "left", no_wrap=head not in wrap)
        for row in rows:
            table.add_row(*(self._text(cell, STYLES.get(cell, "")) for cell in row))
        self._print(Padding(table, (0, 0, 0, 2)))

    def _text(self, words: str, style: str = "") -> Text:
        kept = "\n".join(printable(part) for part in words.split("\n"))
        encoding = self.console.encoding
        if not encoding.lower().replace("-", "").startswith("utf"):
            kept = kept.translate(_IN_ASCII).encode(encoding, "replace").decode(encoding)
        return Text(kept, style=style)

    def _print(self, what: RenderableType) -> None:
        for segments in self.console.render_lines(what, pad=False):
            while segments and not segments[-1].text.strip():
                segments.pop()
            if segments:
                last = segments[-1]
                segments[-1] = Segment(last.text.rstrip(), last.style, last.control)
            self.console.print(Segments([*segments, Segment("\n")]), end="")
