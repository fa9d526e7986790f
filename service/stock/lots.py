"""One lot of a part or of an oil: its row, what is in it, and what comes and goes."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.quantities import Volume
from scheduler.units import to_canonical
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact, supersede
from service.plant_folder.nearest import did_you_mean
from service.problems import BadInput, CannotBeTrue
from service.stock.booking import oil_lots
from service.stock.queries import counted_at, shelf_lots
from service.stock.tables import oil_movements, stock_movements

_JUST_BEFORE = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class LotPlace:
    """A lot of a part, or with a container's size of an oil, in a store."""

    item: str
    store: str
    lot: str
    container_L: float | None = None

    @property
    def is_oil(self) -> bool:
        return self.container_L is not None

    @property
    def table_name(self) -> str:
        """Where its counts are."""
        return "oil_stock" if self.is_oil else "stock"

    @property
    def table(self) -> sa.Table:
        return t.oil_stock if self.is_oil else t.stock

    @property
    def key(self) -> dict[str, Any]:
        """Its columns, the same in counts and movements."""
        code = {"fluid": self.item, "container_L": self.container_L} if self.is_oil else {"part_number": self.item}
        return code | {"store": self.store, "lot": self.lot}

    def __str__(self) -> str:
        size = f" ({self.container_L:g} L containers)" if self.container_L is not None else ""
        return f"{self.item} in {self.store}{f', lot {self.lot}' if self.lot else ''}{size}"


def lot_row(connection: sa.Connection, place: LotPlace) -> sa.RowMapping | None:
    """As it was last counted, or begun."""
    table = place.table
    query = sa.select(table).where(current_rows(table), *(table.c[name] == told for name, told in place.key.items()))
    return connection.execute(query).mappings().one_or_none()


def on_hand(connection: sa.Connection, place: LotPlace, now: datetime) -> float | None:
    """Pieces or containers by the books; None for a lot that they do not know."""
    if place.is_oil:
        key = (place.item, place.store, place.lot, place.container_L)
        oil = [lot for lot in oil_lots(connection, now) if (lot.fluid, lot.store, lot.lot, lot.container_L) == key]
        return oil[0].containers if oil else None
    found = [
        lot
        for lot in shelf_lots(connection, now)
        if (lot.part_number, lot.store, lot.lot) == (place.item, place.store, place.lot)
    ]
    return float(found[0].quantity) if found else None


def began_at(connection: sa.Connection, place: LotPlace, now: datetime) -> datetime | None:
    """Since when movements of the lot count: its last count, or when it came. None for a lot that is not known."""
    if place.is_oil:
        row = lot_row(connection, place)
        return None if row is None else row["counted_at"]
    return counted_at(connection, now).get((place.item, place.store, place.lot))


def begin_lot(
    connection: sa.Connection,
    place: LotPlace,
    *,
    at: datetime,
    now: datetime,
    source: str,
    member: str,
    bin_: str | None = None,
    expires_at: datetime | None = None,
) -> None:
    """See that the books have the lot, empty until `at` where it is new; a told bin is where it lies from now on.

    Raises CannotBeTrue where the lot is known to expire at another time.
    """
    told = {"expires_at": expires_at} | ({} if place.is_oil else {"bin": bin_})
    row = lot_row(connection, place)
    if row is None:
        values = place.key | told | {"on_hand": 0, "counted_at": at - _JUST_BEFORE}
        values = {name: value for name, value in values.items() if value is not None}
        record_fact(connection, place.table_name, values, recorded_at=now, source=source)
        return
    known = row["expires_at"]
    if expires_at is not None and known is not None and known != expires_at:
        says = f"{place} expires {known.isoformat()} by {row['source']}; correct that by a count"
        raise CannotBeTrue(says, [MemberProblem(member=member, value=expires_at.isoformat(), says=says)])
    changed: dict[str, Any] = {
        name: value for name, value in told.items() if value is not None and row[name] != value
    }
    if changed:
        if "expires_at" in changed:
            changed["expires_at_is_date"] = False
        # it stays a count of whoever counted, or nobody's: that decides what of the supply it has already
        later = f"{row['source']}, {source}"
        supersede(connection, place.table, row, changed, recorded_at=now, source=later)


def book(
    connection: sa.Connection, place: LotPlace, quantity: float, *, at: datetime, now: datetime, source: str
) -> None:
    """Pieces or containers that come, or that go where negative."""
    table = oil_movements if place.is_oil else stock_movements
    amount = quantity if place.is_oil else int(quantity)
    connection.execute(sa.insert(table).values(**place.key, quantity=amount, at=at, recorded_at=now, source=source))


def refuse_future(member: str, told: datetime, now: datetime) -> None:
    """Raises CannotBeTrue for what is said to have happened after now."""
    if told > now:
        says = f"{told.isoformat()} is in the future; it is {now.isoformat(timespec='seconds')}"
        raise CannotBeTrue(says, [MemberProblem(member=member, value=told.isoformat(), says=says)])


def refuse_unknown(connection: sa.Connection, member: str, code: str, *, is_oil: bool) -> None:
    """Raises CannotBeTrue for a part or a fluid that no catalogue has."""
    tables = [(t.fluids, "fluid")] if is_oil else [(t.element_types, "part_number"), (t.parts, "part_number")]
    for table, column in tables:
        if connection.scalar(sa.select(table.c[column]).where(table.c[column] == code)) is not None:
            return
    known = [each for table, column in tables for each in connection.scalars(sa.select(table.c[column]))]
    says = f"there is no {'fluid' if is_oil else 'part'} '{code}'{did_you_mean(code, known)}"
    raise CannotBeTrue(says, [MemberProblem(member=member, value=code, says=says)])


def container_size_L(member: str, container: Volume) -> float:
    """Raises BadInput for a container that holds nothing."""
    size_L = to_canonical(container.value, container.unit, container.kind)
    if size_L <= 0.0:
        says, shown = "a container holds more than 0 L", f"{container.value:g} {container.unit}"
        raise BadInput(f"{member}: {says}", [MemberProblem(member=f"{member}.container", value=shown, says=says)])
    return size_L


def whole_pieces(member: str, quantity: float) -> None:
    """Raises BadInput for a part of a piece."""
    if not quantity.is_integer():
        says = f"{quantity:g} pieces: expected a whole number"
        raise BadInput(f"{member}: {says}", [MemberProblem(member=member, value=f"{quantity:g}", says=says)])
