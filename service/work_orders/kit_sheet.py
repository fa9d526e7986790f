"""The kit of one order on one sheet, for whoever fetches it: lot by lot in the order of the shelves."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.work_orders import KitLine, KitOilLine, KitSheet
from scheduler.engineering.containers import oil_mass_kg
from service.database import current_rows
from service.plant_folder import tables as t
from service.work_orders.cards import litres, zone_of
from service.work_orders.tables import oil_picks, picks, tasks
from service.work_orders.verbs import order_row

Values = dict[str, Any]
_SAME_PART = ("part_number", "instead_of", "store", "bin", "lot", "arrives_at", "arrives_with", "reserved")
_SAME_OIL = ("fluid", "container_L", "store", "lot", "arrives_at", "arrives_with", "reserved")


def kit_sheet(connection: sa.Connection, order_id: int) -> KitSheet:
    """Raises NotFound."""
    order = order_row(connection, order_id)
    zone = zone_of(connection, order["plant"])
    parts = [
        KitLine(**_part_line(connection, rows, zone)) for rows in _alike(connection, order_id, picks, _SAME_PART)
    ]
    oil = [
        KitOilLine(**_oil_line(connection, rows, zone)) for rows in _alike(connection, order_id, oil_picks, _SAME_OIL)
    ]
    return KitSheet(
        work_order=order_id,
        system=order["system"],
        planned_for=order["planned_for"].astimezone(zone),
        short=any(line.store is None for line in parts) or any(line.store is None for line in oil),
        parts=parts,
        oil=oil,
    )


def _alike(connection: sa.Connection, order_id: int, table: sa.Table, same: Sequence[str]) -> Iterator[list[Values]]:
    """Rows that are fetched together; shelf by shelf, what is short last."""
    query = (
        sa.select(table, tasks.c.position)
        .join(tasks, tasks.c.id == table.c.task)
        .where(tasks.c.work_order == order_id, tasks.c.state == "open")
        .order_by(table.c.id)
    )
    rows = [{**row, "reserved": row["reserved_at"] is not None} for row in connection.execute(query).mappings()]

    def alike(row: Values) -> tuple[Any, ...]:
        return tuple(row[name] for name in same)

    def shelf(row: Values) -> tuple[Any, ...]:
        return (row["store"] is None, *(str(row.get(name) or "") for name in ("store", "bin", *same)))

    for _, together in groupby(sorted(rows, key=shelf), key=alike):
        yield list(together)


def _shared(rows: Sequence[Values], zone: ZoneInfo) -> Values:
    first = rows[0]
    return {
        **{name: first[name] for name in ("store", "lot", "arrives_with", "reserved")},
        "arrives_at": None if first["arrives_at"] is None else first["arrives_at"].astimezone(zone),
        "positions": list(dict.fromkeys(row["position"] for row in rows)),
    }


def _part_line(connection: sa.Connection, rows: Sequence[Values], zone: ZoneInfo) -> Values:
    first = rows[0]
    stock = t.stock
    expires_at = connection.scalar(
        sa.select(stock.c.expires_at).where(
            *(current_rows(stock), stock.c.part_number == first["part_number"]),
            *(stock.c.store == (first["store"] or ""), stock.c.lot == (first["lot"] or "")),
        )
    )
    return {
        **_shared(rows, zone),
        **{name: first[name] for name in ("part_number", "instead_of", "bin")},
        "description": description_of(connection, first["part_number"]),
        "quantity": sum(row["quantity"] for row in rows),
        "expires_at": None if expires_at is None else expires_at.astimezone(zone),
    }


def description_of(connection: sa.Connection, part_number: str) -> str | None:
    """As the catalogue has it, else what kind of part it is."""
    for table in (t.element_types, t.parts):
        row = connection.execute(sa.select(table).where(table.c.part_number == part_number)).mappings().one_or_none()
        if row is not None:
            return str(row["description"] or row["kind"].replace("_", " "))
    return None


def _oil_line(connection: sa.Connection, rows: Sequence[Values], zone: ZoneInfo) -> Values:
    first = rows[0]
    stock = t.oil_stock
    expires_at = connection.scalar(
        sa.select(stock.c.expires_at).where(
            *(current_rows(stock), stock.c.fluid == first["fluid"], stock.c.store == (first["store"] or "")),
            *(stock.c.lot == (first["lot"] or ""), stock.c.container_L == (first["container_L"] or 0.0)),
        )
    )
    fluid = connection.execute(sa.select(t.fluids).where(t.fluids.c.fluid == first["fluid"])).mappings().one()
    volume_L = sum(row["volume_L"] for row in rows)
    density = fluid["density_15_kg_m3"]
    return {
        **_shared(rows, zone),
        "fluid": first["fluid"],
        "name": fluid["name"],
        "volume": litres(volume_L),
        "container": None if first["container_L"] is None else litres(first["container_L"]),
        "expires_at": None if expires_at is None else expires_at.astimezone(zone),
        "mass_kg": None if density is None else round(oil_mass_kg(volume_L, density), 1),
    }
