"""A list as a file for people: CSV and workbook, units in the headers, texts that no spreadsheet computes.

CSV is RFC 4180 in UTF-8 with a byte order mark, without which the usual spreadsheet takes ΔP for something else
(common practice, no source); texts are quoted, numbers are not. A text that begins like a formula gets an apostrophe
before it, as OWASP's page "CSV Injection" advises. That changes the text, so the plant folder, which is read back,
is written without it. In a workbook a text is a cell of type text whatever it begins with, and a moment is a real
date cell, in the zone that its header names.
"""

import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from decimal import Decimal

from service.plant_folder.workbook_writing import CellKind, DoesNotFit, WorkbookWriting, serial_of
from service.problems import BadInput

FILE_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""By how a file's name ends."""

MOST_ROWS = 100_000
"""Of one file: it is put together in memory. Ours."""

_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""OWASP, "CSV Injection": with the full-width signs that some spreadsheets take for the narrow ones."""

Cell = str | int | float | Decimal | datetime | None
Row = Sequence[Cell]


@dataclass(frozen=True, slots=True)
class Column:
    """`name` with its unit in square brackets, where its numbers have one."""

    name: str
    holds: CellKind = CellKind.TEXT


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows have one cell for each column; moments know their zone."""

    name: str
    columns: Sequence[Column]
    rows: Sequence[Row]


def texts(*names: str) -> tuple[Column, ...]:
    """Columns of texts."""
    return tuple(Column(name) for name in names)


def numbers(*names: str) -> tuple[Column, ...]:
    """Columns of numbers."""
    return tuple(Column(name, CellKind.NUMBER) for name in names)


def moments(*names: str) -> tuple[Column, ...]:
    """Columns of moments."""
    return tuple(Column(name, CellKind.MOMENT) for name in names)


def as_file(kind: str, sheets: Sequence[Sheet]) -> bytes:
    """The sheets as one of `FILE_TYPES`; a CSV file holds the first.

    Raises BadInput for more than `MOST_ROWS`, and for a text that no cell of a workbook holds.
    """
    shown = sheets[:1] if kind == "csv" else sheets
    for sheet in shown:
        refuse_too_many(len(sheet.rows))
    if kind == "csv":
        return _as_csv(shown[0])
    try:
        return _as_workbook(shown)
    except DoesNotFit as error:
        raise BadInput(str(error)) from None


def refuse_too_many(count: int) -> None:
    """Raises BadInput where a file would have more rows than it may."""
    if count > MOST_ROWS:
        raise BadInput(f"a file has at most {MOST_ROWS} rows; ask for less, or page through the list")


def file_name(name: str, as_of: datetime, kind: str) -> str:
    """With the moment of which it tells, in UTC, so that two files never have one name.

    >>> file_name("due", datetime(2026, 3, 5, 9, 0, tzinfo=UTC), "csv")
    'due-20260305T090000Z.csv'
    """
    return f"{name}-{as_of.astimezone(UTC):%Y%m%dT%H%M%SZ}.{kind}"


def _as_csv(sheet: Sheet) -> bytes:
    lines = [",".join(_quoted(column.name) for column in sheet.columns)]
    lines += [
        ",".join(_csv_cell(cell, column) for cell, column in zip(row, sheet.columns, strict=True))
        for row in sheet.rows
    ]
    return "".join(f"{line}\r\n" for line in lines).encode("utf-8-sig", errors="replace")


def _csv_cell(cell: Cell, column: Column) -> str:
    if cell is None or cell == "":
        return ""
    if column.holds is CellKind.NUMBER:
        return _number(cell)
    if isinstance(cell, datetime):
        return _quoted(cell.isoformat(timespec="minutes"))
    text = str(cell)
    return _quoted("'" + text if text.startswith(_STARTS_A_FORMULA) else text)


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _number(cell: Cell) -> str:
    """A number and nothing else: it stands unquoted. Raises ValueError for what is none."""
    if isinstance(cell, float):
        return f"{cell:.12g}"
    if isinstance(cell, int | Decimal):
        return str(cell)
    raise ValueError(f"{cell!r} is not a number")


def _as_workbook(sheets: Iterable[Sheet]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        workbook = WorkbookWriting(archive)
        for sheet in sheets:
            zone = _zone_of(sheet)
            with workbook.sheet(sheet.name, [column.holds for column in sheet.columns]) as take:
                take([_header(column, zone) for column in sheet.columns])
                for row in sheet.rows:
                    take([_cell(cell, column, zone) for cell, column in zip(row, sheet.columns, strict=True)])
        workbook.finish()
    return out.getvalue()


def _zone_of(sheet: Sheet) -> tzinfo:
    """The zone of all its moments, UTC where they are of several."""
    zones = {str(cell.tzinfo): cell.tzinfo for row in sheet.rows for cell in row if isinstance(cell, datetime)}
    found = next(iter(zones.values())) if len(zones) == 1 else None
    return found or UTC


def _header(column: Column, zone: tzinfo) -> str:
    return f"{column.name} [{zone}]" if column.holds is CellKind.MOMENT else column.name


def _cell(cell: Cell, column: Column, zone: tzinfo) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return serial_of(cell.astimezone(zone))
    return _number(cell) if column.holds is CellKind.NUMBER else str(cell)
