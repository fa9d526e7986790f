"""Recording one fact outside an import: a new row, or a new version that keeps the earlier one."""

from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from service.database import current_rows
from service.plant_folder import layout
from service.plant_folder.tables import TABLE


def record_fact(
    connection: sa.Connection, table_name: str, values: dict[str, Any], *, recorded_at: datetime, source: str
) -> None:
    """Keep a fact with its fields; the same fact once more changes nothing, other values are a correction.

    `values` hold the whole key; moments in it need no date mark, since a time is told.
    """
    table, keys = TABLE[table_name], layout.TABLE[table_name].key
    told = values | {
        f"{column.name}_is_date": False
        for column in layout.TABLE[table_name].columns
        if isinstance(column.cell, layout.Moment) and column.name in values
    }
    for column in keys:
        told.setdefault(column.field, column.empty_means)
    matches = [table.c[column.field] == told[column.field] for column in keys]
    earlier = connection.execute(sa.select(table).where(current_rows(table), *matches)).mappings().one_or_none()
    if earlier is None:
        connection.execute(sa.insert(table).values(**told, recorded_at=recorded_at, source=source))
        return
    changed = {name: value for name, value in told.items() if value is not None and earlier[name] != value}
    if changed:
        supersede(connection, table, earlier, changed, recorded_at=recorded_at, source=source)


def supersede(
    connection: sa.Connection,
    table: sa.Table,
    earlier: sa.RowMapping,
    changed: dict[str, Any],
    *,
    recorded_at: datetime,
    source: str,
) -> None:
    """A new version of `earlier` with `changed` fields; the earlier one stays, with the time at which it ended."""
    known_at = max(recorded_at, earlier["recorded_at"] + timedelta(microseconds=1))
    connection.execute(sa.update(table).where(table.c.id == earlier["id"]).values(superseded_at=known_at))
    kept = {name: value for name, value in earlier.items() if name != "id"}
    version = kept | changed | {"recorded_at": known_at, "superseded_at": None, "source": source}
    connection.execute(sa.insert(table).values(**version))


def withdraw(connection: sa.Connection, table: sa.Table, earlier: sa.RowMapping, *, recorded_at: datetime) -> None:
    """No version holds any more from now on: what was recorded turned out never to have been so."""
    known_at = max(recorded_at, earlier["recorded_at"] + timedelta(microseconds=1))
    connection.execute(sa.update(table).where(table.c.id == earlier["id"]).values(superseded_at=known_at))


def told_by(table: sa.Table, source: str) -> sa.ColumnElement[bool]:
    """Rows that `source`, or a correction of it, wrote."""
    return sa.or_(table.c.source == source, table.c.source.startswith(f"{source}, "))
