"""What was observed: ΔP readings of the current lives, events and top-ups."""

from datetime import datetime, timedelta

import numpy as np
import sqlalchemy as sa

from scheduler.engineering.cleanliness_code import Code
from scheduler.planning import plant_columns as columns
from scheduler.vocabulary import EventKind, IndicatorState, SamplePoint, Stage
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.catalogue import fluid_of
from service.plant_store.codes import Codes
from service.plant_store.rows import Row, days, every, flags, floats, indices, offsets, within
from service.plant_store.time import to_day


def load_dp_readings(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None, codes: Codes
) -> columns.DpReadings:
    readings, lives = t.dp_readings, t.installations
    # A date-only fitting stands at noon, so the morning's readings of that day are loaded too and gated later.
    query = (
        sa.select(readings, lives.c.fitted_at)
        .join(lives, sa.and_(lives.c.position == readings.c.position, rows_known_at(lives, as_of)))
        .join(t.positions, t.positions.c.position == readings.c.position)
        .where(rows_known_at(readings, as_of), lives.c.removed_at.is_(None))
        .order_by(readings.c.position, readings.c.at)
    )
    if systems is not None:
        query = query.where(t.positions.c.system.in_(sorted(systems)))
    rows = [row for row in every(connection, query) if row["at"] >= row["fitted_at"] - timedelta(days=1)]
    rows.sort(key=lambda row: (codes.positions[row["position"]], row["at"]))
    owner = indices(codes.positions[row["position"]] for row in rows)
    return columns.DpReadings(
        offsets=offsets(owner, len(codes.positions)),
        day=np.minimum(days(rows, "at"), to_day(as_of)),
        is_date=flags(row["at_is_date"] for row in rows),
        stage=tuple(Stage(row["stage"]) if row["stage"] else None for row in rows),
        dp_bar=floats(rows, "dp_bar"),
        upstream_bar=floats(rows, "upstream_bar"),
        downstream_bar=floats(rows, "downstream_bar"),
        vacuum_bar=floats(rows, "vacuum_bar"),
        flow_lpm=floats(rows, "flow_lpm"),
        oil_temperature_degC=floats(rows, "oil_temperature_degC"),
        indicator=tuple(IndicatorState(row["indicator"]) if row["indicator"] else None for row in rows),
    )


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
    )
