"""Meters with everything that was read off them, the hours noted at fittings and removals included."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import sqlalchemy as sa

from scheduler.planning import plant_columns as columns
from scheduler.statistics.meter_path import MeterMark
from scheduler.vocabulary import MeterReadingKind
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.codes import Codes
from service.plant_store.rows import Row, every, flags, indices, offsets, within
from service.plant_store.time import to_day


@dataclass(frozen=True, slots=True)
class MeterObservation:
    meter: tuple[str, str]
    at: datetime
    is_date: bool
    kind: MeterReadingKind
    hours: float
    row: Row | None = field(default=None, compare=False)
    """The version that tells it, where one was loaded: the same reading may be told by two."""


def mark_of(kind: MeterReadingKind) -> MeterMark:
    """The kind of a reading as the array code that the cleaning takes."""
    return MeterMark[kind.name]


def load_meter_observations(
    connection: sa.Connection,
    as_of: datetime,
    systems: frozenset[str] | None,
    installed: Sequence[Row],
) -> list[MeterObservation]:
    return observations_of(connection, rows_known_at(t.meter_readings, as_of), systems, installed)


def observations_of(
    connection: sa.Connection,
    versions: sa.ColumnElement[bool],
    systems: frozenset[str] | None,
    installed: Sequence[Row],
) -> list[MeterObservation]:
    """These versions of readings, and what those of `installed` tell of the hours at fitting and removal."""
    readings = t.meter_readings
    query = within(sa.select(readings).where(versions), readings.c.system, systems).order_by(readings.c.id)
    found = [
        MeterObservation(
            (row["system"], row["meter"]),
            row["at"],
            row["at_is_date"],
            MeterReadingKind(row["kind"]),
            row["hours"],
            row,
        )
        for row in every(connection, query)
    ]
    for row in installed:
        meter = (row["system"], row["meter"] or "")
        for at, hours in (("fitted_at", "fitted_hours"), ("removed_at", "removed_hours")):
            if row[at] is not None and row[hours] is not None:
                found.append(
                    MeterObservation(meter, row[at], row[f"{at}_is_date"], MeterReadingKind.READING, row[hours], row)
                )
    return found


def load_meters(
    connection: sa.Connection,
    systems: frozenset[str] | None,
    position_rows: Sequence[Row],
    readings: list[MeterObservation],
) -> list[tuple[str, str]]:
    named = every(connection, within(sa.select(t.meters), t.meters.c.system, systems))
    known = {(row["system"], row["meter"]) for row in named}
    known |= {(row["system"], row["meter"] or "") for row in position_rows}
    known |= {reading.meter for reading in readings}
    return sorted(known)


def load_meter_rows(
    connection: sa.Connection, codes: Codes, readings: list[MeterObservation], as_of_day: float
) -> columns.MeterRows:
    digits = {(row["system"], row["meter"]): row["digits"] for row in every(connection, sa.select(t.meters))}
    ordered = in_order(readings, codes)
    owner = indices(codes.meters[reading.meter] for reading in ordered)
    return columns.MeterRows(
        system=indices(codes.systems[system] for system, _ in codes.meters),
        code=tuple(meter for _, meter in codes.meters),
        digits=tuple(digits.get(meter) for meter in codes.meters),
        offsets=offsets(owner, len(codes.meters)),
        day=np.minimum(np.array([to_day(reading.at) for reading in ordered]), as_of_day),
        shown_h=np.array([reading.hours for reading in ordered], dtype=np.float64),
        kind=indices(mark_of(reading.kind) for reading in ordered),
        is_date=flags(reading.is_date for reading in ordered),
    )


def in_order(readings: list[MeterObservation], codes: Codes) -> list[MeterObservation]:
    """Meter by meter and in order of time."""
    return sorted(readings, key=lambda reading: (codes.meters[reading.meter], reading.at))
