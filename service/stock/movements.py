"""What moved in the stores, in the order in which it was recorded."""

import re
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.quantities import Volume
from api_schemas.stock import Movement, MovementList
from service.close_outs.tables import close_outs
from service.cursors import read_cursor, write_cursor
from service.database import current_rows
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.stock.listing import shared_zone
from service.stock.tables import oil_movements, stock_movements

_ELSEWHERE = "a job in another plant"
_CLOSE_OUT = re.compile(r"close-out (\d+)")


def movement_page(
    connection: sa.Connection,
    caller: Caller,
    *,
    since_count: bool = True,
    item: str | None = None,
    limit: int,
    cursor: str | None = None,
) -> MovementList:
    """A page; with `since_count` only what happened after its lot was last counted. Jobs of plants that the caller
    does not see are not named."""
    moved = sa.union_all(_parts(since_count), _oil(since_count)).subquery()
    query = sa.select(moved).order_by(moved.c.recorded_at, moved.c.what, moved.c.id).limit(limit + 1)
    if item is not None:
        query = query.where(moved.c.item == item)
    if cursor is not None:
        query = query.where(_after(moved, cursor))
    rows = connection.execute(query).mappings().all()
    page, zone = rows[:limit], shared_zone(connection)
    unseen = _of_other_plants(connection, caller, [row["source"] for row in page])
    items = [_movement(row, unseen, zone) for row in page]
    return MovementList(items=items, next=_cursor(page[-1]) if len(rows) > limit else None)


def _cursor(row: sa.RowMapping) -> str:
    return write_cursor("movements", row["recorded_at"], row["what"], row["id"])


def _after(moved: sa.Subquery, cursor: str) -> sa.ColumnElement[bool]:
    at, what, id_ = read_cursor(cursor, "movements", datetime, str, int)
    same_time = moved.c.recorded_at == at
    return sa.or_(
        moved.c.recorded_at > at,
        sa.and_(same_time, moved.c.what > what),
        sa.and_(same_time, moved.c.what == what, moved.c.id > id_),
    )


def _parts(since_count: bool) -> sa.Select[Any]:
    return _moved(stock_movements, t.stock, "part", "part_number", ("part_number", "store", "lot"), since_count)


def _oil(since_count: bool) -> sa.Select[Any]:
    return _moved(oil_movements, t.oil_stock, "oil", "fluid", ("fluid", "store", "lot", "container_L"), since_count)


def _moved(
    moved: sa.Table, counts: sa.Table, what: str, code: str, same_lot: tuple[str, ...], since_count: bool
) -> sa.Select[Any]:
    query = sa.select(
        sa.literal(what, sa.Text).label("what"),
        *(moved.c[name] for name in ("id", "store", "lot", "at", "recorded_at", "source")),
        moved.c[code].label("item"),
        sa.cast(moved.c.quantity, sa.Double).label("quantity"),
        (moved.c.container_L if what == "oil" else sa.null().cast(sa.Double)).label("container_L"),
    )
    if not since_count:
        return query
    lot = sa.and_(current_rows(counts), *(counts.c[name] == moved.c[name] for name in same_lot))
    counted_at = counts.c.counted_at
    return query.outerjoin(counts, lot).where(sa.or_(counted_at.is_(None), moved.c.at > counted_at))


def _of_other_plants(connection: sa.Connection, caller: Caller, sources: list[str]) -> set[int]:
    """Of the close-outs among `sources` those in plants that the caller does not see."""
    if caller.plants is None:
        return set()
    told = {int(found[1]) for source in sources if (found := _CLOSE_OUT.match(source))}
    query = (
        sa.select(close_outs.c.id, t.systems.c.plant)
        .join(t.systems, t.systems.c.system == close_outs.c.system)
        .where(close_outs.c.id.in_(sorted(told)))
    )
    return {row.id for row in connection.execute(query) if not caller.sees(row.plant)}


def _movement(row: sa.RowMapping, unseen: set[int], zone: ZoneInfo) -> Movement:
    found = _CLOSE_OUT.match(row["source"])
    is_unseen = found is not None and int(found[1]) in unseen
    return Movement(
        **{name: row[name] for name in ("what", "id", "item", "store", "lot")},
        container=None if row["container_L"] is None else Volume(value=row["container_L"], unit="L"),
        quantity=round(row["quantity"], 9),
        at=row["at"].astimezone(zone),
        recorded_at=row["recorded_at"].astimezone(zone),
        source=_ELSEWHERE if is_unseen else row["source"],
    )
