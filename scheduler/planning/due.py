"""When every position is due: all its triggers together at the accepted risk, and the reason.

Dates reach 20 years ahead; what lies beyond has none.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty, Meter, run_hours_between
from scheduler.planning.indicator import Sighting
from scheduler.planning.limit_dates import AHEAD_D, CAUSES, STEPS, HourLimits, LimitDates
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.reasons import because_of
from scheduler.planning.risk import AcceptedRisk
from scheduler.statistics.competing_triggers import Fused, fuse
from scheduler.vocabulary import Trigger


@dataclass(frozen=True, slots=True)
class DueItem:
    """One position's assessment. Days are absolute; None: not within 20 years, or nothing known to be fitted.

    `because` holds the reason as codes and numbers: the binding trigger's first, every other trigger's after it.
    """

    position: int
    because: dict[str, Any]
    part_number: str | None = None
    due_day: float | None = None
    early_day: float | None = None
    median_day: float | None = None
    late_day: float | None = None
    hours_left: float | None = None
    overdue_hours: float | None = None
    trigger: Trigger | None = None
    runner_up: Trigger | None = None
    without_trigger_day: float | None = None
    pressure_hours_left: tuple[float | None, float | None, float | None] | None = None


def assess_due(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    dates: LimitDates,
    risk: AcceptedRisk,
    sightings: Mapping[int, Sighting],
    blamed: Mapping[int, dict[str, Any]],
) -> list[DueItem]:
    """Due items of every position in service, in the order of the columns.

    `blamed` holds, by position, what the oil samples say against its element: it is due for the oil's sake.
    """
    fused = fuse(dates.day_ahead, dates.causes, dates.steps, np.clip(risk.level, 1e-6, 1.0 - 1e-6))
    rows: list[int] = np.flatnonzero(columns.in_service()).tolist()
    bands = [condition.remaining.quantile(level) for level in (0.1, 0.5, 0.9)]
    about_h = condition.remaining.least_missed_h(np.nan_to_num(duty.run_h))
    return [
        _item(
            *(columns, duty, condition, dates.hour_limits, risk, fused, [float(band[row]) for band in bands]),
            *(float(about_h[row]), row),
            *(sightings.get(row), blamed.get(row)),
        )
        for row in rows
    ]


def _item(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    limits: HourLimits,
    risk: AcceptedRisk,
    fused: Fused,
    bands: list[float],
    about_h: float,
    position: int,
    sighting: Sighting | None,
    blamed: dict[str, Any] | None,
) -> DueItem:
    kind = columns.fitted.type[position]
    if kind < 0:
        return DueItem(position, {"code": "nothing_fitted", "facts": {}})
    now = columns.as_of_day
    names = (*CAUSES, *STEPS)
    binding = int(fused.binding[position])
    trigger = names[binding] if binding >= 0 else None
    runner_up = names[int(fused.runner_up[position])] if fused.runner_up[position] >= 0 else None
    due = float(fused.due_day[position])
    finite = [None if not np.isfinite(band) else round(float(band), 1) for band in bands]
    forecast = (finite[0], finite[1], finite[2]) if condition.has_forecast[position] else None
    return DueItem(
        position=position,
        part_number=columns.types.part_number[kind],
        due_day=_day(now, due),
        early_day=_day(now, float(fused.early_day[position])),
        median_day=_day(now, float(fused.median_day[position])),
        late_day=_day(now, float(fused.late_day[position])),
        hours_left=0.0 if blamed is not None else _hours_left(columns, duty, limits, about_h, sighting, position),
        overdue_hours=_overdue_hours(columns, duty, due, position),
        trigger=trigger,
        runner_up=None if runner_up is trigger else runner_up,
        without_trigger_day=_day(now, float(fused.day_without_binding[position])),
        pressure_hours_left=forecast,
        because=because_of(
            *(columns, duty, condition, trigger, position),
            bands=finite,
            about_h=round(about_h, 1) if np.isfinite(about_h) else None,
            risk=risk.facts(position),
            event=int(limits.event[position]),
            sighting=sighting,
            blamed=blamed,
        ),
    )


def _day(now: float, ahead: float) -> float | None:
    return now + ahead if ahead <= AHEAD_D else None


def _hours_left(
    columns: PlantColumns,
    duty: Duty,
    limits: HourLimits,
    condition_h: float,
    sighting: Sighting | None,
    position: int,
) -> float | None:
    """The least of what every trigger leaves, in run hours; what is uncertain by the hours that miss it least."""
    candidates = [condition_h, float(limits.hours_left[position]), float(limits.event_left[position])]
    age_day = columns.fitted.fitted_day[position] + columns.positions.max_age_d[position]
    if not np.isnan(age_day):
        candidates.append(_expected_hours(columns, duty, position, max(age_day, columns.as_of_day)))
    if sighting is not None and sighting.is_certain:
        candidates.append(0.0)
    least = max(min(candidates), 0.0)
    return round(least, 1) if np.isfinite(least) else None


def _overdue_hours(columns: PlantColumns, duty: Duty, due_ahead: float, position: int) -> float:
    """Run hours since a limit that was passed; 0 where none was."""
    if due_ahead >= 0.0:
        return 0.0
    passed_day = columns.as_of_day + due_ahead
    return round(run_hours_between(columns, duty, position, passed_day, columns.as_of_day), 1)


def _expected_hours(columns: PlantColumns, duty: Duty, position: int, until_day: float) -> float:
    meter: Meter = duty.meters[int(columns.positions.meter[position])]
    if not duty.gains_hours[position]:
        return 0.0
    planned_h = float(meter.planned.at(until_day)) - float(meter.planned.at(columns.as_of_day))
    return planned_h * meter.rate.per_planned_hour
