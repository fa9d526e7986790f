"""Levels and losses of systems that run or stand ready, reckoned when asked."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa

from api_schemas.oil import LevelLooked, LossRate, LossRise, OilLossTold, SystemOil, SystemOilList
from scheduler.planning.oil_care import Look, oil_state
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.oil_loss import LossBand, OilLoss, Rise
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.plant_store.loading import load_plant
from service.plant_store.time import from_day
from service.problems import NotFound
from service.work_orders.cards import litres


def oil_of_systems(
    connection: sa.Connection, caller: Caller, as_of: datetime, system: str | None = None
) -> SystemOilList:
    """Of all that the caller sees, or of one. Raises NotFound for a system that is not there."""
    columns = load_plant(connection, as_of, _seen(connection, caller, system))
    ready = sorted(np.flatnonzero(columns.systems_ready()).tolist(), key=lambda row: columns.systems.code[row])
    return SystemOilList(as_of=as_of, items=[_of_system(columns, row) for row in ready])


def _seen(connection: sa.Connection, caller: Caller, system: str | None) -> frozenset[str] | None:
    """None where that is every system there is."""
    if system is None and caller.plants is None:
        return None
    query = sa.select(t.systems.c.system).where(caller.only(t.systems.c.plant))
    if system is not None:
        query = query.where(t.systems.c.system == system)
    found = frozenset(connection.scalars(query))
    if system is not None and not found:
        raise NotFound(f"there is no system '{system}'")
    return found


def _of_system(columns: PlantColumns, system: int) -> SystemOil:
    state, fluid = oil_state(columns, system), columns.systems.fluid[system]
    zone = ZoneInfo(columns.plants.zone[int(columns.systems.plant[system])])
    reservoir_L = float(columns.systems.reservoir_volume_L[system])
    return SystemOil(
        system=columns.systems.code[system],
        fluid=fluid.code,
        name=fluid.name,
        reservoir=None if np.isnan(reservoir_L) else litres(reservoir_L),
        last_look=None if state.last is None else _look(state.last, zone),
        missing=None if state.missing_L is None else litres(state.missing_L),
        poured_since=litres(state.poured_L),
        loss=None if state.loss is None else _loss(state.loss, zone),
    )


def _look(look: Look, zone: ZoneInfo) -> LevelLooked:
    missing_L = look.seen.missing_L
    return LevelLooked(
        at=from_day(look.day).astimezone(zone),
        counts=look.seen.valid,
        why_not=look.seen.why_not,
        missing=None if missing_L is None else litres(missing_L),
    )


def _loss(loss: OilLoss, zone: ZoneInfo) -> OilLossTold:
    return OilLossTold(
        rate=None if loss.now is None else _rate(loss.now),
        risen=round(loss.risen, 3),
        rise=None if loss.rise is None else _rise(loss.rise, zone),
        top_ups=loss.top_ups,
        watched_days=round(loss.watched_d, 1),
    )


def _rise(rise: Rise, zone: ZoneInfo) -> LossRise:
    return LossRise(
        since=from_day(rise.since_day).astimezone(zone),
        since_early=from_day(rise.since_low_day).astimezone(zone),
        since_late=from_day(rise.since_high_day).astimezone(zone),
        before=_rate(rise.before),
        after=_rate(rise.after),
    )


def _rate(band: LossBand) -> LossRate:
    low, mid, high = (round(each, 3) for each in (band.low_L_per_week, band.mid_L_per_week, band.high_L_per_week))
    return LossRate(p10=low, p50=mid, p90=high)
