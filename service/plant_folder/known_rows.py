"""Which rows of a table are known already, asked only where a row with such a key can be.

Of each code (the first part of a key) it is known from when to when there are rows: a reading outside of that is new
and needs no look-up, be it the first import of a plant or last week's readings.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder.folder import FolderRow
from service.plant_folder.ingest import Ingest
from service.plant_folder.layout import Moment, TableLayout
from service.plant_folder.tables import TABLE

Key = tuple[Any, ...]

_CODES_AT_ONCE = 500
_Span = tuple[Any, Any] | None
"""The first and the last moment of a code's rows; None where the table's key has no moment."""


class KnownRows:
    """The rows of one table that hold before a merge; rows that the merge itself adds are not looked for."""

    def __init__(self, connection: sa.Connection, layout: TableLayout, before_asking: Callable[[], None]) -> None:
        """`before_asking` is called where the connection is needed."""
        self._connection = connection
        self._before_asking = before_asking
        self._table = TABLE[layout.name]
        self._is_fact = layout.is_fact
        self._fields = [column.field for column in layout.key]
        self._parts = [(column.field, column.empty_means) for column in layout.key]
        self._moment = next((column.field for column in layout.key if isinstance(column.cell, Moment)), None)
        self._span_of: dict[object, _Span] = {}
        self._asked: set[object] = set()
        self._wanted: sa.Table | None = None
        self._has_rows = connection.execute(sa.select(self._table).limit(1)).first() is not None

    def key_of(self, row: FolderRow) -> Key:
        told = row.values.get
        return tuple([told(field, empty_means) for field, empty_means in self._parts])

    def of(self, rows: Sequence[FolderRow]) -> dict[Key, dict[str, Any]]:
        """By their key, the known rows that have the key of one of `rows`."""
        if not self._has_rows:
            return {}
        lead, empty = self._parts[0]
        self._ask_for({row.values.get(lead, empty) for row in rows} - self._asked)
        possible = [self.key_of(row) for row in rows if self._may_be_known(row)] if self._span_of else []
        return dict(self._looked_up(possible)) if possible else {}

    def close(self) -> None:
        """Drop what was needed to ask."""
        if self._wanted is not None:
            self._before_asking()
            self._wanted.drop(self._connection)

    def _may_be_known(self, row: FolderRow) -> bool:
        code = row.values.get(*self._parts[0])
        if code not in self._span_of:
            return False
        span = self._span_of[code]
        return span is None or self._moment is None or span[0] <= row.values[self._moment] <= span[1]

    def _ask_for(self, codes: set[object]) -> None:
        """Learn the spans of codes that were not met before."""
        if codes:
            self._before_asking()
        self._asked |= codes
        ordered = sorted(map(str, codes))
        for start in range(0, len(ordered), _CODES_AT_ONCE):
            for code, *span in self._connection.execute(self._spans(ordered[start : start + _CODES_AT_ONCE])):
                if not span or span[0] is not None:
                    self._span_of[code] = (span[0], span[1]) if span else None

    def _spans(self, codes: Sequence[str]) -> sa.Select[Any]:
        """Of each code its first and last moment: where codes have a table of their own by two looks at the index,
        since grouped every row of a code would be read."""
        lead = self._table.c[self._fields[0]]
        holds = current_rows(self._table) if self._is_fact else sa.true()
        if self._moment is None:
            return sa.select(lead).where(lead.in_(codes), holds).group_by(lead)
        moment = self._table.c[self._moment]
        ends = [sa.func.min(moment, type_=moment.type), sa.func.max(moment, type_=moment.type)]
        of_codes = next((key.column for key in lead.foreign_keys), None)
        if of_codes is None:
            return sa.select(lead, *ends).where(lead.in_(codes), holds).group_by(lead)
        looks = [sa.select(end).where(lead == of_codes, holds).scalar_subquery() for end in ends]
        return sa.select(of_codes, *looks).where(of_codes.in_(codes))

    def _looked_up(self, keys: Sequence[Key]) -> Iterator[tuple[Key, dict[str, Any]]]:
        """Joined with a table of keys: a list of tuples in the query makes SQLite read its whole index."""
        self._before_asking()
        if self._wanted is None:
            self._wanted = self._created()
            self._measure(self._table)
        self._empty(self._wanted)
        with Ingest(self._connection, self._wanted) as ingest:
            ingest.insert([dict(zip(self._fields, key, strict=True)) for key in keys])
        self._measure(self._wanted)
        same = [self._table.c[field] == self._wanted.c[field] for field in self._fields]
        query = sa.select(self._table).select_from(self._wanted.join(self._table, sa.and_(*same)))
        if self._is_fact:
            query = query.where(current_rows(self._table))
        names = [column.name for column in self._table.columns]
        key_at = [names.index(field) for field in self._fields]
        for row in self._connection.execute(query).all():
            yield tuple([row[at] for at in key_at]), dict(zip(names, row, strict=True))

    def _empty(self, wanted: sa.Table) -> None:
        """In PostgreSQL deleted rows would stay to be read over until the transaction's end."""
        if self._connection.dialect.name == "postgresql":
            self._connection.exec_driver_sql(f"TRUNCATE {wanted.name}")
        else:
            self._connection.execute(sa.delete(wanted))

    def _measure(self, table: sa.Table) -> None:
        """PostgreSQL that does not know how many rows there are reads all of them, block after block."""
        if self._connection.dialect.name == "postgresql":
            self._connection.exec_driver_sql(f"ANALYZE {table.name}")

    def _created(self) -> sa.Table:
        wanted = sa.Table(
            f"wanted_{self._table.name}",
            sa.MetaData(),
            *(sa.Column(field, self._table.c[field].type) for field in self._fields),
            prefixes=["TEMPORARY"],
            postgresql_on_commit="DROP",
        )
        wanted.create(self._connection, checkfirst=False)
        return wanted
