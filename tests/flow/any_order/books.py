"""Everything that a database holds, read at once: what is compared, and what the promises are checked on."""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from service.schema import metadata

Row = dict[str, Any]

_KEPT_APART = frozenset({"api_keys", "alembic_version"})


def _statement(table: sa.Table) -> str:
    """As the driver takes it: a step of the walk reads every table, and the moments need only be compared."""
    order = ", ".join(f'"{column.name}"' for column in table.primary_key)
    return f'SELECT * FROM "{table.name}" ORDER BY {order}'  # noqa: S608 - names of our own tables


_STATEMENTS = {name: _statement(table) for name, table in metadata.tables.items() if name not in _KEPT_APART}


@dataclass(frozen=True, slots=True)
class Books:
    """Rows by table. Moments are as the driver has them: they can be compared with each other."""

    tables: dict[str, list[Row]]

    def rows(self, table: str, **where: Any) -> list[Row]:
        return [row for row in self.tables[table] if all(row[name] == value for name, value in where.items())]

    def holding(self, table: str, **where: Any) -> list[Row]:
        """Of a fact table: the versions that hold now."""
        return self.rows(table, superseded_at=None, **where)

    def but(self, *left_out: str) -> dict[str, list[Row]]:
        return {name: rows for name, rows in self.tables.items() if name not in left_out}


def read_books(connection: sa.Connection) -> Books:
    """All rows of all tables, but for the keys of the API."""
    cursor = connection.connection.cursor()
    tables = {}
    for name, statement in _STATEMENTS.items():
        cursor.execute(statement)
        names = [column[0] for column in cursor.description]
        tables[name] = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    cursor.close()
    return Books(tables)


def differing_tables(earlier: dict[str, list[Row]], later: dict[str, list[Row]]) -> dict[str, Any]:
    """What changed, small enough to be read in a failure: by table the rows that were and those that are."""
    return {
        name: {
            "was": [row for row in rows if row not in later[name]],
            "is": [row for row in later[name] if row not in rows],
        }
        for name, rows in earlier.items()
        if rows != later[name]
    }
