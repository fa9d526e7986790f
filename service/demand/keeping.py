"""Keeping what was forecast, once a calendar month: the first pass of the whole in it keeps the months ahead."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa

from scheduler.planning.demand import ItemDemand
from scheduler.planning.plant_columns import Floats
from service.demand.periods import PeriodKind, Periods, periods_from, planners_zone
from service.demand.tables import demand_forecasts

KEPT_MONTHS = 3
"""Months ahead of which a forecast is kept."""

_SEEN = 1e-6
"""A probability below this at an end of the distribution is not kept."""


def periods_to_keep(connection: sa.Connection, as_of: datetime) -> Periods | None:
    """The months whose forecast is to be kept now; None where this month has its forecast, or a later one has."""
    zone = planners_zone(connection)
    if zone is None:
        return None
    newest = connection.scalar(sa.select(sa.func.max(demand_forecasts.c.made_at)))
    if newest is not None and _month(newest, zone) >= _month(as_of, zone):
        return None
    return periods_from(as_of, zone, PeriodKind.MONTH, KEPT_MONTHS)


def _month(at: datetime, zone: ZoneInfo) -> tuple[int, int]:
    here = at.astimezone(zone)
    return here.year, here.month


def keep_forecasts(
    connection: sa.Connection, as_of: datetime, periods: Periods, items: tuple[ItemDemand, ...]
) -> None:
    """Keep the distribution of use within each period, also of what nobody thinks will be used."""
    rows: list[dict[str, Any]] = []
    for item in items:
        for at, row in enumerate(item.demand.within.probability):
            first, kept = _worth_keeping(row)
            rows.append(
                {
                    "made_at": as_of,
                    "is_fluid": item.is_fluid,
                    "item": item.code,
                    "starts_at": periods.edge_at[at],
                    "ends_at": periods.edge_at[at + 1],
                    "step": item.step,
                    "first_count": first,
                    "probability": kept,
                }
            )
    if rows:
        connection.execute(sa.insert(demand_forecasts), rows)


def _worth_keeping(probability: Floats) -> tuple[int, list[float]]:
    seen = np.flatnonzero(probability > _SEEN)
    first, last = int(seen[0]), int(seen[-1])
    return first, [float(f"{value:.7g}") for value in probability[first : last + 1]]
