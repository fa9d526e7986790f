"""Rows of one table of which the right ones are taken though others are refused.

They are read, checked and compared as a folder's are; only a refusal ends one row instead of the whole.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime

from service.plant_folder.folder import FolderRow, FolderRows
from service.plant_folder.headers import bind_header
from service.plant_folder.layout import TableLayout
from service.plant_folder.refusals import RefusedThroughout, RowFindings
from service.plant_folder.register import Register
from service.plant_folder.sheets import Row
from service.plant_folder.table_reading import TableReading

_DECIMAL = "."


class RowByRow(TableReading):
    """The reading of some rows under one header; `findings` hold what became of those that are not given."""

    def __init__(
        self,
        layout: TableLayout,
        header: Row,
        register: Register,
        findings: RowFindings,
        now: datetime,
        separator: str | None,
    ) -> None:
        """Raises FileRefused or FolderRefused where nothing can be read under the header."""
        of_all = findings.in_file(layout.name)
        super().__init__(layout, bind_header(header, layout, _DECIMAL, of_all), register, of_all, now)
        self._separator = separator
        self._gathered = findings
        self._rules = self._rules_that_can_hold(header[0])
        self._recorded_now = now
        self._first_of: dict[object, tuple[FolderRow, list[str]]] = {}
        self.repeated: list[int] = []
        findings.raise_if_refused()

    def blocks(self, blocks: Iterable[list[Row]]) -> Iterator[list[FolderRow]]:
        """The rows that can be taken, each key once, as they are told; of a repeat the number is in `repeated`.

        What says nothing of when it was known is known from now on.
        """
        for block in blocks:
            taken = FolderRows()
            self._take(block, taken)
            yield list(taken)

    def _take(self, block: list[Row], rows: FolderRows) -> None:
        refused = self._gathered.refused_rows
        for line, written, unreadable in block:
            cells = self._fitted_to_header(line, written)
            if cells is None:
                continue
            row = self._reading.read((line, cells, unreadable))
            if self._has_checks:
                self._check_row(row, cells)
            if row.recorded_at is None:
                row.recorded_at = self._recorded_now
            if line not in refused:
                self._take_once(row, cells, rows)

    def _take_once(self, row: FolderRow, cells: list[str], rows: FolderRows) -> None:
        """A key that was refused before is met here for the first time: what is told right is not to be lost."""
        first, first_cells = self._first_of.setdefault(self._key.of(row, cells), (row, cells))
        if first is row:
            self._keep(row, rows)
            return
        difference = self._key.difference(row, cells, first, first_cells)
        if difference:
            says = f"row {first.line} has the same key ({self._key.shown_value(cells)}), but {difference}"
            self._findings.refuse(row.line, self._key.names, self._key.shown_value(cells), says)
        else:
            self.repeated.append(row.line)
            self._tell_repeat(row, cells, first.line)

    def _count_throughout(self, line: int, header: str | None, text: str, refused: RefusedThroughout) -> None:
        self._findings.refuse(line, header, text, str(refused))
