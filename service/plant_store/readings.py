"""ΔP readings, dealt out to the elements on which they were taken: what is fitted now, and the lives that ended."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from itertools import groupby

import numpy as np
import sqlalchemy as sa

from scheduler.planning import plant_columns as columns
from scheduler.vocabulary import IndicatorState, Stage
from service.database import rows_known_at
from service.plant_folder import tables as t
from service.plant_store.rows import Row, days, every, flags, floats
from service.plant_store.time import to_day

A_DAY = timedelta(days=1)
"""A date-only change stands at noon: readings of that day are dealt to both elements, and gated later."""
_LATEST = datetime.max.replace(tzinfo=UTC) - 2 * A_DAY


def load_readings(
    connection: sa.Connection, as_of: datetime, systems: frozenset[str] | None
) -> dict[str, Sequence[Row]]:
    """Every reading known at `as_of`, by position and in order of time."""
    rows = reading_rows(connection, rows_known_at(t.dp_readings, as_of), systems)
    return {position: list(of_it) for position, of_it in groupby(rows, key=lambda row: row["position"])}


def reading_rows(
    connection: sa.Connection, versions: sa.ColumnElement[bool], systems: frozenset[str] | None
) -> Sequence[Row]:
    """These versions of readings, position by position and in order of time."""
    readings = t.dp_readings
    query = (
        sa.select(readings)
        .join(t.positions, t.positions.c.position == readings.c.position)
        .where(versions)
        .order_by(readings.c.position, readings.c.at, readings.c.id)
    )
    if systems is not None:
        query = query.where(t.positions.c.system.in_(sorted(systems)))
    return every(connection, query)


def readings_of(
    read: dict[str, Sequence[Row]], elements: Iterable[Row | None], as_of: datetime
) -> columns.DpReadings:
    """The readings of each installation in `elements`, one after the other; None has none."""
    dealt = [[] if element is None else _during(read.get(element["position"], []), element) for element in elements]
    return as_columns(dealt, to_day(as_of))


def as_columns(dealt: Sequence[Sequence[Row]], as_of_day: float) -> columns.DpReadings:
    """The rows of each element, one element after the other."""
    rows = [row for of_element in dealt for row in of_element]
    return columns.DpReadings(
        offsets=np.concatenate([[0], np.cumsum([len(of_element) for of_element in dealt])]).astype(np.intp),
        day=np.minimum(days(rows, "at"), as_of_day),
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


def _during(rows: Sequence[Row], element: Row) -> Sequence[Row]:
    first = bisect_left(rows, element["fitted_at"] - A_DAY, key=_at)
    last = bisect_right(rows, (element["removed_at"] or _LATEST) + A_DAY, key=_at)
    return rows[first:last]


def _at(row: Row) -> datetime:
    at: datetime = row["at"]
    return at
