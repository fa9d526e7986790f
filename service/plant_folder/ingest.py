"""Many new rows into a table at once, in the way that each database takes them fastest."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from itertools import chain
from operator import itemgetter
from typing import Any, Self

import sqlalchemy as sa

from service.database import UtcTime

Stored = Callable[[Any], Any]

_MOMENTS_REMEMBERED = 20_000  # many positions are read at the same time, and the tables go on from one to the next


class Ingest:
    """Inserts into one table over one connection. A column that a row does not name is NULL there.

    PostgreSQL's COPY is left open for the rows to come, so that the server takes the last ones in while the next are
    made: `finish` it before anything else goes over the connection. To be used as a context manager, which finishes.
    """

    def __init__(self, connection: sa.Connection, table: sa.Table) -> None:
        self._connection = connection
        self._table = table
        self._order = {column.name: index for index, column in enumerate(table.columns)}
        self._into: dict[frozenset[str], _IntoColumns] = {}
        self._open: tuple[_IntoColumns, Any] | None = None
        self._ending = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: Any) -> None:
        """After an error the rows of an open COPY are not kept, and the connection is free to roll back."""
        self._open = None
        self._ending.__exit__(*error)

    def finish(self) -> None:
        """All rows that were told are in the table. Its errors are the driver's own."""
        self._open = None
        self._ending.close()

    def insert(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """All of `rows`, by column name; with PostgreSQL some may only get there with `finish`."""
        if not rows:
            return
        named = frozenset(chain.from_iterable(rows))
        into = self._into.get(named) or self._into.setdefault(named, self._into_columns(named))
        if self._connection.dialect.name == "sqlite":
            # the driver's own executemany: SQLAlchemy's costs more than the insert
            self._connection.exec_driver_sql(into.statement, list(map(into.driver_row, rows)))
        else:
            self._copy(into, rows)

    def _copy(self, into: "_IntoColumns", rows: Sequence[Mapping[str, Any]]) -> None:
        """PostgreSQL's COPY in the transaction of the connection. Its errors are the driver's own."""
        if self._open is None or self._open[0] is not into:
            self.finish()
            driver: Any = self._connection.connection.driver_connection
            cursor = self._ending.enter_context(driver.cursor())
            self._open = into, self._ending.enter_context(cursor.copy(into.statement))
        write_row = self._open[1].write_row
        for row in map(into.driver_row, rows):
            write_row(row)

    def _into_columns(self, named: frozenset[str]) -> "_IntoColumns":
        dialect = self._connection.dialect
        names = sorted(named, key=self._order.__getitem__)
        if dialect.name == "sqlite":
            statement = str(sa.insert(self._table).compile(dialect=dialect, column_keys=names))
        else:
            quoted = dialect.identifier_preparer
            listed = ", ".join(map(quoted.quote, names))
            statement = f"COPY {quoted.format_table(self._table)} ({listed}) FROM STDIN"
        stored = {name: _stored_by_driver(self._table.c[name].type, dialect) for name in names}
        converted = tuple((at, convert) for at, name in enumerate(names) if (convert := stored[name]))
        return _IntoColumns(statement, names, itemgetter(*names) if len(names) > 1 else None, converted)


@dataclass(frozen=True, slots=True)
class _IntoColumns:
    """An INSERT or COPY that names only the columns that its rows have."""

    statement: str
    names: list[str]
    all_of: Callable[[Mapping[str, Any]], tuple[Any, ...]] | None
    converted: tuple[tuple[int, Stored], ...]

    def driver_row(self, row: Mapping[str, Any]) -> tuple[Any, ...]:
        if self.all_of is not None and len(row) == len(self.names):  # no column is missing
            told = list(self.all_of(row))
        else:
            told = list(map(row.get, self.names))
        for at, convert in self.converted:
            value = told[at]
            if value is not None:
                told[at] = convert(value)
        return tuple(told)


def _stored_by_driver(type_: sa.types.TypeEngine[Any], dialect: sa.Dialect) -> Stored | None:
    """How a value of the type goes to the driver; None where it goes as it is."""
    if isinstance(type_, UtcTime):
        return _stored_moment if dialect.name == "sqlite" else _copied_moment
    if isinstance(type_, sa.Boolean):
        return None  # both drivers know true and false
    return type_.dialect_impl(dialect).bind_processor(dialect)


@lru_cache(maxsize=_MOMENTS_REMEMBERED)
def _stored_moment(at: datetime) -> str:
    """As SQLAlchemy stores it in SQLite, without its detours: `recorded_at` often repeats `at`."""
    return at.astimezone(UTC).isoformat(" ", "microseconds")[:_MOMENT_LENGTH]


@lru_cache(maxsize=_MOMENTS_REMEMBERED)
def _copied_moment(at: datetime) -> str:
    """With its offset: PostgreSQL would take it for the time of the session's zone."""
    return _stored_moment(at) + "+00"


_MOMENT_LENGTH = len("2026-03-05 07:00:00.000000")
