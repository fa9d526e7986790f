"""One table as rows of texts: what holds now, in the order of its keys, in the columns that say something."""

from collections.abc import Generator, Sequence
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder import layout as cells
from service.plant_folder.cell_writing import CellWriter, cell_writer, header_of, in_utc
from service.plant_folder.layout import COMMON_COLUMNS, RECORDED_AT, Column, Moment, Money, TableLayout
from service.plant_folder.register import Register, RowTerms
from service.plant_folder.tables import TABLE
from service.plant_folder.workbook_writing import CellKind

_ROWS_AT_ONCE = 1000
_LOCATING = frozenset({"positions", "systems", "plants"})
_NUMBERS = (cells.Quantity, cells.Number, cells.Pieces, cells.Money)
_NO_TERMS = RowTerms(None, None, "")
_EMPTY_IN_JSON = frozenset({"[]", "null"})


class TableWriting:
    """The writing of one table: a first look finds the columns that say something."""

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
        self.row_count, said = self._what_is_said()
        self._columns = [column for column in (*layout.columns, *COMMON_COLUMNS) if column.name in said]
        self._note_headers = self._noted()
        self._writers: list[tuple[str, str | None, CellWriter]] = [
            (each.field, f"{each.name}_is_date" if isinstance(each.cell, Moment) else None, cell_writer(each, zones))
            for each in self._columns
        ]

    @property
    def header(self) -> list[str]:
        recorded_at = [RECORDED_AT.name] if self._layout.is_fact else []
        return [*map(header_of, self._columns), *recorded_at, *self._note_headers]

    @property
    def kinds(self) -> list[CellKind]:
        """Of each column of the header, what its cells are; a moment is written as text, as the reader takes it."""
        texts = len(self.header) - len(self._columns)
        kinds = [CellKind.NUMBER if isinstance(each.cell, _NUMBERS) else CellKind.TEXT for each in self._columns]
        return kinds + [CellKind.TEXT] * texts

    def rows(self) -> Generator[list[str], None, None]:
        """Rows in the order of their keys; to be closed, since it holds a cursor."""
        query = self._holding(sa.select(self._table)).order_by(*map(self._in_order, self._layout.key))
        with self._connection.execute(query.execution_options(yield_per=_ROWS_AT_ONCE)) as found:
            for row in found.mappings():
                yield self._cells(row)

    def _cells(self, row: sa.RowMapping) -> list[str]:
        terms = self._terms(row)
        told: list[str] = []
        for field, is_date, writer in self._writers:
            value = row[field]
            told.append("" if value is None else writer(value, is_date is not None and row[is_date] is True, terms))
        if self._layout.is_fact:
            told.append(in_utc(row["recorded_at"]))
        if self._note_headers:
            notes = row["notes"] or {}
            told += [notes.get(header, "") for header in self._note_headers]
        return told

    def _terms(self, row: sa.RowMapping) -> RowTerms:
        """What the reader will take for this row's zone and currency."""
        if not self._has_terms:
            return _NO_TERMS
        terms = self._register.terms({name: row[name] or "" for name in self._locating})
        if self._has_currency and row["currency"]:
            return terms._replace(currency=row["currency"])
        return terms

    def _what_is_said(self) -> tuple[int, set[str]]:
        """The number of rows, and the columns that have a value in any of them."""
        columns: list[Column] = [*self._layout.columns, *COMMON_COLUMNS]
        told = [sa.func.count(self._unless_empty(column)).label(column.name) for column in columns]
        counted: list[sa.ColumnElement[Any]] = [sa.func.count().label("rows"), *told]
        counts = self._connection.execute(self._holding(sa.select(*counted))).mappings().one()
        return counts["rows"], {column.name for column in columns if counts[column.name]}

    def _unless_empty(self, column: Column) -> sa.ColumnElement[Any]:
        """The column's value, NULL where it says nothing."""
        told = self._table.c[column.field]
        if isinstance(told.type, sa.JSON):
            text = sa.cast(told, sa.Text)
            return sa.case((text.in_(_EMPTY_IN_JSON), None), else_=text)
        return sa.func.nullif(told, "") if isinstance(told.type, sa.Text) else told

    def _noted(self) -> list[str]:
        notes = self._table.c.notes
        query = self._holding(sa.select(notes).where(notes.is_not(None)))
        found: set[str] = set()
        for note in self._connection.scalars(query.execution_options(yield_per=_ROWS_AT_ONCE)):
            found.update(note or ())
        return sorted(found)

    def _holding(self, query: sa.Select[Any]) -> sa.Select[Any]:
        return query.where(current_rows(self._table)) if self._layout.is_fact else query

    def _in_order(self, key: Column) -> sa.ColumnElement[Any]:
        column = self._table.c[key.field]
        is_text = isinstance(column.type, sa.Text)
        # SQLite compares texts by code point, PostgreSQL by the locale of its server unless told otherwise
        return column.collate("C") if is_text and self._connection.dialect.name == "postgresql" else column
