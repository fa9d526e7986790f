"""What jobs can be given: parts and oil that nobody holds, what is on order, and what is reserved for whom."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

import sqlalchemy as sa

from scheduler.planning.kits import Subject
from scheduler.planning.oil_kits import OilArrival, OilShelf
from scheduler.planning.pipeline import Shelves
from scheduler.vocabulary import TaskKind
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.time import to_day
from service.stock.booking import OilLot, oil_lots
from service.stock.queries import arrivals, free_lots, held_back
from service.work_orders.tables import oil_picks, picks, tasks, work_orders

USUAL_DRUM_L = 208.0
"""A container of a fluid of which none was ever counted: the usual drum; common practice, no source."""

_OilLot = tuple[str, str, str, float]


def load_shelves(connection: sa.Connection, as_of: datetime) -> Shelves:
    """As they stood at `as_of`; what is reserved or in hand is today's."""
    reserved, reserved_as = _reserved(connection)
    counted = oil_lots(connection, as_of)
    return Shelves(
        lots=tuple(free_lots(connection, as_of)),
        supply=tuple(arrivals(connection, as_of)),
        oil=tuple(_free_oil(connection, counted)),
        oil_supply=tuple(_oil_arrivals(connection, counted, as_of)),
        reserved=reserved,
        reserved_as=reserved_as,
        reserved_oil_L=_reserved_oil(connection),
    )


def largest_container_L(lots: Iterable[OilLot]) -> Mapping[str, float]:
    """Of each fluid the largest container in which it was counted."""
    largest: dict[str, float] = {}
    for lot in lots:
        largest[lot.fluid] = max(largest.get(lot.fluid, 0.0), lot.container_L)
    return largest


def _free_oil(connection: sa.Connection, counted: Sequence[OilLot]) -> list[OilShelf]:
    held_L: dict[_OilLot, float] = {}
    query = (
        sa.select(*_key(oil_picks), sa.func.sum(oil_picks.c.volume_L))
        .join(tasks, tasks.c.id == oil_picks.c.task)
        .join(work_orders, work_orders.c.id == tasks.c.work_order)
        .where(tasks.c.state == "open", held_back(oil_picks), oil_picks.c.store.is_not(None))
        .group_by(*_key(oil_picks))
    )
    for *key, volume_L in connection.execute(query):
        fluid, store, lot, container_L = key
        held_L[fluid, store, lot, container_L] = float(volume_L)
    return [
        OilShelf(
            *(lot.fluid, lot.store, lot.lot, lot.container_L),
            max(lot.left_L - held_L.get((lot.fluid, lot.store, lot.lot, lot.container_L), 0.0), 0.0),
            lot.opened_at is not None,
            None if lot.expires_at is None else to_day(lot.expires_at),
        )
        for lot in counted
    ]


def _oil_arrivals(connection: sa.Connection, counted: Sequence[OilLot], as_of: datetime) -> list[OilArrival]:
    """Lines of supply count containers; a container is the largest in which the fluid was counted."""
    largest = largest_container_L(counted)
    orders = t.supply
    rows = connection.execute(
        sa.select(orders).where(
            rows_known_at(orders, as_of),
            orders.c.fluid.is_not(None),
            sa.or_(orders.c.received_at.is_(None), orders.c.received_at > as_of),
        )
    ).mappings()
    return [
        OilArrival(
            *(row["fluid"], row["order"], row["line"]),
            row["quantity"] * largest.get(row["fluid"], USUAL_DRUM_L),
            to_day(row["expected_at"]),
        )
        for row in rows
    ]


def _reserved(connection: sa.Connection) -> tuple[dict[Subject, dict[str, int]], dict[Subject, dict[str, str]]]:
    """By task and needed part: the pieces held, and which part they are."""
    found: dict[Subject, dict[str, int]] = {}
    met_with: dict[Subject, dict[str, str]] = {}
    query = (
        sa.select(tasks.c.system, tasks.c.position, tasks.c.kind, picks)
        .join(picks, picks.c.task == tasks.c.id)
        .where(tasks.c.state == "open", picks.c.reserved_at.is_not(None))
    )
    for row in connection.execute(query).mappings():
        subject = (row["system"], row["position"], TaskKind(row["kind"]))
        of_task = found.setdefault(subject, {})
        needed = row["instead_of"] or row["part_number"]
        of_task[needed] = of_task.get(needed, 0) + row["quantity"]
        met_with.setdefault(subject, {})[needed] = row["part_number"]
    return found, met_with


def _reserved_oil(connection: sa.Connection) -> dict[Subject, float]:
    query = (
        sa.select(tasks.c.system, tasks.c.position, tasks.c.kind, sa.func.sum(oil_picks.c.volume_L))
        .join(oil_picks, oil_picks.c.task == tasks.c.id)
        .where(tasks.c.state == "open", oil_picks.c.reserved_at.is_not(None))
        .group_by(tasks.c.system, tasks.c.position, tasks.c.kind)
    )
    return {
        (system, position, TaskKind(kind)): float(volume_L)
        for system, position, kind, volume_L in connection.execute(query)
    }


def _key(taken_from: sa.Table) -> list[sa.Column[object]]:
    return [taken_from.c[name] for name in ("fluid", "store", "lot", "container_L")]
