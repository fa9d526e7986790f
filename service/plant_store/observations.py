"""What was observed beside the ΔP: events, findings, levels, top-ups and oil samples.

Each is loaded as it was known at a moment, and made of rows apart from that, so that all versions can be had at once.
"""

from collections.abc import Sequence
from datetime import datetime

import numpy as np
import sqlalchemy as sa

from scheduler.engineering.cleanliness_code import Code
from scheduler.planning import plant_columns as columns
from scheduler.vocabulary import EventKind, Found, SamplePoint, YesNo
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.catalogue import fluid_of
from service.plant_store.codes import Codes
from service.plant_store.rows import Row, days, every, flags, floats, indices, within
from service.plant_store.time import to_day


def observed(
    connection: sa.Connection, table: sa.Table, versions: sa.ColumnElement[bool], systems: frozenset[str] | None
) -> Sequence[Row]:
    """These versions of a table of observations, system by system and in order of time."""
    query = within(sa.select(table).where(versions), table.c.system, systems)
    return every(connection, query.order_by(table.c.at, table.c.id))


def load_events(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.EventRows:
    rows = observed(connection, t.events, rows_known_at(t.events, as_of), systems)
    return events_of(rows, codes, to_day(as_of))


def events_of(rows: Sequence[Row], codes: Codes, as_of_day: float) -> columns.EventRows:
    return columns.EventRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        position=indices(codes.positions.get(row["position"] or "", -1) for row in rows),
        day=np.minimum(days(rows, "at"), as_of_day),
        kind=tuple(EventKind(row["kind"]) for row in rows),
    )


def load_findings(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.FindingRows:
    rows = observed(connection, t.findings, rows_known_at(t.findings, as_of), systems)
    return findings_of(rows, codes, to_day(as_of))


def findings_of(rows: Sequence[Row], codes: Codes, as_of_day: float) -> columns.FindingRows:
    return columns.FindingRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        position=indices(codes.positions.get(row["position"], -1) for row in rows),
        day=np.minimum(days(rows, "at"), as_of_day),
        found=tuple(frozenset(map(Found, row["found"])) for row in rows),
    )


def load_levels(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.LevelRows:
    rows = observed(connection, t.level_checks, rows_known_at(t.level_checks, as_of), systems)
    return levels_of(rows, codes, to_day(as_of))


def levels_of(rows: Sequence[Row], codes: Codes, as_of_day: float) -> columns.LevelRows:
    return columns.LevelRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        day=np.minimum(days(rows, "at"), as_of_day),
        level_pct=floats(rows, "level_pct"),
        below_full_L=floats(rows, "volume_below_full_L"),
        at_rest=flags(row["at_rest"] == YesNo.YES for row in rows),
        defined_position=flags(row["defined_position"] == YesNo.YES for row in rows),
    )


def load_top_ups(
    connection: sa.Connection,
    as_of: datetime,
    systems: frozenset[str] | None,
    codes: Codes,
    fluids: dict[str, Row],
) -> columns.TopUpRows:
    rows = observed(connection, t.top_ups, rows_known_at(t.top_ups, as_of), systems)
    return top_ups_of(rows, codes, to_day(as_of), fluids)


def top_ups_of(rows: Sequence[Row], codes: Codes, as_of_day: float, fluids: dict[str, Row]) -> columns.TopUpRows:
    return columns.TopUpRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        day=np.minimum(days(rows, "at"), as_of_day),
        fluid=tuple(fluid_of(fluids[row["fluid"]]) for row in rows),
        volume_L=floats(rows, "volume_L"),
    )


def load_oil_samples(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.OilSampleRows:
    rows = observed(connection, t.oil_samples, rows_known_at(t.oil_samples, as_of), systems)
    return oil_samples_of(rows, codes, to_day(as_of))


def oil_samples_of(rows: Sequence[Row], codes: Codes, as_of_day: float) -> columns.OilSampleRows:
    counts = [floats(rows, f"count_{size}_per_mL") for size in (4, 6, 14)]
    return columns.OilSampleRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        position=indices(codes.positions.get(row["position"], -1) for row in rows),
        point=tuple(SamplePoint(row["point"]) for row in rows),
        day=np.minimum(days(rows, "at"), as_of_day),
        code=tuple(Code.parse(row["code"], sample=True) if row["code"] else None for row in rows),
        count_per_mL=np.column_stack(counts),
        water_ppm=floats(rows, "water_ppm"),
        water_saturation_pct=floats(rows, "water_saturation_pct"),
    )
