"""The plant folder written back: what holds now, as the CSV tables that `reading` takes.

Importing what was written changes nothing, and an empty database that takes it in writes the same bytes again.
Cells are text as it is kept, also where it begins like a formula: guarding against spreadsheets that run it
would change the text of the next import.
"""

import csv
import io
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TextIO
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder.cell_writing import CellWriter, cell_writer, header_of, in_utc
from service.plant_folder.known_now import known_now
from service.plant_folder.layout import COMMON_COLUMNS, RECORDED_AT, TABLES, Column, Moment, Money, TableLayout
from service.plant_folder.register import Register, RowTerms
from service.plant_folder.tables import TABLE

_ROWS_AT_ONCE = 1000
_LOCATING = frozenset({"positions", "systems", "plants"})
_NO_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can say: the same rows give the same bytes

OpenTable = Callable[[str], AbstractContextManager[TextIO]]


class TargetRefused(ValueError):
    """The folder cannot be written there; the text says why."""


def write_folder(connection: sa.Connection, target: Path) -> dict[str, int]:
    """Write every table that has rows to the new or empty folder `target`, or to a zip; the rows of each.

    A `target` that ends in `.zip` is replaced as a whole once everything is written. Raises TargetRefused.
    """
    is_zip = target.suffix.lower() == ".zip"
    _refuse_what_is_there(target, is_zip=is_zip)
    folder = target.parent if is_zip else target
    folder.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=folder, prefix=".unfinished-") as unfinished:
        if is_zip:
            whole = Path(unfinished) / target.name
            with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
                written = _write_tables(connection, partial(_member, archive))
            whole.replace(target)
        else:
            written = _write_tables(connection, partial(_file, Path(unfinished)))
            for path in sorted(Path(unfinished).iterdir()):
                path.replace(target / path.name)
    return written


def _refuse_what_is_there(target: Path, *, is_zip: bool) -> None:
    if is_zip and target.is_dir():
        raise TargetRefused(f"{target} is a folder, but its name asks for a zip")
    if not is_zip and target.exists() and not target.is_dir():
        raise TargetRefused(f"{target} is a file; name a new or empty folder, or a file that ends in .zip")
    if not is_zip and target.is_dir() and any(target.iterdir()):
        raise TargetRefused(f"{target} is not empty; name a new or empty folder, or a file that ends in .zip")


@contextmanager
def _file(folder: Path, name: str) -> Iterator[TextIO]:
    with (folder / name).open("w", encoding="utf-8", newline="") as text:
        yield text


@contextmanager
def _member(archive: zipfile.ZipFile, name: str) -> Iterator[TextIO]:
    info = zipfile.ZipInfo(name, date_time=_NO_TIME)
    info.compress_type = zipfile.ZIP_DEFLATED
    with (
        archive.open(info, "w", force_zip64=True) as raw,
        io.TextIOWrapper(raw, encoding="utf-8", newline="") as text,
    ):
        yield text


def _write_tables(connection: sa.Connection, open_table: OpenTable) -> dict[str, int]:
    known = known_now(connection)
    zones = [ZoneInfo(name) for name in sorted({terms.time_zone for terms in known.plants.values()})]
    register = Register(known)
    written: dict[str, int] = {}
    for layout in TABLES:
        table = _TableWriting(connection, layout, register, zones)
        if table.has_rows:
            with open_table(f"{layout.name}.csv") as file:
                written[layout.name] = table.write(file)
    return written


class _TableWriting:
    """The writing of one table: a first pass over its rows finds the columns that say something."""

    def __init__(
        self, connection: sa.Connection, layout: TableLayout, register: Register, zones: Sequence[ZoneInfo]
    ) -> None:
        self._connection = connection
        self._layout = layout
        self._table = TABLE[layout.name]
        self._register = register
        self._locating = [column.name for column in layout.columns if column.refers_to in _LOCATING]
        self._has_terms = any(isinstance(column.cell, Moment | Money) for column in layout.columns)
        self._has_currency = any(column.name == "currency" for column in layout.columns)
        columns, self._note_headers, self.has_rows = self._what_is_said()
        self._writers: list[tuple[Column, CellWriter]] = [(each, cell_writer(each, zones)) for each in columns]

    def write(self, file: TextIO) -> int:
        """Header and rows in the order of their keys; the number of rows."""
        out = csv.writer(file, lineterminator="\n")
        recorded_at = [RECORDED_AT.name] if self._layout.is_fact else []
        headers = [header_of(column) for column, _ in self._writers]
        out.writerow([*headers, *recorded_at, *self._note_headers])
        count = 0
        for count, row in enumerate(self._rows(), start=1):  # noqa: B007 - the last count is the result
            out.writerow(self._cells(row))
        return count

    def _cells(self, row: sa.RowMapping) -> list[str]:
        terms = self._terms(row)
        cells = [self._cell(row, column, writer, terms) for column, writer in self._writers]
        if self._layout.is_fact:
            cells.append(in_utc(row["recorded_at"]))
        notes = row["notes"] or {}
        return cells + [notes.get(header, "") for header in self._note_headers]

    @staticmethod
    def _cell(row: sa.RowMapping, column: Column, writer: CellWriter, terms: RowTerms | None) -> str:
        value = row[column.field]
        if value is None or terms is None:
            return "" if value is None else writer(value, False, _NO_TERMS)
        is_date = isinstance(column.cell, Moment) and row[f"{column.name}_is_date"] is True
        return writer(value, is_date, terms)

    def _terms(self, row: sa.RowMapping) -> RowTerms | None:
        """What the reader will take for this row's zone and currency."""
        if not self._has_terms:
            return None
        terms = self._register.terms({name: row[name] or "" for name in self._locating})
        if self._has_currency and row["currency"]:
            return terms._replace(currency=row["currency"])
        return terms

    def _what_is_said(self) -> tuple[list[Column], list[str], bool]:
        """The columns that have a value in any row, the headers of all notes, and whether there is a row."""
        columns = [*self._layout.columns, *COMMON_COLUMNS]
        said: set[str] = set()
        notes: set[str] = set()
        has_rows = False
        silent = columns
        for row in self._rows():
            has_rows = True
            notes.update(row["notes"] or ())
            if silent:
                said.update(column.name for column in silent if row[column.field] not in _SAYS_NOTHING)
                silent = [column for column in silent if column.name not in said]
        return [column for column in columns if column.name in said], sorted(notes), has_rows

    def _rows(self) -> Iterator[sa.RowMapping]:
        query = sa.select(self._table).order_by(*(self._in_order(column) for column in self._layout.key))
        if self._layout.is_fact:
            query = query.where(current_rows(self._table))
        yield from self._connection.execute(query.execution_options(yield_per=_ROWS_AT_ONCE)).mappings()

    def _in_order(self, key: Column) -> sa.ColumnElement[Any]:
        column = self._table.c[key.field]
        is_text = isinstance(column.type, sa.Text)
        # SQLite compares texts by code point, PostgreSQL by the locale of its server unless told otherwise
        return column.collate("C") if is_text and self._connection.dialect.name == "postgresql" else column


_SAYS_NOTHING: tuple[Any, ...] = (None, "", [])
_NO_TERMS = RowTerms(None, None, "")
