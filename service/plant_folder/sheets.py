"""Bytes of a table's file as rows of trimmed cells, or one refusal that says how to save the file right."""

import codecs
import csv
import io
import re
from dataclasses import dataclass

from service.plant_folder.layout import TableLayout
from service.plant_folder.refusals import FileRefused, shown

Row = tuple[int, list[str]]
"""The row's number, the header being 1 where nothing stands above it, and its cells."""

CONTROL_CHARACTER = re.compile(r"[\x00-\x1f\x7f-\x9f]")

_BETWEEN_CELLS = re.compile(r"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\"]")
_UTF_16_OR_32 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)
_SEPARATOR_NAMES = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "vertical bars"}


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table's cells. `may_hold_control` is False where no cell can hold a control character."""

    header: Row
    rows: list[Row]
    separator: str
    may_hold_control: bool


def read_sheet(data: bytes, layout: TableLayout, separator: str) -> Sheet:
    """Header and rows without the blank ones, every cell trimmed. Raises FileRefused."""
    text = _decoded(data)
    _refuse_other_separator(text, layout, separator)
    rows = _rows(text, separator)
    if not rows:
        raise FileRefused("is empty: expected a header row, even where there are no rows")
    return Sheet(rows[0], rows[1:], separator, may_hold_control=_BETWEEN_CELLS.search(text) is not None)


def _decoded(data: bytes) -> str:
    start = data[:400]
    if data.startswith(_UTF_16_OR_32) or start.count(0) * 4 > len(start) > 0:
        raise FileRefused("is encoded as UTF-16 or UTF-32; save it as CSV in UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        at = error.start + (len(codecs.BOM_UTF8) if data.startswith(codecs.BOM_UTF8) else 0)
        row = data.count(b"\n", 0, at) + 1
        line = data[data.rfind(b"\n", 0, at) + 1 :].splitlines()[0].decode("cp1252", errors="replace")
        says = f"is not UTF-8 (byte 0x{data[at]:02X}), probably Windows-1252; save it as CSV in UTF-8"
        raise FileRefused(says, row=row, value=line) from None


def _refuse_other_separator(text: str, layout: TableLayout, separator: str) -> None:
    lines = (line for line in text.splitlines() if line.strip())
    header = next(lines, "")
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


def _rows(text: str, separator: str) -> list[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[Row] = []
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            trimmed = [cell.strip() for cell in cells]
            if any(trimmed):
                rows.append((number, trimmed))
    except csv.Error as error:
        raise FileRefused(
            f"its quotation marks do not match ({error}); save it as CSV again", row=number + 1
        ) from None
    return rows
