"""The files that go onto a board, for a person."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from reelwright.views.page import plain_page, terminal_page
from reelwright.views.quantities import UNKNOWN
from reelwright.views.tables import Column, FigureTable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

PIPE_WIDTH = 120  # columns in a pipe, where the hashes have room


def board_files_text(rows: Sequence[Mapping[str, Any]], *, sizes: bool) -> str:
    """A row a file. sizes: with that as bytecode, a dash where it is not known."""
    columns = [Column("File", words=True), Column("Size", "bytes"), Column("SHA-256", spare=1)]
    if sizes:
        columns.insert(2, Column("As bytecode", "bytes"))
    table = FigureTable(*columns)
    for row in rows:
        compiled = [str(row.get("compiled_bytes", UNKNOWN))] * sizes
        table.add_row(row["path"], str(row["bytes"]), *compiled, row["sha256"])
    if sys.stdout.isatty():
        return terminal_page(lambda console: console.print(table))
    return plain_page(lambda console: console.print(table), PIPE_WIDTH)
