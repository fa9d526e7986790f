"""What follows from a close-out: the installation ends and the next begins, readings, oil and stock are booked.

Every row names the close-out as its source. All of it is recorded when it was received.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn, FittedElement
from api_schemas.quantities import WireQuantity
from scheduler.planning.close_out import removal_reason
from scheduler.units import to_canonical
from scheduler.vocabulary import MeterReadingKind, Stage
from service.close_outs.statement import Readings, sides_told
from service.close_outs.subject import Subject
from service.database import current_rows
from service.plant_folder import tables as t
from service.plant_folder.facts import record_fact, supersede
from service.plant_folder.layout import DATA_MISSING_NOTE
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
    cleaned: bool  # the strainer went back in
    now: datetime
    source: str


def apply_consequences(connection: sa.Connection, record: Record) -> None:
    """Write everything that follows, in the caller's transaction."""
    told = record.told
    position = record.subject.position
    _catalogue_unknown(connection, record)
    if position is not None:
        if record.changed:
            _end_stay(connection, record)
            _begin_stay(connection, record, position)
        keep_dp(connection, position["position"], told, at=told.at, now=record.now, source=record.source)
    if told.hours is not None:
        _keep_hours(connection, record, told.hours)
    uses = [use for use in (_element_use(record), *_part_uses(connection, record)) if use is not None]
    book_parts(connection, uses, at=told.at, now=record.now, source=record.source)
    _pour(connection, record)


def _catalogue_unknown(connection: sa.Connection, record: Record) -> None:
    """What was really fitted or poured may be in no catalogue: it gets an entry that says so, and nothing else."""
    notes = {DATA_MISSING_NOTE: "added by a close-out"}
    position = record.subject.position
    if record.changed and position is not None and not _is_known(connection, t.element_types, record.element):
        values = {"part_number": record.element, "kind": position["element_kind"], "notes": notes}
        connection.execute(sa.insert(t.element_types).values(**values))
    for fluid in {oil.fluid for oil in record.told.oil}:
        if not _is_known(connection, t.fluids, fluid):
            connection.execute(sa.insert(t.fluids).values(fluid=fluid, notes=notes))


def _is_known(connection: sa.Connection, catalogue: sa.Table, code: str) -> bool:
    (key,) = catalogue.primary_key.columns
    return connection.execute(sa.select(key).where(key == code)).first() is not None


def keep_dp(
    connection: sa.Connection, position: str, told: Readings, *, at: datetime, now: datetime, source: str
) -> None:
    """The ΔP readings around the change at `at`, each on its side of it."""
    stages = {"dp_before": Stage.BEFORE, "dp_after": Stage.AFTER}
    for member, reading in sides_told(told).items():
        values = {
            "position": position,
            "at": reading.at or at,
            "stage": stages[member],
            "dp_bar": canonical(reading.dp),
            "vacuum_bar": canonical(reading.vacuum),
            "indicator": reading.indicator,
            "flow_lpm": canonical(reading.flow),
            "oil_temperature_degC": canonical(reading.oil_temperature),
        }
        record_fact(connection, "dp_readings", values, recorded_at=now, source=source)


def _keep_hours(connection: sa.Connection, record: Record, hours: float) -> None:
    position = record.subject.position
    values = {
        "system": record.subject.system,
        "meter": "" if position is None else position["meter"] or "",
        "at": record.told.at,
        "kind": MeterReadingKind.READING,
        "hours": hours,
    }
    _keep(connection, record, "meter_readings", values)


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
        "reason": removal_reason(
            told.reason,
            record.subject.trigger,
            ordered=record.subject.ordered,
            before_due_d=(record.subject.due_at - told.at) / timedelta(days=1),
        ),
        "condition": told.condition,
    }
    ended = {name: value for name, value in changed.items() if value is not None}
    supersede(connection, t.installations, record.stay, ended, recorded_at=record.now, source=record.source)


def _begin_stay(connection: sa.Connection, record: Record, position: sa.RowMapping) -> None:
    told, element = record.told, record.told.element or FittedElement()
    values = {
        "position": position["position"],
        "fitted_at": told.at,
        "part_number": record.element,
        "fitted_hours": told.hours,
        "lot": element.lot,
        "serial": element.serial,
        "cleanings": told.cleanings,
    }
    if record.cleaned and record.stay is not None:
        values |= {"lot": record.stay["lot"], "serial": record.stay["serial"]}
        values["cleanings"] = told.cleanings if told.cleanings is not None else (record.stay["cleanings"] or 0) + 1
    _keep(connection, record, "installations", values)


def _element_use(record: Record) -> Use | None:
    position = record.subject.position
    if not record.changed or position is None or record.cleaned:
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
            "volume_L": litres + _poured_at_the_same_minute(connection, record, fluid),
            "through_filter": through,
            "lot": first.lot,
        }
        _keep(connection, record, "top_ups", values)


def _poured_at_the_same_minute(connection: sa.Connection, record: Record, fluid: str) -> float:
    """What another job of the system has poured at that very time: a top-up has no other name than its moment."""
    kept = t.top_ups
    query = sa.select(sa.func.sum(kept.c.volume_L)).where(
        current_rows(kept),
        kept.c.system == record.subject.system,
        kept.c.at == record.told.at,
        kept.c.fluid == fluid,
        kept.c.source.startswith("close-out "),
    )
    return float(connection.scalar(query) or 0.0)
