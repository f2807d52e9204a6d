"""Tables as every view shows them: one style, and no figure is ever cut, however narrow the terminal is."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from rich import box
from rich.cells import cell_len
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console, ConsoleOptions, JustifyMethod, RenderResult

_STYLE = box.SIMPLE_HEAD  # a rule below the headings, and nothing else
_GAP = "  "  # between two columns: a blank of padding, and the box's own
_PADDING = (0, 1, 0, 0)


class Column(NamedTuple):
    """A column: its heading and unit, and what to do with it where there is little room.

    heading: may have a line break. spare: 0 for what a row makes no sense without; of the others the one with the
    highest number is left out first. words: it holds words, which may be broken between two lines; at most one
    column of a table does.
    """

    heading: str
    unit: str = ""
    spare: int = 0
    words: bool = False

    @property
    def above(self) -> str:
        """The heading as it stands above its column."""
        return f"{self.heading}\n{self.unit}".rstrip("\n")

    @property
    def beside(self) -> str:
        """The heading as it stands beside a figure, or in a sentence."""
        return f"{self.heading}, {self.unit}".removesuffix(", ").replace("\n", " ")


class FigureTable:
    """A table for rich to print, which fits itself into the width that there is.

    It leaves out the columns that matter least, and says which. Where the rest does not fit either, every row
    becomes a block of lines, one for each column, and nothing is left out. A blank line stands before it.
    """

    def __init__(self, *columns: Column) -> None:
        self._columns = columns
        self._rows: list[tuple[Text, ...]] = []

    def add_row(self, *cells: str) -> None:
        """A row, a cell for each column; an empty cell where it has none."""
        self._rows.append(tuple(Text(cell) for cell in cells))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        shown = list(self._columns)
        spare = sorted((column for column in shown if column.spare), key=lambda column: column.spare)
        while self._least_width(shown) > options.max_width and spare:
            shown.remove(spare.pop())
        yield Text()
        if self._least_width(shown) > options.max_width:
            yield from self._as_blocks()
            return
        yield self._as_table(shown)
        left_out = [column.beside for column in self._columns if column not in shown]
        if left_out:
            yield Text(f"Left out, as the screen is too narrow: {'; '.join(left_out)}.", style="dim")

    def _least_width(self, shown: Sequence[Column]) -> int:
        """Columns of the screen that these columns need with every figure and every word whole."""
        return sum(map(self._least_width_of, shown)) + len(_GAP) * (len(shown) - 1)

    def _least_width_of(self, column: Column) -> int:
        place = self._columns.index(column)
        cells = [column.above, *(row[place].plain for row in self._rows)]
        return max(cell_len(part) for cell in cells for part in (cell.split() if column.words else cell.split("\n")))

    def _as_table(self, shown: Sequence[Column]) -> Table:
        table = Table(box=_STYLE, show_edge=False, pad_edge=False, padding=_PADDING, header_style="bold")
        for column in shown:
            justify: JustifyMethod = "left" if column.words else "right"
            width = self._least_width_of(column)
            table.add_column(column.above, justify=justify, no_wrap=not column.words, min_width=width)
        places = [self._columns.index(column) for column in shown]
        for row in self._rows:
            table.add_row(*(row[place] for place in places))
        return table

    def _as_blocks(self) -> RenderResult:
        for number, row in enumerate(self._rows):
            if number:
                yield Text()
            for column, cell in zip(self._columns, row, strict=True):
                if cell.plain:
                    yield Text.assemble((f"{column.beside}: ", "bold"), cell)
