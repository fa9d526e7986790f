"""A plant folder that was read: canonical rows by table, on disk where they are many."""

import pickle
import tempfile
import weakref
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO, Any

from service.plant_folder.refusals import Remark

_BLOCKS_IN_MEMORY = 10


@dataclass(slots=True)
class FolderRow:
    """One row. `line` is its number in the file, the header being 1.

    `values` holds non-empty cells only, by `Column.field`: text, codes and choices as str, quantities and
    numbers as float in the canonical unit, pieces and money (minor units) as int, word lists as list[str],
    moments as datetime in UTC with `<name>_is_date` beside them. `notes` are the `x_` columns by header.
    """

    line: int
    values: dict[str, object]
    notes: dict[str, str] = field(default_factory=dict)
    external_ref: str | None = None
    recorded_at: datetime | None = None


class FolderRows:
    """A table's rows in their order. Beyond some thousand they lie in a file without a name, which ends with them."""

    def __init__(self, rows: Iterable[FolderRow] = ()) -> None:
        self._last: list[FolderRow] = []
        self._blocks: list[list[FolderRow]] = []
        self._spool: IO[bytes] | None = None
        self._spooled = 0
        for row in rows:
            self.append(row)

    def append(self, row: FolderRow) -> None:
        self._last.append(row)

    def extend(self, rows: Iterable[FolderRow]) -> None:
        self._last.extend(rows)

    def end_block(self) -> None:
        """What was appended since the last block is one: it is read again, and kept, as a whole."""
        if self._last:
            self._put_away(self._last)
            self._last = []

    def __len__(self) -> int:
        return self._spooled + sum(map(len, self._blocks)) + len(self._last)

    def __iter__(self) -> Iterator[FolderRow]:
        for block in self.blocks():
            yield from block

    def __getitem__(self, index: int) -> FolderRow:
        for block in self.blocks():
            if index < len(block):
                return block[index]
            index -= len(block)
        raise IndexError(index)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, FolderRows) and len(self) == len(other) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment] # it grows

    def blocks(self) -> Iterator[list[FolderRow]]:
        """All rows, some thousand at a time, of which only these are in memory."""
        if self._spool is not None:
            self._spool.seek(0)
            while rows := self._next_spooled(self._spool):
                at = self._spool.tell()
                yield rows
                self._spool.seek(at)
        yield from self._blocks
        if self._last:
            yield self._last

    def close(self) -> None:
        """Give the disk back now; without it that happens with the last reference."""
        if self._spool is not None:
            self._spool.close()
        self._spool, self._spooled, self._blocks, self._last = None, 0, [], []

    def _put_away(self, block: list[FolderRow]) -> None:
        if self._spool is None and len(self._blocks) < _BLOCKS_IN_MEMORY:
            self._blocks.append(block)
            return
        if self._spool is None:
            self._spool = tempfile.TemporaryFile(prefix="elementdue-")  # noqa: SIM115 - closed with this object
            weakref.finalize(self, self._spool.close)
        self._spool.seek(0, 2)
        for each in (*self._blocks, block):
            told = [(row.line, row.values, row.notes, row.external_ref, row.recorded_at) for row in each]
            pickle.dump(told, self._spool, pickle.HIGHEST_PROTOCOL)
            self._spooled += len(each)
        self._blocks = []

    @staticmethod
    def _next_spooled(spool: IO[bytes]) -> list[FolderRow]:
        try:
            told: list[tuple[Any, ...]] = pickle.load(spool)  # noqa: S301 - this process wrote it, and it has no name
        except EOFError:
            return []
        return [FolderRow(*each) for each in told]


@dataclass(slots=True)
class Folder:
    """The tables that the folder holds, in the order of `layout.TABLES`, and what is worth a look."""

    tables: dict[str, FolderRows]
    remarks: tuple[Remark, ...] = ()

    def close(self) -> None:
        """Give back the disk that many rows take."""
        for rows in self.tables.values():
            rows.close()
