"""One worksheet as rows of trimmed cells, read as a stream (ECMA-376 part 1, 18.3).

A row has Excel's own number. Memory is bounded by one row however far the sheet's cells lie apart.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import BinaryIO, NamedTuple

from service.plant_folder.layout import TableLayout
from service.plant_folder.limits import (
    LAST_COLUMN,
    LAST_ROW,
    LONGEST_ROW,
    MOST_CHARACTERS,
    MOST_COLUMNS,
)
from service.plant_folder.refusals import FileRefused, shown
from service.plant_folder.sheets import ALL_READABLE, Consumed, Marks, Row, Sheet
from service.plant_folder.workbook import CellText, Workbook
from service.plant_folder.worksheet_cells import AsText, CellUnreadable, RawCell, as_plain_text, cell_readers
from service.plant_folder.xml_parts import parsed


@contextmanager
def open_worksheet(
    workbook: Workbook, open_part: Callable[[], BinaryIO], layout: TableLayout, marks: Marks
) -> Iterator[Sheet]:
    """The sheet of a table; raises FileRefused, here or while its rows are taken."""
    with open_part() as part:
        handler = _SheetParts()
        rows = _raw_rows(part, handler)
        header = next((row for row in _headers(rows, workbook, marks)), None)
        if header is None:
            raise FileRefused("is empty: expected a header row, even where there are no rows")
        readers = cell_readers(header[1], layout, workbook, marks.decimal)
        expected_rows = max(handler.announced_rows - header[0], 0)
        consumed = Consumed()
        told = _rows(rows, readers, as_plain_text(workbook, marks.decimal), consumed)
        yield Sheet(header, told, None, expected_rows, consumed)


class _RawRow(NamedTuple):
    number: int
    cells: list[tuple[int, RawCell]]


def _headers(rows: Iterator[_RawRow], workbook: Workbook, marks: Marks) -> Iterator[Row]:
    """Each row as it would be as the header; the first with a cell is it."""
    reader = as_plain_text(workbook, marks.decimal)
    for raw in rows:
        width = raw.cells[-1][0] + 1 if raw.cells else 0
        if width > MOST_COLUMNS:
            raise FileRefused(f"has {width} columns; at most {MOST_COLUMNS} are read", row=raw.number)
        number, cells, unreadable = _row(raw, [reader] * width, reader)
        for index, says in unreadable.items():
            raise FileRefused(f"the header's cell in column {index + 1} {says}", row=number, value=cells[index])
        if any(cells):
            yield number, cells, ALL_READABLE


def _rows(rows: Iterator[_RawRow], readers: list[AsText], beyond: AsText, consumed: Consumed) -> Iterator[Row]:
    for raw in rows:
        row = _row(raw, readers, beyond)
        characters = sum(map(len, row[1]))
        consumed.characters += characters
        if characters > LONGEST_ROW or consumed.characters > MOST_CHARACTERS:
            whole = (
                f"the row is longer than {LONGEST_ROW}" if characters > LONGEST_ROW else f"holds {MOST_CHARACTERS}"
            )
            raise FileRefused(f"{whole} characters; send the readings as CSV tables", row=raw.number)
        if characters:
            yield row


def _row(raw: _RawRow, readers: list[AsText], beyond: AsText) -> Row:
    """As many cells as there are readers, and the first that stands beyond them."""
    cells = [""] * len(readers)
    unreadable: dict[int, str] = {}
    for index, cell in raw.cells:
        is_beyond = index >= len(readers)
        try:
            text = beyond(cell) if is_beyond else readers[index](cell)
        except CellUnreadable as refused:
            text = refused.shown
            if not is_beyond:
                unreadable[index] = str(refused)
        if not is_beyond:
            cells[index] = text
        elif text:
            cells.append(text)
            break
    return raw.number, cells, unreadable or ALL_READABLE


def _raw_rows(part: BinaryIO, handler: "_SheetParts") -> Iterator[_RawRow]:
    for _ in parsed(part, handler):
        yield from handler.taken()
    if handler.merged:
        says = f"the cells {shown(handler.merged)} are merged; unmerge them: each cell of a table stands for itself"
        row = _number(handler.merged.partition(":")[0].lstrip(_LETTERS), 1)
        raise FileRefused(says, row=row, value=handler.merged)


class _SheetParts:
    """The rows of the part that is being parsed, and what must not be in it."""

    def __init__(self) -> None:
        self.announced_rows = 0
        self.merged = ""
        self._rows: list[_RawRow] = []
        self._cells: list[tuple[int, RawCell]] = []
        self._row_number = 0
        self._column = -1
        self._attributes: dict[str, str] = {}
        self._value: list[str] | None = None
        self._row_length = 0
        self._raw: str | None = None
        self._has_formula = False
        self._inline: CellText | None = None

    def taken(self) -> list[_RawRow]:
        rows, self._rows = self._rows, []
        return rows

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if self._inline is not None:
            self._inline.start(name)
        elif name == "c":
            self._begin_cell(attributes)
        elif name == "v":
            self._value = []
        elif name == "f":
            self._has_formula = True
        elif name == "is":
            self._inline = CellText()
        elif name == "row":
            self._begin_row(attributes)
        elif name == "dimension":
            self.announced_rows = _last_row(attributes.get("ref", ""))
        elif name == "mergeCell":
            self.merged = self.merged or attributes.get("ref", "")

    def end(self, name: str) -> None:
        if name == "v" and self._value is not None:
            self._raw, self._value = "".join(self._value), None
        elif name == "c":
            self._end_cell()
        elif name == "is" and self._inline is not None:
            self._raw, self._inline = self._inline.taken(), None
        elif self._inline is not None:
            self._inline.end(name)
        elif name == "row":
            self._rows.append(_RawRow(self._row_number, self._cells))
            self._cells = []

    def text(self, data: str) -> None:
        self._row_length += len(data)
        if self._row_length > LONGEST_ROW:
            raise FileRefused(f"the row is longer than {LONGEST_ROW} characters", row=self._row_number)
        if self._value is not None:
            self._value.append(data)
        elif self._inline is not None:
            self._inline.text(data)

    def _begin_row(self, attributes: dict[str, str]) -> None:
        number = _number(attributes.get("r"), self._row_number + 1)
        if not self._row_number < number <= LAST_ROW:
            raise FileRefused(f"its rows are not in order or beyond row {LAST_ROW}; save it again")
        self._row_number, self._column, self._row_length = number, -1, 0

    def _begin_cell(self, attributes: dict[str, str]) -> None:
        reference = attributes.get("r")
        column = self._column + 1 if reference is None else _column_of(reference.rstrip("0123456789"))
        if not self._column < column < LAST_COLUMN:
            says = f"its cells are not in order or beyond column {LAST_COLUMN}; save it again"
            raise FileRefused(says, row=self._row_number)
        self._column, self._attributes = column, attributes
        self._raw, self._has_formula = None, False

    def _end_cell(self) -> None:
        if self._raw is not None or self._has_formula:
            kind, style = self._attributes.get("t", "n"), self._attributes.get("s", "0")
            self._cells.append((self._column, RawCell(kind, style, self._raw)))


_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@cache
def _column_index(letters: str) -> int:
    index = 0
    for letter in letters:
        index = index * len(_LETTERS) + _LETTERS.index(letter) + 1
    return index - 1


def _column_of(letters: str) -> int:
    """The index of a column by its letters, A being 0; −1 where they are no letters of one."""
    if not 0 < len(letters) <= 3 or letters.strip(_LETTERS):
        return -1
    return _column_index(letters)


def _number(text: str | None, otherwise: int) -> int:
    return int(text) if text and len(text) < 10 and text.isascii() and text.isdigit() else otherwise


def _last_row(reference: str) -> int:
    return _number(reference.partition(":")[2].lstrip(_LETTERS), 0)
