"""What follows from a close-out: the installation ends and the next begins, readings, oil and stock are booked.

Every row names the close-out as its source. All of it is recorded when it was received.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn, DpReading, FittedElement
from api_schemas.quantities import WireQuantity
from scheduler.planning.close_out import removal_reason
from scheduler.units import to_canonical
from scheduler.vocabulary import MeterReadingKind, Stage, TaskKind
from service.close_outs.subject import Subject
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact, supersede
from service.stock.booking import Use, book_oil, book_parts
from service.work_orders.tables import picks


@dataclass(frozen=True, slots=True)
class Record:
    """The close-out being recorded."""

    subject: Subject
    told: CloseOutIn
    stay: sa.RowMapping | None
    element: str
    changed: bool
    now: datetime
    source: str


def apply_consequences(connection: sa.Connection, record: Record) -> None:
    """Write everything that follows, in the caller's transaction."""
    told = record.told
    position = record.subject.position
    if position is not None:
        if record.changed:
            _end_stay(connection, record)
            _begin_stay(connection, record, position)
        if told.hours is not None:
            _keep(
                connection,
                record,
                "meter_readings",
                {
                    "system": record.subject.system,
                    "meter": position["meter"] or "",
                    "at": told.at,
                    "kind": MeterReadingKind.READING,
                    "hours": told.hours,
                },
            )
        keep_dp(connection, record, position["position"], told.dp_before, told.dp_after)
    uses = [use for use in (_element_use(record), *_part_uses(connection, record)) if use is not None]
    book_parts(connection, uses, at=told.at, now=record.now, source=record.source)
    _pour(connection, record)


def keep_dp(
    connection: sa.Connection, record: Record, position: str, before: DpReading | None, after: DpReading | None
) -> None:
    """The ΔP readings around the change, each on its side of it."""
    for reading, stage in ((before, Stage.BEFORE), (after, Stage.AFTER)):
        if reading is not None:
            values = {
                "position": position,
                "at": reading.at or record.told.at,
                "stage": stage,
                "dp_bar": canonical(reading.dp),
                "flow_lpm": canonical(reading.flow),
                "oil_temperature_degC": canonical(reading.oil_temperature),
            }
            _keep(connection, record, "dp_readings", values)


def canonical(quantity: WireQuantity | None) -> float | None:
    """A wire quantity in its canonical unit."""
    return None if quantity is None else to_canonical(quantity.value, quantity.unit, quantity.kind)


def _keep(connection: sa.Connection, record: Record, table: str, values: dict[str, Any]) -> None:
    record_fact(connection, table, values, recorded_at=record.now, source=record.source)


def _end_stay(connection: sa.Connection, record: Record) -> None:
    if record.stay is None:
        return
    told = record.told
    changed = {
        "removed_at": told.at,
        "removed_at_is_date": False,
        "removed_hours": told.hours,
        "reason": removal_reason(told.reason, record.subject.trigger, ordered=record.subject.ordered),
        "condition": told.condition,
    }
    ended = {name: value for name, value in changed.items() if value is not None}
    supersede(connection, t.installations, record.stay, ended, recorded_at=record.now, source=record.source)


def _begin_stay(connection: sa.Connection, record: Record, position: sa.RowMapping) -> None:
    told, element = record.told, record.told.element or FittedElement()
    put_back = record.subject.kind is TaskKind.SERVICE_STRAINER and told.element is None and record.stay is not None
    values = {
        "position": position["position"],
        "fitted_at": told.at,
        "part_number": record.element,
        "fitted_hours": told.hours,
        "lot": element.lot,
        "serial": element.serial,
        "cleanings": told.cleanings,
    }
    if put_back and record.stay is not None:
        values |= {"lot": record.stay["lot"], "serial": record.stay["serial"]}
        values["cleanings"] = told.cleanings if told.cleanings is not None else (record.stay["cleanings"] or 0) + 1
    _keep(connection, record, "installations", values)


def _element_use(record: Record) -> Use | None:
    position = record.subject.position
    put_back = record.subject.kind is TaskKind.SERVICE_STRAINER and record.told.element is None
    if not record.changed or position is None or put_back:
        return None
    element = record.told.element or FittedElement()
    return Use(record.subject.task, record.element, position["quantity"] or 1, element.store, element.lot)


def _part_uses(connection: sa.Connection, record: Record) -> list[Use]:
    task = record.subject.task
    if record.told.parts is not None:
        return [Use(task, part.part_number, part.quantity, part.store, part.lot) for part in record.told.parts]
    if not record.changed:
        return []
    return _picked_beside_element(connection, record)


def _picked_beside_element(connection: sa.Connection, record: Record) -> list[Use]:
    """Seal kits and kit lines that were picked for the task; the element itself is told apart."""
    types = sa.select(t.element_types.c.part_number)
    rows = connection.execute(
        sa.select(picks).where(
            picks.c.task == record.subject.task, picks.c.store.is_not(None), picks.c.part_number.not_in(types)
        )
    ).mappings()
    return [Use(record.subject.task, row["part_number"], row["quantity"], row["store"], row["lot"]) for row in rows]


def _pour(connection: sa.Connection, record: Record) -> None:
    poured: dict[str, float] = {}
    for oil in record.told.oil:
        litres = canonical(oil.volume) or 0.0
        poured[oil.fluid] = poured.get(oil.fluid, 0.0) + litres
        book_oil(connection, oil.fluid, litres, lot=oil.lot, at=record.told.at, now=record.now, source=record.source)
    for fluid, litres in poured.items():
        first = next(oil for oil in record.told.oil if oil.fluid == fluid)
        through = None if first.through_filter is None else ("yes" if first.through_filter else "no")
        values = {
            "system": record.subject.system,
            "at": record.told.at,
            "fluid": fluid,
            "volume_L": litres,
            "through_filter": through,
            "lot": first.lot,
        }
        _keep(connection, record, "top_ups", values)
