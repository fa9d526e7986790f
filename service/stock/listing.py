"""What lies where, lot by lot, and for which orders it is held."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.quantities import Volume
from api_schemas.stock import HeldPieces, HeldVolume, OilOnShelf, PartOnShelf, StockList
from service.cursors import read_cursor, write_cursor
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.stock.booking import OilLot, oil_lots
from service.stock.queries import CountedLot, counted_lots, held_back, shelf_lots
from service.work_orders.cards import litres
from service.work_orders.tables import oil_picks, picks, tasks, work_orders

LONGEST_PAGE = 1000

OnShelf = PartOnShelf | OilOnShelf
_Key = tuple[str, str, str, str, float]
_KEY_KINDS = (str, str, str, str, float)
_Held = dict[tuple[Any, ...], list[tuple[int | None, float]]]


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which stock is asked for; None asks for all."""

    part_number: str | None = None
    fluid: str | None = None
    store: str | None = None

    def takes(self, item: OnShelf) -> bool:
        """Whether it is asked for."""
        if self.store not in (None, item.store):
            return False
        if self.part_number is None and self.fluid is None:
            return True
        return (item.part_number == self.part_number) if item.what == "part" else (item.fluid == self.fluid)


def stock_page(
    connection: sa.Connection, caller: Caller, now: datetime, chosen: Chosen, *, limit: int, cursor: str | None = None
) -> StockList:
    """A page, in order of kinds, codes and stores; orders of plants that the caller does not see stay unnamed."""
    after = None if cursor is None else read_cursor(cursor, "stock", *_KEY_KINDS)
    items = [item for item in stock_items(connection, caller, now, chosen) if after is None or _key(item) > after]
    page = items[:limit]
    return StockList(items=page, next=write_cursor("stock", *_key(page[-1])) if len(items) > limit else None)


def stock_items(connection: sa.Connection, caller: Caller, now: datetime, chosen: Chosen) -> list[OnShelf]:
    """All of it."""
    zone = shared_zone(connection)
    found: list[OnShelf] = [*_oil(connection, caller, now, zone), *_parts(connection, caller, now, zone)]
    return sorted((item for item in found if chosen.takes(item)), key=_key)


def shared_zone(connection: sa.Connection) -> ZoneInfo:
    """Of what plants share: their zone where all have the same, else UTC."""
    zones = set(connection.scalars(sa.select(t.plants.c.time_zone)))
    return ZoneInfo(zones.pop() if len(zones) == 1 else "UTC")


def _key(item: OnShelf) -> _Key:
    if item.what == "part":
        return (item.what, item.part_number, item.store, item.lot, 0.0)
    return (item.what, item.fluid, item.store, item.lot, float(item.container.value))


def _parts(connection: sa.Connection, caller: Caller, now: datetime, zone: ZoneInfo) -> Iterator[PartOnShelf]:
    columns = [picks.c[name] for name in ("part_number", "store", "lot")]
    held = _held(connection, caller, picks, columns, picks.c.quantity)
    described = _descriptions(connection)
    left = {(lot.part_number, lot.store, lot.lot): lot.quantity for lot in shelf_lots(connection, now)}
    for lot in counted_lots(connection, now):
        orders = [HeldPieces(work_order=order, quantity=int(amount)) for order, amount in held.get(lot.key, [])]
        yield _part(lot, left[lot.key], orders, described.get(lot.part_number), now, zone)


def _part(
    lot: CountedLot, left: int, orders: list[HeldPieces], description: str | None, now: datetime, zone: ZoneInfo
) -> PartOnShelf:
    return PartOnShelf(
        what="part",
        part_number=lot.part_number,
        description=description,
        store=lot.store,
        lot=lot.lot,
        bin=lot.bin or None,
        on_hand=left,
        held=sum(each.quantity for each in orders),
        held_for=orders,
        counted_at=lot.counted_at.astimezone(zone) if lot.was_counted else None,
        expires_at=_local(lot.expires_at, zone),
        expired=lot.expires_at is not None and lot.expires_at <= now,
    )


def _oil(connection: sa.Connection, caller: Caller, now: datetime, zone: ZoneInfo) -> Iterator[OilOnShelf]:
    columns = [oil_picks.c[name] for name in ("fluid", "store", "lot", "container_L")]
    held = _held(connection, caller, oil_picks, columns, oil_picks.c.volume_L)
    names = {row.fluid: row.name for row in connection.execute(sa.select(t.fluids.c.fluid, t.fluids.c.name))}
    for lot in oil_lots(connection, now):
        orders = [
            HeldVolume(work_order=order, volume=litres(volume_L))
            for order, volume_L in held.get((lot.fluid, lot.store, lot.lot, lot.container_L), [])
        ]
        yield _oil_lot(lot, orders, names.get(lot.fluid), now, zone)


def _oil_lot(lot: OilLot, orders: list[HeldVolume], name: str | None, now: datetime, zone: ZoneInfo) -> OilOnShelf:
    return OilOnShelf(
        what="oil",
        fluid=lot.fluid,
        name=name,
        store=lot.store,
        lot=lot.lot,
        container=Volume(value=lot.container_L, unit="L"),
        containers=round(lot.containers, 6),
        on_hand=litres(lot.left_L),
        held=litres(sum(each.volume.value for each in orders)),
        held_for=orders,
        counted_at=lot.counted_at.astimezone(zone) if lot.was_counted else None,
        opened_at=_local(lot.opened_at, zone),
        expires_at=_local(lot.expires_at, zone),
        expired=lot.expires_at is not None and lot.expires_at <= now,
    )


def _held(
    connection: sa.Connection,
    caller: Caller,
    table: sa.Table,
    columns: list[sa.Column[Any]],
    amount: sa.Column[Any],
) -> _Held:
    """By lot: which orders have it in hand or reserved, and how much; those of other plants together, unnamed."""
    found: dict[tuple[Any, ...], dict[int | None, float]] = {}
    query = (
        sa.select(work_orders.c.id, work_orders.c.plant, amount.label("amount"), *columns)
        .select_from(table)
        .join(tasks, tasks.c.id == table.c.task)
        .join(work_orders, work_orders.c.id == tasks.c.work_order)
        .where(tasks.c.state == "open", held_back(table), table.c.store.is_not(None))
        .order_by(work_orders.c.id, table.c.id)
    )
    for order, plant, quantity, *lot in connection.execute(query):
        of_lot = found.setdefault(tuple(lot), {})
        named = order if caller.sees(plant) else None
        of_lot[named] = of_lot.get(named, 0.0) + float(quantity)
    return {lot: list(of_lot.items()) for lot, of_lot in found.items()}


def _descriptions(connection: sa.Connection) -> dict[str, str | None]:
    return {
        row.part_number: row.description
        for table in (t.parts, t.element_types)
        for row in connection.execute(sa.select(table.c.part_number, table.c.description))
    }


def _local(moment: datetime | None, zone: ZoneInfo) -> datetime | None:
    return None if moment is None else moment.astimezone(zone)
