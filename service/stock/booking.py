"""Booking what was used: from the lot that is told, the lot that was picked, or the one that expires first.

Stock never falls below zero in the books: what they did not have is kept as a discrepancy.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

import sqlalchemy as sa

from scheduler.planning.close_out import take_from_lots
from scheduler.planning.kits import ShelfLot
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.time import to_day
from service.stock.queries import counted_at, is_count, shelf_lots
from service.stock.tables import oil_movements, stock_discrepancies, stock_movements
from service.work_orders.tables import picks

_SMALLEST_L = 1e-9


@dataclass(frozen=True, slots=True)
class Use:
    """Pieces of a part that a task used; without a lot, the picked ones first."""

    task: int
    part_number: str
    quantity: int
    store: str | None = None
    lot: str | None = None


def book_parts(connection: sa.Connection, uses: Iterable[Use], *, at: datetime, now: datetime, source: str) -> None:
    """Move every use out of its lots. A lot that was counted since the job needs none: the count has it already."""
    for use in uses:
        lots = _in_order(connection, use, at, now)
        available = [(str(index), lot.quantity) for index, lot in enumerate(lots)]
        taken, missing = take_from_lots(use.quantity, available)
        for index, pieces in taken:
            lot = lots[int(index)]
            connection.execute(
                sa.insert(stock_movements).values(
                    part_number=use.part_number,
                    store=lot.store,
                    lot=lot.lot,
                    quantity=-pieces,
                    at=at,
                    recorded_at=now,
                    source=source,
                )
            )
        if missing:
            connection.execute(
                sa.insert(stock_discrepancies).values(
                    part_number=use.part_number,
                    lot=use.lot or "",
                    missing=float(missing),
                    at=at,
                    recorded_at=now,
                    source=source,
                )
            )


def _in_order(connection: sa.Connection, use: Use, at: datetime, now: datetime) -> list[ShelfLot]:
    """The lots that the use may have come from, the likeliest first. A told lot excludes every other.

    What had expired by the day of the job is taken to be left on the shelf as long as there is anything else.
    """
    job_day = to_day(at)
    counted = counted_at(connection, now)
    lots = [
        replace(lot, quantity=use.quantity) if counted[lot.part_number, lot.store, lot.lot] >= at else lot
        for lot in shelf_lots(connection, now)
        if lot.part_number == use.part_number
    ]
    lots = [lot for lot in lots if lot.quantity > 0]
    if use.lot is not None:
        lots = [lot for lot in lots if lot.lot == use.lot]
    if use.store is not None:
        lots = [lot for lot in lots if lot.store == use.store]
    picked = {
        (row.store, row.lot)
        for row in connection.execute(
            sa.select(picks.c.store, picks.c.lot).where(
                picks.c.task == use.task, picks.c.part_number == use.part_number
            )
        )
    }
    return sorted(
        lots,
        key=lambda lot: (
            (lot.store, lot.lot) not in picked,
            lot.expires_day is not None and lot.expires_day <= job_day,
            float("inf") if lot.expires_day is None else lot.expires_day,
            lot.store,
            lot.lot,
        ),
    )


def book_oil(
    connection: sa.Connection, fluid: str, litres: float, *, lot: str | None, at: datetime, now: datetime, source: str
) -> None:
    """Move litres out of the fluid's containers: opened ones first, then the lot that expires first."""
    missing_L = litres
    for container in _containers(connection, fluid, lot, now):
        is_counted_since = container.counted_at >= at
        part_L = missing_L if is_counted_since else min(missing_L, max(container.left_L, 0.0))
        if part_L <= _SMALLEST_L:
            continue
        missing_L -= part_L
        connection.execute(
            sa.insert(oil_movements).values(
                fluid=fluid,
                store=container.store,
                lot=container.lot,
                container_L=container.container_L,
                quantity=-part_L / container.container_L,
                at=at,
                recorded_at=now,
                source=source,
            )
        )
    if missing_L > _SMALLEST_L:
        connection.execute(
            sa.insert(stock_discrepancies).values(
                fluid=fluid, lot=lot or "", missing=missing_L, at=at, recorded_at=now, source=source
            )
        )


@dataclass(frozen=True, slots=True)
class OilLot:
    """What is left of one lot in containers of one size."""

    fluid: str
    store: str
    lot: str
    container_L: float
    containers: float
    counted_at: datetime
    opened_at: datetime | None
    expires_at: datetime | None
    was_counted: bool

    @property
    def left_L(self) -> float:
        return self.containers * self.container_L


def oil_lots(connection: sa.Connection, now: datetime) -> list[OilLot]:
    """Every lot of every fluid: its last count, plus what has moved since, never below 0."""
    counts = t.oil_stock
    moved: dict[tuple[str, str, str, float], list[tuple[datetime, float]]] = {}
    for row in connection.execute(sa.select(oil_movements).where(oil_movements.c.recorded_at <= now)).mappings():
        key = (row["fluid"], row["store"], row["lot"], row["container_L"])
        moved.setdefault(key, []).append((row["at"], row["quantity"]))
    rows = connection.execute(
        sa.select(counts).where(rows_known_at(counts, now)).order_by(counts.c.fluid, counts.c.store, counts.c.lot)
    ).mappings()
    return [
        OilLot(
            *(row["fluid"], row["store"], row["lot"], row["container_L"]),
            max(
                row["on_hand"]
                + sum(
                    quantity
                    for at, quantity in moved.get((row["fluid"], row["store"], row["lot"], row["container_L"]), [])
                    if at > row["counted_at"]
                ),
                0.0,
            ),
            *(row["counted_at"], row["opened_at"], row["expires_at"], is_count(row["source"])),
        )
        for row in rows
    ]


def _containers(connection: sa.Connection, fluid: str, lot: str | None, now: datetime) -> list[OilLot]:
    found = [each for each in oil_lots(connection, now) if each.fluid == fluid and lot in (None, each.lot)]
    return sorted(
        found,
        key=lambda each: (
            each.opened_at is None,
            each.expires_at is None,
            each.expires_at or now,
            each.store,
            each.lot,
        ),
    )
