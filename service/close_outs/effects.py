"""What follows from a close-out, as data: the stays that end and begin, readings, parts and oil used.

Nothing is written here, so that a correction can hold what followed before against what follows now.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn, FittedElement, LevelSeen
from api_schemas.quantities import WireQuantity
from scheduler.planning.close_out import removal_reason
from scheduler.units import to_canonical
from scheduler.vocabulary import Found, MeterReadingKind, Stage, TaskKind, YesNo
from service.close_outs.checking import Checked
from service.close_outs.statement import Readings, sides_told
from service.close_outs.subject import Subject
from service.plant_folder import tables as t
from service.stock.booking import Use
from service.work_orders.tables import picks

Values = dict[str, Any]

STAGES = {"dp_before": Stage.BEFORE, "dp_after": Stage.AFTER}


@dataclass(frozen=True, slots=True)
class Poured:
    """Oil as one line of the close-out says it."""

    fluid: str
    litres: float
    lot: str | None


@dataclass(frozen=True, slots=True)
class Effects:
    """Everything that one close-out makes true. `ends` and `begins` are empty where no element was changed.

    `readings` are rows of fact tables, `top_ups` those of one fluid each, with this job's litres alone.
    """

    ends: Values = field(default_factory=dict)
    begins: Values = field(default_factory=dict)
    readings: tuple[tuple[str, Values], ...] = ()
    uses: tuple[Use, ...] = ()
    poured: tuple[Poured, ...] = ()
    top_ups: tuple[Values, ...] = ()


def effects_of(connection: sa.Connection, told: CloseOutIn, subject: Subject, checked: Checked) -> Effects:
    """What follows from `told`, of which `checked` says how it is meant."""
    position = subject.position
    readings: list[tuple[str, Values]] = []
    if position is not None:
        readings += [("dp_readings", values) for values in dp_values(position["position"], told, told.at)]
    if told.hours is not None:
        readings.append(("meter_readings", _meter_values(told, subject)))
    if told.found:
        readings.append(("findings", _finding(told, told.found, subject)))
    if told.level is not None:
        readings.append(("level_checks", _level_values(told, told.level, subject)))
    return Effects(
        ends=_ends(told, subject) if checked.changed and checked.stay is not None else {},
        begins=_begins(told, subject, position, checked) if checked.changed and position is not None else {},
        readings=tuple(readings),
        uses=(*_element_uses(told, subject, checked), *_part_uses(connection, told, subject, checked)),
        poured=tuple(Poured(oil.fluid, canonical(oil.volume) or 0.0, oil.lot) for oil in told.oil),
        top_ups=tuple(_top_ups(told, subject)),
    )


def dp_values(position: str, told: Readings, at: datetime) -> list[Values]:
    """The ΔP readings around the change at `at`, each on its side of it."""
    return [
        {
            "position": position,
            "at": reading.at or at,
            "stage": STAGES[member],
            "dp_bar": canonical(reading.dp),
            "vacuum_bar": canonical(reading.vacuum),
            "indicator": reading.indicator,
            "flow_lpm": canonical(reading.flow),
            "oil_temperature_degC": canonical(reading.oil_temperature),
        }
        for member, reading in sides_told(told).items()
    ]


def canonical(quantity: WireQuantity | None) -> float | None:
    """A wire quantity in its canonical unit."""
    return None if quantity is None else to_canonical(quantity.value, quantity.unit, quantity.kind)


def _meter_values(told: CloseOutIn, subject: Subject) -> Values:
    return {
        "system": subject.system,
        "meter": subject.meter,
        "at": told.at,
        "kind": MeterReadingKind.READING,
        "hours": told.hours,
    }


def _finding(told: CloseOutIn, found: Sequence[Found], subject: Subject) -> Values:
    return {
        "system": subject.system,
        "at": told.at,
        "position": "" if subject.position is None else subject.position["position"],
        "found": [each.value for each in Found if each in found],  # in one order, however it was told
        "note": told.condition,
    }


def _level_values(told: CloseOutIn, seen: LevelSeen, subject: Subject) -> Values:
    return {
        "system": subject.system,
        "at": told.at,
        "level_pct": canonical(seen.level),
        "volume_below_full_L": canonical(seen.below_full),
        "at_rest": YesNo.YES if seen.at_rest else YesNo.NO,
        "defined_position": YesNo.YES if seen.defined_position else YesNo.NO,
    }


def _ends(told: CloseOutIn, subject: Subject) -> Values:
    return {
        "removed_at": told.at,
        "removed_at_is_date": False,
        "removed_hours": told.hours,
        "reason": removal_reason(
            told.reason,
            subject.trigger,
            ordered=subject.ordered,
            before_due_d=(subject.due_at - told.at) / timedelta(days=1),
        ),
        "condition": told.condition,
    }


def _begins(told: CloseOutIn, subject: Subject, position: sa.RowMapping, checked: Checked) -> Values:
    element = told.element or FittedElement()
    values = {
        "position": position["position"],
        "fitted_at": told.at,
        "part_number": checked.element,
        "fitted_hours": told.hours,
        "lot": element.lot,
        "serial": element.serial,
        "cleanings": told.cleanings,
    }
    if subject.kind is TaskKind.SERVICE_STRAINER and told.element is not None and told.cleanings is None:
        values["cleanings"] = 0  # a new one
    if checked.cleaned and checked.stay is not None:
        values |= {"lot": checked.stay["lot"], "serial": checked.stay["serial"]}
        values["cleanings"] = told.cleanings if told.cleanings is not None else (checked.stay["cleanings"] or 0) + 1
    return values


def _element_uses(told: CloseOutIn, subject: Subject, checked: Checked) -> list[Use]:
    position = subject.position
    if not checked.changed or position is None or checked.cleaned:
        return []
    element = told.element or FittedElement()
    return [Use(subject.task, checked.element, position["quantity"] or 1, element.store, element.lot)]


def _part_uses(connection: sa.Connection, told: CloseOutIn, subject: Subject, checked: Checked) -> list[Use]:
    if told.parts is not None:
        return [Use(subject.task, part.part_number, part.quantity, part.store, part.lot) for part in told.parts]
    return _picked_beside_element(connection, subject) if checked.changed else []


def _picked_beside_element(connection: sa.Connection, subject: Subject) -> list[Use]:
    """Seal kits and kit lines that were picked for the task; the element itself is told apart."""
    types = sa.select(t.element_types.c.part_number)
    rows = connection.execute(
        sa.select(picks).where(
            picks.c.task == subject.task, picks.c.store.is_not(None), picks.c.part_number.not_in(types)
        )
    ).mappings()
    return [Use(subject.task, row["part_number"], row["quantity"], row["store"], row["lot"]) for row in rows]


def _top_ups(told: CloseOutIn, subject: Subject) -> list[Values]:
    litres: dict[str, float] = {}
    for oil in told.oil:
        litres[oil.fluid] = litres.get(oil.fluid, 0.0) + (canonical(oil.volume) or 0.0)
    rows = []
    for fluid, volume_L in litres.items():
        first = next(oil for oil in told.oil if oil.fluid == fluid)
        through = None if first.through_filter is None else ("yes" if first.through_filter else "no")
        rows.append(
            {
                "system": subject.system,
                "at": told.at,
                "fluid": fluid,
                "volume_L": volume_L,
                "through_filter": through,
                "lot": first.lot,
            }
        )
    return rows
