"""The balance of one system's filters, and how long a clean-up takes with them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from api_schemas.contamination import (
    CameInBetween,
    CleanUpTold,
    CollectedDirt,
    FilterShare,
    OilBalance,
    PerMinute,
)
from api_schemas.quantities import Flow, Mass, ParticleCount, Volume
from scheduler.engineering.clean_up import ML_PER_L, clean_up, says_how_long, time_constant_h
from scheduler.engineering.cleanliness_code import SIZES_um_c
from scheduler.planning.contamination import Contamination
from scheduler.planning.duty import Duty
from scheduler.planning.oil_balance import (
    COLLECTED_LOG_SD,
    CameIn,
    collected_since_fitted_g,
    ingression_over_time,
)
from scheduler.planning.plant_columns import PlantColumns
from service.plant_store.time import from_day

_Z_10_90 = 1.2816
_MOST_LOG_SD = 2.0
"""An ingression that is known worse than that is not known; its band is no wider (ours)."""


def balance_told(columns: PlantColumns, duty: Duty, found: Contamination, zone: ZoneInfo) -> OilBalance | None:
    """Of the one system in `columns`; None where it has no filter in service."""
    rows = found.filters.of_system(0).tolist()
    if not rows:
        return None
    size, cleaned_lpm = int(found.history.size[0]), float(found.cleaned_lpm()[0])
    volume_L = float(columns.systems.reservoir_volume_L[0])
    per_min, log_sd = (float(each[0]) for each in found.ingression_per_min())
    known = cleaned_lpm > 0.0 and not np.isnan(per_min)
    return OilBalance(
        size_um_c=SIZES_um_c[size],
        reservoir=None if np.isnan(volume_L) else Volume(value=volume_L, unit="L"),
        cleaned=_flow(cleaned_lpm),
        time_constant_hours=_digits(float(time_constant_h(volume_L, cleaned_lpm))) if cleaned_lpm > 0.0 else None,
        steady=ParticleCount(value=_digits(per_min / ML_PER_L / cleaned_lpm), unit="1/mL") if known else None,
        ingression=_band(per_min, log_sd) if known else None,
        ingression_over_time=[_came(each, zone) for each in ingression_over_time(columns, duty, found, 0)],
        filters=[_filter(columns, duty, found, row, cleaned_lpm) for row in rows],
    )


def clean_up_told(columns: PlantColumns, found: Contamination, facts: Mapping[str, Any]) -> CleanUpTold | None:
    """With the filters as they run and what came in before the counts rose, at the size that decides; None where
    unknown.
    """
    size_um_c, volume_L = facts.get("size_um_c"), float(columns.systems.reservoir_volume_L[0])
    if size_um_c is None or np.isnan(volume_L):
        return None
    size, now, limit = SIZES_um_c.index(size_um_c), float(facts["level_per_mL"]), float(facts["limit_per_mL"])
    cleaned_lpm = float(found.filters.cleaned_by_system_lpm(1)[0, size])
    if not (cleaned_lpm > 0.0 and now > 0.0):
        return None
    log_step = float(found.change.log_step[0])
    known = log_step > 0.0  # where the counts have not risen, what comes in keeps them where they are
    per_min = ML_PER_L * cleaned_lpm * now * float(np.exp(-log_step)) if known else 0.0
    hours = clean_up(now, limit, volume_L=volume_L, cleaned_flow_lpm=cleaned_lpm, ingression_per_min=per_min)
    told = [float(each) for each in (hours.ideal_h, hours.low_h, hours.high_h)]
    ideal, low, high = (_digits(each) if np.isfinite(each) else None for each in told)
    says = says_how_long(hours, ingression_known=known)
    return CleanUpTold(ideal_hours=ideal, low_hours=low, high_hours=high, says=says)


def _filter(columns: PlantColumns, duty: Duty, found: Contamination, row: int, whole_lpm: float) -> FilterShare:
    filters, size = found.filters, int(found.history.size[0])
    position = int(filters.position[row])
    flow_lpm, beta = float(filters.flow_lpm[row]), float(filters.beta[row, size])
    cleaned_lpm = float(filters.cleaned_lpm[row, size])
    known = not np.isnan(cleaned_lpm)
    collected_g = collected_since_fitted_g(columns, duty, found, row)
    collected = None if collected_g is None else _collected(collected_g)
    capacity_g = float(columns.types.capacity_g[columns.fitted.type[position]])
    return FilterShare(
        position=columns.positions.code[position],
        place=columns.positions.place[position].value,
        flow=None if np.isnan(flow_lpm) else _flow(flow_lpm),
        beta=None if np.isnan(beta) else _digits(beta),
        cleaned=_flow(cleaned_lpm) if known else None,
        share=round(cleaned_lpm / whole_lpm, 3) if known and whole_lpm > 0.0 else None,
        collected=collected,
        capacity=None if np.isnan(capacity_g) else Mass(value=capacity_g, unit="g"),
        more_than_it_holds=collected is not None and collected.p10.value > capacity_g,
    )


def _collected(mass_g: float) -> CollectedDirt:
    low, mid, high = (
        Mass(value=_digits(mass_g * float(np.exp(z * COLLECTED_LOG_SD))), unit="g")
        for z in (-_Z_10_90, 0.0, _Z_10_90)
    )
    return CollectedDirt(p10=low, p50=mid, p90=high)


def _came(came: CameIn, zone: ZoneInfo) -> CameInBetween:
    log_sd = came.sd_per_min / came.per_min if came.per_min > 0.0 else 0.0
    if came.per_min > 0.0:
        per_minute = _band(came.per_min, min(log_sd, _MOST_LOG_SD))
    else:
        per_minute = PerMinute(p10=0.0, p50=0.0, p90=_digits(_Z_10_90 * came.sd_per_min))
    return CameInBetween(since=_at(came.from_day, zone), until=_at(came.to_day, zone), per_minute=per_minute)


def _band(per_min: float, log_sd: float) -> PerMinute:
    low, mid, high = (_digits(per_min * float(np.exp(z * log_sd))) for z in (-_Z_10_90, 0.0, _Z_10_90))
    return PerMinute(p10=low, p50=mid, p90=high)


def _at(day: float, zone: ZoneInfo) -> datetime:
    return from_day(day).astimezone(zone)


def _flow(flow_lpm: float) -> Flow:
    return Flow(value=round(flow_lpm, 2), unit="L/min")


def _digits(value: float) -> float:
    return float(f"{value:.3g}")
