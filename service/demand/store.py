"""What the store has, expects and pays: one view for parts and for oils, in pieces or litres.

A line of oil on order is so many of the largest container in which the fluid was ever counted.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

import sqlalchemy as sa

from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_folder.money import minor_digits
from service.plant_store.time import to_day
from service.stock.booking import oil_lots
from service.stock.queries import lines_put_away, shelf_lots
from service.stock.shelves import USUAL_DRUM_L, largest_container_L
from service.work_orders.tables import picks, tasks

OIL = "oil"
"""The kind of item that is a fluid; every other has the word of its catalogue."""


@dataclass(frozen=True, slots=True)
class Held:
    """Pieces or litres of one lot; `expires_d` days from now, infinite where it keeps."""

    quantity: float
    expires_d: float


@dataclass(frozen=True, slots=True)
class Expected:
    """One line of supply that has not come; `expected_d` days from now, negative where it should have."""

    quantity: float
    expected_d: float


@dataclass(slots=True)
class StoreItem:
    """One part or fluid. What the catalogue does not tell is None."""

    code: str
    kind: str
    description: str | None = None
    price: Decimal | None = None  # of a piece
    currency: str | None = None
    lead_time_d: float | None = None
    shelf_life_d: float | None = None
    pack: float = 1.0  # pieces, or litres of one container
    held: list[Held] = field(default_factory=list)
    expected: list[Expected] = field(default_factory=list)
    reserved: float = 0.0
    alternates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Store:
    """Every part and fluid by its code; parts and fluids have name spaces of their own.

    `late_d` holds by how many days each line of supply that came was later than expected.
    """

    parts: Mapping[str, StoreItem]
    fluids: Mapping[str, StoreItem]
    late_d: tuple[float, ...] = ()


def load_store(connection: sa.Connection, as_of: datetime, alternates: Mapping[str, tuple[str, ...]]) -> Store:
    """The store as it was known at `as_of`."""
    parts = {
        row["part_number"]: _part(row, alternates)
        for table in (t.element_types, t.parts)
        for row in _every(connection, table)
    }
    fluids = {row["fluid"]: StoreItem(row["fluid"], OIL, row["name"]) for row in _every(connection, t.fluids)}
    now_day = to_day(as_of)
    for lot in shelf_lots(connection, as_of):
        expires_d = float("inf") if lot.expires_day is None else lot.expires_day - now_day
        parts[lot.part_number].held.append(Held(float(lot.quantity), expires_d))
    oil_counted_at = _hold_oil(connection, as_of, fluids)
    reserved = (
        sa.select(picks.c.part_number, sa.func.sum(picks.c.quantity))
        .join(tasks, tasks.c.id == picks.c.task)
        .where(tasks.c.state == "open", picks.c.store.is_not(None))
        .group_by(picks.c.part_number)
    )
    for part_number, quantity in connection.execute(reserved):
        parts[part_number].reserved = float(quantity)
    store = Store(parts, fluids)
    return replace(store, late_d=tuple(_expect(connection, as_of, store, oil_counted_at)))


def _every(connection: sa.Connection, table: sa.Table) -> list[Mapping[str, Any]]:
    return [dict(row) for row in connection.execute(sa.select(table)).mappings()]


def _part(row: Mapping[str, Any], alternates: Mapping[str, tuple[str, ...]]) -> StoreItem:
    price = row["price_minor"]
    return StoreItem(
        code=row["part_number"],
        kind=row["kind"],
        description=row["description"],
        price=None if price is None else Decimal(price).scaleb(-minor_digits(row["currency"] or "")),
        currency=row["currency"],
        lead_time_d=row["lead_time_d"],
        shelf_life_d=row["shelf_life_d"],
        pack=float(row["pack"] or 1),
        alternates=alternates.get(row["part_number"], ()),
    )


def _hold_oil(connection: sa.Connection, as_of: datetime, fluids: Mapping[str, StoreItem]) -> Mapping[str, datetime]:
    """Give every fluid its lots; returns when each was last counted."""
    counted = oil_lots(connection, as_of)
    last_count: dict[str, datetime] = {}
    for lot in counted:
        expires_d = float("inf") if lot.expires_at is None else to_day(lot.expires_at) - to_day(as_of)
        fluids[lot.fluid].held.append(Held(lot.left_L, expires_d))
        if lot.was_counted:
            last_count[lot.fluid] = max(lot.counted_at, last_count.get(lot.fluid, lot.counted_at))
    largest = largest_container_L(counted)
    for code, fluid in fluids.items():
        fluid.pack = largest.get(code, USUAL_DRUM_L)
    return last_count


def _expect(
    connection: sa.Connection, as_of: datetime, store: Store, oil_counted_at: Mapping[str, datetime]
) -> Iterator[float]:
    """Give every item what is on order, and every fluid what came since it was counted; tells by how many days each
    line that came was late."""
    now_day, put_away = to_day(as_of), lines_put_away(connection, as_of)
    for row in connection.execute(sa.select(t.supply).where(rows_known_at(t.supply, as_of))).mappings():
        item = store.parts[row["part_number"]] if row["part_number"] else store.fluids[row["fluid"]]
        quantity = float(row["quantity"] if row["part_number"] else row["quantity"] * item.pack)
        expected_day, received_at = to_day(row["expected_at"]), row["received_at"]
        if received_at is None or received_at > as_of:
            item.expected.append(Expected(quantity, expected_day - now_day))
            continue
        yield to_day(received_at) - expected_day
        counted_at = oil_counted_at.get(item.code)
        if row["fluid"] is None or (row["order"], row["line"]) in put_away:
            continue  # the shelves have it
        if counted_at is None or received_at > counted_at:
            item.held.append(Held(quantity, float("inf")))
