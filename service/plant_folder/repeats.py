"""Rows of a file that have the same key: a repeat where they say the same, a contradiction where not.

Of each row only three numbers are kept, so that ten million keys fit into memory. Rows that are written alike are
one by their hashes (two of 64 bits); all others with one hash of their keys are read again and compared.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from service.plant_folder.folder import FolderRow
from service.plant_folder.headers import BoundHeader
from service.plant_folder.layout import TableLayout

_Numbers = npt.NDArray[np.int64]


class _KeyPart(NamedTuple):
    field: str
    at: int | None
    required: bool
    empty_means: str


class KeyColumns:
    """A table's key as a file has it."""

    def __init__(self, layout: TableLayout, header: BoundHeader) -> None:
        self._header = header
        self._parts: list[_KeyPart] = []
        for column in layout.key:
            bound = header.named(column.name)
            index = None if bound is None else bound.index
            self._parts.append(_KeyPart(column.field, index, column.required, column.empty_means))
        self._fields = [part.field for part in self._parts]
        certain = [None if part.required or part.at is not None else part.empty_means for part in self._parts]
        self._told = list(zip(self._fields, certain, strict=True))

    @property
    def names(self) -> str:
        indices = {part.at for part in self._parts}
        return ", ".join(bound.header for bound in self._header.columns if bound.index in indices)

    def shown_value(self, cells: list[str]) -> str:
        """The key cells of a row as the file has them."""
        indices = {part.at for part in self._parts}
        given = (cells[bound.index] for bound in self._header.columns if bound.index in indices)
        return ", ".join(cell for cell in given if cell)

    def of(self, row: FolderRow, cells: list[str]) -> tuple[object, ...] | None:
        """The key; None where a part of it is missing or was refused."""
        told = row.values.get
        whole = tuple([told(name, certain) for name, certain in self._told])
        return self._with_empty_parts(row, cells) if None in whole else whole

    def _with_empty_parts(self, row: FolderRow, cells: list[str]) -> tuple[object, ...] | None:
        key: list[object] = []
        values = row.values
        for name, index, required, empty_means in self._parts:
            if name in values:
                key.append(values[name])
            elif required or (index is not None and cells[index]):
                return None
            else:
                key.append(empty_means)
        return tuple(key)

    def difference(self, row: FolderRow, cells: list[str], first: FolderRow, first_cells: list[str]) -> str:
        """The cells in which two rows of one key differ, in words; '' where they say the same."""
        different = [
            f"{bound.header} is '{cells[bound.index]}' here and '{first_cells[bound.index]}' there"
            for bound in self._header.columns
            if self._differs(bound.column.name, bound.field, row, first)
        ]
        different += [
            f"{header} is '{cells[index]}' here and '{first_cells[index]}' there"
            for index, header in self._header.note_headers
            if row.notes.get(header) != first.notes.get(header)
        ]
        return ", ".join(different)

    def _differs(self, name: str, field: str, row: FolderRow, first: FolderRow) -> bool:
        if name == "external_ref":
            return row.external_ref != first.external_ref
        if name == "recorded_at":
            return row.recorded_at != first.recorded_at
        is_date = f"{name}_is_date"
        if row.values.get(is_date) != first.values.get(is_date):
            return True
        return field not in self._fields and row.values.get(field) != first.values.get(field)


class Trace(NamedTuple):
    """What is kept of a row: the hashes of its key and of its cells, and its line."""

    key: int
    cells: int
    line: int


@dataclass(frozen=True, slots=True)
class Traces:
    """The traces of some rows, column by column."""

    keys: list[int] = field(default_factory=list)
    cells: list[int] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)

    def add(self, key: tuple[object, ...], cells: list[str], line: int) -> None:
        self.keys.append(hash(key))
        self.cells.append(hash(tuple(cells)))
        self.lines.append(line)

    def __getitem__(self, index: int) -> Trace:
        return Trace(self.keys[index], self.cells[index], self.lines[index])


@dataclass(frozen=True, slots=True)
class _Run:
    """Traces sorted by the hash of their keys, each key once."""

    keys: _Numbers
    cells: _Numbers
    lines: _Numbers

    @classmethod
    def of(cls, traces: Traces) -> "_Run":
        return cls(*(np.array(told, dtype=np.int64) for told in (traces.keys, traces.cells, traces.lines))).sorted()

    def sorted(self) -> "_Run":
        order = np.argsort(self.keys, kind="stable")
        return _Run(self.keys[order], self.cells[order], self.lines[order])

    def joined(self, other: "_Run") -> "_Run":
        pairs = ((self.keys, other.keys), (self.cells, other.cells), (self.lines, other.lines))
        return _Run(*map(np.concatenate, pairs)).sorted()

    def find(self, keys: _Numbers) -> npt.NDArray[np.intp]:
        """The index of each key here, −1 where it is not."""
        at = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        return np.where(self.keys[at] == keys, at, -1)


class TracesMet:
    """The traces of the rows so far, in sorted runs of growing length, so that none is sorted often."""

    def __init__(self) -> None:
        self._runs: list[_Run] = []

    def meet(self, traces: Traces) -> dict[int, Trace]:
        """By their index, the rows whose key's hash was met before, with the first that had it."""
        earlier = self._among_runs(np.array(traces.keys, dtype=np.int64))
        if earlier or len(set(traces.keys)) < len(traces.keys):
            first_here: dict[int, int] = {}
            for index, key in enumerate(traces.keys):
                if index not in earlier and (first := first_here.setdefault(key, index)) != index:
                    earlier[index] = traces[first]
            fresh = Traces(
                *(list(column) for column in zip(*map(traces.__getitem__, first_here.values()), strict=True))
            )
        else:
            fresh = traces
        if fresh.keys:
            self._add(_Run.of(fresh))
        return earlier

    def _among_runs(self, keys: _Numbers) -> dict[int, Trace]:
        earlier: dict[int, Trace] = {}
        for run in self._runs:
            at = run.find(keys)
            for index in np.flatnonzero(at >= 0).tolist():
                found = at[index]
                earlier[index] = Trace(int(run.keys[found]), int(run.cells[found]), int(run.lines[found]))
        return earlier

    def _add(self, run: _Run) -> None:
        while self._runs and len(self._runs[-1].keys) <= len(run.keys):
            run = self._runs.pop().joined(run)
        self._runs.append(run)
