"""A CSV file as rows of trimmed cells, or one refusal that says how to save the file right."""

import codecs
import csv
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import chain
from typing import BinaryIO

from service.plant_folder.layout import TableLayout
from service.plant_folder.limits import LONGEST_ROW, MOST_COLUMNS
from service.plant_folder.refusals import FileRefused, shown
from service.plant_folder.sheets import ALL_READABLE, Consumed, Marks, Row, Sheet

OpenBytes = Callable[[], BinaryIO]

_UTF_16_OR_32 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)
_SNIFFED_BYTES = 400
_CHUNK_BYTES = 1024**2
_SEPARATOR_NAMES = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "vertical bars"}


@contextmanager
def open_csv(open_bytes: OpenBytes, layout: TableLayout, marks: Marks) -> Iterator[Sheet]:
    """The file's sheet; raises FileRefused, here or while its rows are taken."""
    expected_rows = _line_ends(open_bytes)
    with open_bytes() as raw, io.TextIOWrapper(raw, encoding="utf-8-sig", newline="") as text:
        _refuse_wide_characters(raw)
        lines = _Lines(text)
        rows = _explained(_rows(lines, layout, marks.separator), open_bytes)
        header = next(rows, None)
        if header is None:
            raise FileRefused("is empty: expected a header row, even where there are no rows")
        yield Sheet(header, rows, marks.separator, max(expected_rows - 1, 0), lines.consumed)


def _line_ends(open_bytes: OpenBytes) -> int:
    count, last = 0, b""
    with open_bytes() as raw:
        while chunk := raw.read(_CHUNK_BYTES):
            count += chunk.count(b"\n")
            last = chunk[-1:]
    return count + (last not in {b"", b"\n"})


def _refuse_wide_characters(raw: BinaryIO) -> None:
    start = raw.peek(_SNIFFED_BYTES)[:_SNIFFED_BYTES] if isinstance(raw, io.BufferedReader) else b""
    if start.startswith(_UTF_16_OR_32) or start.count(0) * 4 > len(start) > 0:
        raise FileRefused("is encoded as UTF-16 or UTF-32; save it as CSV in UTF-8")


class _Lines:
    """The lines of a text, none longer than a row may be."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self._text = text
        self._row_began = 0
        self.consumed = Consumed()

    def begin_row(self) -> None:
        """What comes from here on belongs to another row."""
        self._row_began = self.consumed.characters

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self._text.readline(LONGEST_ROW + 1)
        if not line:
            raise StopIteration
        consumed = self.consumed
        consumed.characters += len(line)
        if consumed.characters - self._row_began > LONGEST_ROW:
            raise FileRefused(
                f"the row is longer than {LONGEST_ROW} characters: no table, or a quotation mark is never closed"
            )
        return line


def _rows(lines: _Lines, layout: TableLayout, separator: str) -> Iterator[Row]:
    number = 0
    try:
        for first in lines:
            number += 1
            if first.strip():
                break
            lines.begin_row()
        else:
            return
        _refuse_other_separator(first, layout, separator)
        number -= 1
        for cells in csv.reader(chain([first], lines), delimiter=separator, strict=True):
            number += 1
            lines.begin_row()
            trimmed = list(map(str.strip, cells))
            if any(trimmed):
                yield (
                    number,
                    trimmed if len(trimmed) <= MOST_COLUMNS else _without_blank_end(number, trimmed),
                    ALL_READABLE,
                )
    except csv.Error as error:
        says = f"its quotation marks do not match ({error}); save it as CSV again"
        raise FileRefused(says, row=number + 1) from None
    except FileRefused as refused:
        if refused.row is None:
            raise FileRefused(str(refused), row=number + 1) from None
        raise


def _without_blank_end(number: int, cells: list[str]) -> list[str]:
    width = max(at for at, cell in enumerate(cells) if cell) + 1
    if width > MOST_COLUMNS:
        raise FileRefused(f"has {width} columns; at most {MOST_COLUMNS} are read", row=number)
    return cells[:width]


def _explained(rows: Iterator[Row], open_bytes: OpenBytes) -> Iterator[Row]:
    try:
        yield from rows
    except UnicodeDecodeError:
        raise _not_utf_8(open_bytes) from None


def _not_utf_8(open_bytes: OpenBytes) -> FileRefused:
    """Names the first line that is not UTF-8 and shows it as it was probably meant."""
    row = 1
    decoder = codecs.getincrementaldecoder("utf-8")()
    with open_bytes() as raw:
        while line := raw.readline(LONGEST_ROW):
            try:
                decoder.decode(line)
            except UnicodeDecodeError as error:
                at = error.object[error.start]
                says = f"is not UTF-8 (byte 0x{at:02X}), probably Windows-1252; save it as CSV in UTF-8"
                shown_line = line.splitlines()[0].decode("cp1252", errors="replace")
                return FileRefused(says, row=row, value=shown_line)
            row += line.endswith(b"\n")
    return FileRefused("ends in the middle of a character; save it as CSV in UTF-8", row=row)


def _refuse_other_separator(header: str, layout: TableLayout, separator: str) -> None:
    header = header.rstrip("\r\n")
    names = {column.name for column in layout.columns}
    if header.strip().lower().startswith("sep="):
        raise FileRefused(_how_to_separate(header.strip()[4:] or ";", separator), row=1, value=header)
    known = {
        other: sum(cell.partition("[")[0].strip(' "') in names for cell in header.split(other))
        for other in _SEPARATOR_NAMES.keys() | {separator}
    }
    likely = max(known, key=lambda other: (known[other], other == separator))
    if likely != separator and known[likely] > 1:
        raise FileRefused(_how_to_separate(likely, separator), row=1, value=header)


def _how_to_separate(found: str, separator: str) -> str:
    found_name = _SEPARATOR_NAMES.get(found, f"'{shown(found)}'")
    wanted_name = _SEPARATOR_NAMES.get(separator, f"'{separator}'")
    if separator == ",":
        option = " (with --decimal ',' where numbers have decimal commas)" if found == ";" else ""
        return (
            f"its cells are separated by {found_name}; save it with {wanted_name} and decimal points,"
            f" or import it with --separator '{shown(found)}'{option}"
        )
    return f"its cells are separated by {found_name}, but --separator '{separator}' was given"
