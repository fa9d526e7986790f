"""What is on the shelves: the last count of each lot, and what has moved since."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.planning.kits import Arrival, KitSpec, ShelfLot, standing_in
from scheduler.vocabulary import Answer, ElementKind, FluidFamily, WorkOrderState
from service.database import current_rows, rows_known_at
from service.plant_folder import tables as t
from service.plant_store.time import to_day
from service.stock.tables import receipts, stock_movements
from service.work_orders.tables import picks, tasks, work_orders

RECEIVED = "received"
"""The shelf of supply that has come in and stands in no count yet."""

RECEIPT, MOVE = "receipt", "move"
"""How the source of what a receipt or a move wrote begins; neither counts anything."""

LotKey = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class CountedLot:
    """A lot as last counted, or as received since; what was not counted began empty, or as it came."""

    part_number: str
    store: str
    lot: str
    bin: str
    counted: int
    counted_at: datetime
    expires_at: datetime | None
    was_counted: bool

    @property
    def key(self) -> LotKey:
        return (self.part_number, self.store, self.lot)


def counted_lots(connection: sa.Connection, as_of: datetime) -> list[CountedLot]:
    """Every lot that was counted or received, in the order of its codes."""
    counts = t.stock
    rows = connection.execute(
        sa.select(counts)
        .where(rows_known_at(counts, as_of))
        .order_by(counts.c.part_number, counts.c.store, counts.c.lot)
    ).mappings()
    lots = [
        CountedLot(
            *(row["part_number"], row["store"], row["lot"], row["bin"] or ""),
            *(row["on_hand"], row["counted_at"], row["expires_at"], is_count(row["source"])),
        )
        for row in rows
    ]
    last_count: dict[str, datetime] = {}
    for lot in lots:
        if not lot.was_counted:
            continue
        last_count[lot.part_number] = max(lot.counted_at, last_count.get(lot.part_number, lot.counted_at))
    return lots + _received(connection, as_of, last_count)


def _received(connection: sa.Connection, as_of: datetime, last_count: dict[str, datetime]) -> list[CountedLot]:
    """Supply that came in after its part was last counted, and was put nowhere; a later count has it already."""
    orders, put_away = t.supply, lines_put_away(connection, as_of)
    rows = connection.execute(
        sa.select(orders).where(
            rows_known_at(orders, as_of), orders.c.part_number.is_not(None), orders.c.received_at <= as_of
        )
    ).mappings()
    return [
        CountedLot(
            *(row["part_number"], RECEIVED, f"{row['order']}/{row['line']}", ""),
            *(int(row["quantity"]), row["received_at"], None, False),
        )
        for row in rows
        if (row["order"], row["line"]) not in put_away
        and (row["part_number"] not in last_count or row["received_at"] > last_count[row["part_number"]])
    ]


def is_count(source: str) -> bool:
    """Whether somebody counted what a row with this source says; else a receipt or a move began the lot, empty."""
    return source.partition(" ")[0] not in (RECEIPT, MOVE)


def lines_put_away(connection: sa.Connection, as_of: datetime) -> set[tuple[str, str]]:
    """Order and line of supply whose receipt says where it was put: movements have it already."""
    query = sa.select(receipts.c.order, receipts.c.line).where(receipts.c.recorded_at <= as_of)
    return {(row.order, row.line) for row in connection.execute(query)}


def shelf_lots(connection: sa.Connection, as_of: datetime) -> list[ShelfLot]:
    """Lots with what is left in each: count, plus movements since, never below 0."""
    moved = _moved(connection, as_of)
    return [
        ShelfLot(
            *(lot.part_number, lot.store, lot.lot, lot.bin),
            max(lot.counted + sum(quantity for at, quantity in moved.get(lot.key, []) if at > lot.counted_at), 0),
            None if lot.expires_at is None else to_day(lot.expires_at),
        )
        for lot in counted_lots(connection, as_of)
    ]


def counted_at(connection: sa.Connection, as_of: datetime) -> dict[LotKey, datetime]:
    """When each lot was last counted, or came in."""
    return {lot.key: lot.counted_at for lot in counted_lots(connection, as_of)}


def held_back(taken_from: sa.Table) -> sa.ColumnElement[bool]:
    """Of picks joined with their orders: those that nobody else can be given any more."""
    return sa.or_(work_orders.c.state == WorkOrderState.UNDERWAY, taken_from.c.reserved_at.is_not(None))


def free_lots(connection: sa.Connection, as_of: datetime) -> list[ShelfLot]:
    """Lots less what work underway has taken into its hands, and what is reserved for other open work."""
    taken: dict[LotKey, int] = {}
    in_hand = (
        sa.select(picks.c.part_number, picks.c.store, picks.c.lot, sa.func.sum(picks.c.quantity))
        .join(tasks, tasks.c.id == picks.c.task)
        .join(work_orders, work_orders.c.id == tasks.c.work_order)
        .where(tasks.c.state == "open", held_back(picks), picks.c.store.is_not(None))
        .group_by(picks.c.part_number, picks.c.store, picks.c.lot)
    )
    for part_number, store, lot, quantity in connection.execute(in_hand):
        taken[part_number, store, lot] = int(quantity)
    return [
        replace(lot, quantity=max(lot.quantity - taken.get((lot.part_number, lot.store, lot.lot), 0), 0))
        for lot in shelf_lots(connection, as_of)
    ]


def arrivals(connection: sa.Connection, as_of: datetime) -> list[Arrival]:
    """Parts on order that have not come in."""
    orders = t.supply
    rows = connection.execute(
        sa.select(orders).where(
            rows_known_at(orders, as_of),
            orders.c.part_number.is_not(None),
            sa.or_(orders.c.received_at.is_(None), orders.c.received_at > as_of),
        )
    ).mappings()
    return [
        Arrival(row["part_number"], row["order"], row["line"], int(row["quantity"]), to_day(row["expected_at"]))
        for row in rows
    ]


def goes_back_in(kind: str, cleanable: str | None) -> bool:
    """Whether an element of that kind is cleaned and put back, so that a job takes none from the shelf."""
    return kind == ElementKind.STRAINER and cleanable == Answer.YES


def is_worn_out(cleanings: int | None, max_cleanings: int | None) -> bool:
    """Whether a strainer has had all the cleanings that its maker allows."""
    return cleanings is not None and max_cleanings is not None and cleanings >= max_cleanings


def kit_specs(connection: sa.Connection, alternates: dict[str, tuple[str, ...]]) -> dict[str, KitSpec]:
    """What each position takes, by its code."""
    lines: dict[str, list[tuple[str, int]]] = {}
    for row in connection.execute(sa.select(t.kit_lines).order_by(t.kit_lines.c.part_number)).mappings():
        lines.setdefault(row["position"], []).append((row["part_number"], row["quantity"]))
    types = t.element_types
    known = {row.part_number: row for row in connection.execute(sa.select(types))}
    seals = {part: row.seals or "" for part, row in known.items()}
    query = (
        sa.select(
            t.positions.c.position,
            t.positions.c.part_number,
            t.positions.c.quantity,
            t.positions.c.housing_volume_L,
            types.c.kind,
            types.c.cleanable,
            types.c.seal_kit,
            types.c.max_cleanings,
            t.installations.c.cleanings,
            t.fluids.c.fluid,
            t.fluids.c.family,
        )
        .join(types, types.c.part_number == t.positions.c.part_number)
        .join(t.systems, t.systems.c.system == t.positions.c.system)
        .join(t.fluids, t.fluids.c.fluid == t.systems.c.fluid)
        .outerjoin(
            t.installations,
            sa.and_(
                t.installations.c.position == t.positions.c.position,
                t.installations.c.removed_at.is_(None),
                current_rows(t.installations),
            ),
        )
    )
    return {
        row["position"]: KitSpec(
            part_number=row["part_number"],
            quantity=row["quantity"] or 1,
            or_else=standing_in(
                row["part_number"], alternates, seals, FluidFamily(row["family"]) if row["family"] else None
            ),
            seal_kit=row["seal_kit"],
            seal_kits=_own_seal_kits(known, alternates.get(row["part_number"], ()), row["seal_kit"]),
            lines=tuple(lines.get(row["position"], ())),
            cleaned=goes_back_in(row["kind"], row["cleanable"]),
            max_cleanings=row["max_cleanings"],
            worn_out=is_worn_out(row["cleanings"], row["max_cleanings"]),
            oil_lost_L=row["housing_volume_L"],
            fluid=row["fluid"],
        )
        for row in connection.execute(query).mappings()
    }


def _own_seal_kits(
    known: Mapping[str, sa.Row[Any]], alternates: Iterable[str], seal_kit: str | None
) -> dict[str, str]:
    """Of alternates the seal kits of their own, where they differ from the specified element's."""
    kits = {part: known[part].seal_kit for part in alternates if part in known}
    return {part: kit for part, kit in kits.items() if kit is not None and kit != seal_kit}


def _moved(connection: sa.Connection, as_of: datetime) -> dict[LotKey, list[tuple[datetime, int]]]:
    moved: dict[LotKey, list[tuple[datetime, int]]] = {}
    query = sa.select(stock_movements).where(stock_movements.c.recorded_at <= as_of)
    for row in connection.execute(query).mappings():
        moved.setdefault((row["part_number"], row["store"], row["lot"]), []).append((row["at"], row["quantity"]))
    return moved
