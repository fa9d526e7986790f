"""Taking back what was booked by mistake: a movement the other way, at the same time of the job, known from now on.

What was booked stays, so that the stock of a past day is what was known on it. Where a lot was counted since the
job, neither movement counts: the count has the last word.
"""

from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service.plant_folder.facts import told_by
from service.stock.tables import oil_movements, stock_discrepancies, stock_movements

_SMALLEST = 1e-9


def take_back_parts(
    connection: sa.Connection, of: str, parts: Collection[str], *, now: datetime, source: str
) -> None:
    """Of the source `of`, move every one of `parts` back to where it was taken, discrepancies too."""
    lot = ("part_number", "store", "lot", "at")
    _counter(connection, stock_movements, of, "part_number", parts, lot, "quantity", now, source)
    without_lot = ("part_number", "lot", "at")
    _counter(connection, stock_discrepancies, of, "part_number", parts, without_lot, "missing", now, source)


def take_back_oil(connection: sa.Connection, of: str, fluids: Collection[str], *, now: datetime, source: str) -> None:
    """Of the source `of`, put every one of `fluids` back into its containers, discrepancies too."""
    container = ("fluid", "store", "lot", "container_L", "at")
    _counter(connection, oil_movements, of, "fluid", fluids, container, "quantity", now, source)
    _counter(connection, stock_discrepancies, of, "fluid", fluids, ("fluid", "lot", "at"), "missing", now, source)


def _counter(
    connection: sa.Connection,
    table: sa.Table,
    of: str,
    code: str,
    codes: Collection[str],
    same: tuple[str, ...],
    amount: str,
    now: datetime,
    source: str,
) -> None:
    """One row against the sum of all that `of` and its corrections have booked of the `same`."""
    booked: dict[tuple[Any, ...], Any] = {}
    query = sa.select(table).where(told_by(table, of), table.c[code].in_(sorted(codes))).order_by(table.c.id)
    for row in connection.execute(query).mappings():
        key = tuple(row[name] for name in same)
        booked[key] = booked.get(key, 0) + row[amount]
    rows = [
        dict(zip(same, key, strict=True)) | {amount: -total, "recorded_at": now, "source": source}
        for key, total in booked.items()
        if abs(total) > _SMALLEST
    ]
    if rows:
        connection.execute(sa.insert(table), rows)
