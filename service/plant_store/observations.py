"""What was observed beside the ΔP: events, findings, levels, top-ups and oil samples."""

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


def load_events(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.EventRows:
    query = sa.select(t.events).where(rows_known_at(t.events, as_of))
    rows = every(connection, within(query, t.events.c.system, systems).order_by(t.events.c.at))
    return columns.EventRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        position=indices(codes.positions.get(row["position"] or "", -1) for row in rows),
        day=np.minimum(days(rows, "at"), to_day(as_of)),
        kind=tuple(EventKind(row["kind"]) for row in rows),
    )


def load_findings(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.FindingRows:
    query = sa.select(t.findings).where(rows_known_at(t.findings, as_of))
    rows = every(connection, within(query, t.findings.c.system, systems).order_by(t.findings.c.at, t.findings.c.id))
    return columns.FindingRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        position=indices(codes.positions.get(row["position"], -1) for row in rows),
        day=np.minimum(days(rows, "at"), to_day(as_of)),
        found=tuple(frozenset(map(Found, row["found"])) for row in rows),
    )


def load_levels(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.LevelRows:
    query = sa.select(t.level_checks).where(rows_known_at(t.level_checks, as_of))
    rows = every(connection, within(query, t.level_checks.c.system, systems).order_by(t.level_checks.c.at))
    return columns.LevelRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        day=np.minimum(days(rows, "at"), to_day(as_of)),
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
    query = sa.select(t.top_ups).where(rows_known_at(t.top_ups, as_of))
    rows = every(connection, within(query, t.top_ups.c.system, systems).order_by(t.top_ups.c.at))
    return columns.TopUpRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        day=np.minimum(days(rows, "at"), to_day(as_of)),
        fluid=tuple(fluid_of(fluids[row["fluid"]]) for row in rows),
        volume_L=floats(rows, "volume_L"),
    )


def load_oil_samples(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.OilSampleRows:
    query = sa.select(t.oil_samples).where(rows_known_at(t.oil_samples, as_of))
    rows = every(connection, within(query, t.oil_samples.c.system, systems).order_by(t.oil_samples.c.at))
    counts = [floats(rows, f"count_{size}_per_mL") for size in (4, 6, 14)]
    return columns.OilSampleRows(
        system=indices(codes.systems[row["system"]] for row in rows),
        position=indices(codes.positions.get(row["position"], -1) for row in rows),
        point=tuple(SamplePoint(row["point"]) for row in rows),
        day=np.minimum(days(rows, "at"), to_day(as_of)),
        code=tuple(Code.parse(row["code"], sample=True) if row["code"] else None for row in rows),
        count_per_mL=np.column_stack(counts),
        water_ppm=floats(rows, "water_ppm"),
        water_saturation_pct=floats(rows, "water_saturation_pct"),
    )
