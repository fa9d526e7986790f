"""A table's rows of trimmed cells, one after the other, be it from a CSV file or a workbook's sheet.

A file is never held whole. One that was saved in another way than agreed is refused once, saying how to save it.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple

from service.plant_folder.layout import TableLayout
from service.plant_folder.refusals import FileRefused

Row = tuple[int, list[str], Mapping[int, str]]
"""The row's number, its cells, and by column's index why a cell of a workbook has no text.

The header is 1 where nothing stands above it.
"""

_ROWS_AT_ONCE = 40
_ROWS_IN_BLOCK = 2000
_CHARACTERS_IN_BLOCK = 2_000_000

ALL_READABLE: Mapping[int, str] = {}


class Marks(NamedTuple):
    """The signs that a folder's files use."""

    separator: str = ","
    decimal: str = "."


@dataclass(slots=True)
class Consumed:
    """How much of a sheet was taken so far."""

    characters: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table's header and its rows without the blank ones; taking a row may raise FileRefused or OSError.

    `separator` is None where cells are not separated by a sign; `expected_rows` is what progress is told of.
    """

    header: Row
    rows: Iterator[Row]
    separator: str | None
    expected_rows: int
    consumed: Consumed

    def blocks(self) -> Iterator[list[Row]]:
        """The rows, some thousand at a time and fewer where they are long; where it breaks off, first what came."""
        block: list[Row] = []
        began = self.consumed.characters
        try:
            while True:
                before = len(block)
                block.extend(islice(self.rows, _ROWS_AT_ONCE))
                is_last = len(block) < before + _ROWS_AT_ONCE
                is_full = len(block) >= _ROWS_IN_BLOCK or self.consumed.characters - began > _CHARACTERS_IN_BLOCK
                if block and (is_last or is_full):
                    yield block
                    block, began = [], self.consumed.characters
                if is_last:
                    return
        except (FileRefused, OSError):
            if block:
                yield block
            raise


@dataclass(frozen=True, slots=True)
class TableFile:
    """One table's file or sheet. `open` may be called again; it raises FileRefused or OSError."""

    name: str
    open: Callable[[TableLayout, Marks], AbstractContextManager[Sheet]]
