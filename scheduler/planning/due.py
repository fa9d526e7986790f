"""When every position is due: each trigger by itself, all of them together at the accepted risk, and the reason.

ΔP and the life model are one cause (the lives are the prior of the ΔP forecast). A limit in run hours becomes
a distribution over dates through the use rate; a limit in days, a passed limit and a certain indicator are
steps. Dates reach 20 years ahead; what lies beyond has none.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty, Meter, day_of_run_hours, planned_ahead, run_hours_between
from scheduler.planning.indicator import Sighting
from scheduler.planning.plant_columns import Floats, Ints, PlantColumns
from scheduler.planning.reasons import because_of
from scheduler.planning.risk import AcceptedRisk, accepted_risk
from scheduler.statistics.competing_triggers import Fused, fuse
from scheduler.statistics.reach_date import reach_known_probability, reach_probability
from scheduler.statistics.remaining_hours import EDGE_H, RemainingHours
from scheduler.vocabulary import EventKind, Place, Trigger

AHEAD_D = 20 * 365.25
"""A date further away is no date."""

SHORTENED_INTERVAL_H: dict[EventKind, float] = {
    EventKind.COMMISSIONED: 50.0,
    EventKind.PUMP_FAILURE: 50.0,
}
"""Run hours after which what filtered the oil at such an event is changed; common practice, no source."""

_NOT_BEHIND_THE_PUMP = frozenset({Place.SUCTION, Place.BREATHER, Place.FILLER})

_CAUSES = (Trigger.PRESSURE, Trigger.LIFE, Trigger.HOURS, Trigger.EVENT)
_STEPS = (Trigger.HOURS, Trigger.EVENT, Trigger.AGE, Trigger.INDICATOR, Trigger.CLEANLINESS)


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
    sightings: Mapping[int, Sighting],
    blamed: Mapping[int, dict[str, Any]] | None = None,
) -> list[DueItem]:
    """Due items of every position in service, in the order of the columns.

    `blamed` holds, by position, what the oil samples say against its element: it is due for the oil's sake.
    """
    blamed = blamed or {}
    grid = _day_grid()
    ahead = planned_ahead(columns, duty, grid)
    limits = _HourLimits.of(columns, duty)
    causes = _causes(condition, duty, ahead, limits)
    steps = _steps(columns, duty, limits, sightings, blamed)
    risk = accepted_risk(columns, duty, condition)
    fused = fuse(grid, causes, steps, np.clip(risk.level, 1e-6, 1.0 - 1e-6))
    rows: list[int] = np.flatnonzero(columns.in_service()).tolist()
    bands = [condition.remaining.quantile(level) for level in (0.1, 0.5, 0.9)]
    return [
        _item(
            *(columns, duty, condition, limits, risk, fused, [float(band[row]) for band in bands], row),
            *(sightings.get(row), blamed.get(row)),
        )
        for row in rows
    ]


def _day_grid() -> Floats:
    return np.concatenate([np.arange(0.0, 60.0, 0.5), np.geomspace(60.0, AHEAD_D, 140)])


@dataclass(frozen=True, slots=True)
class _HourLimits:
    """Run hours still to go to a limit in hours (P,): infinite where there is none, negative where passed."""

    hours_left: Floats
    event_left: Floats
    event: Ints  # row of the event that shortens the interval, −1 for none

    @classmethod
    def of(cls, columns: PlantColumns, duty: Duty) -> "_HourLimits":
        left = columns.positions.max_hours - duty.run_h
        event_left, event = _after_events(columns, duty)
        return cls(np.where(np.isnan(left), np.inf, left), event_left, event)


def _after_events(columns: PlantColumns, duty: Duty) -> tuple[Floats, Ints]:
    positions = len(columns.positions.code)
    left, which = np.full(positions, np.inf), np.full(positions, -1, dtype=np.intp)
    events = columns.events
    behind_pump = np.array([place not in _NOT_BEHIND_THE_PUMP for place in columns.positions.place], dtype=bool)
    for row, kind in enumerate(events.kind):
        interval_h = SHORTENED_INTERVAL_H.get(kind)
        if interval_h is None:
            continue
        concerned = (columns.positions.system == events.system[row]) & (columns.fitted.fitted_day <= events.day[row])
        # a commissioning concerns what was fitted for it, a few hours before or after the entry
        if kind is EventKind.COMMISSIONED:
            concerned = (columns.positions.system == events.system[row]) & (
                np.abs(columns.fitted.fitted_day - events.day[row]) <= 1.0
            )
        for position in np.flatnonzero(concerned & behind_pump & duty.gains_hours):
            since_day = float(max(events.day[row], columns.fitted.fitted_day[position]))
            since_h = run_hours_between(columns, duty, int(position), since_day, columns.as_of_day)
            if interval_h - since_h < left[position]:
                left[position], which[position] = interval_h - since_h, row
    return left, which


def _causes(condition: Condition, duty: Duty, ahead: Floats, limits: _HourLimits) -> Floats:
    by_condition = _dates_of(condition.remaining, duty, ahead)
    fitted = ~np.isnan(duty.run_h)
    pressure = np.where((condition.has_forecast & fitted)[:, None], by_condition, 0.0)
    life = np.where((~condition.has_forecast & fitted)[:, None], by_condition, 0.0)
    return np.stack(
        [pressure, life, *(_dates_of_limit(left, duty, ahead) for left in (limits.hours_left, limits.event_left))]
    )


def _dates_of(remaining: RemainingHours, duty: Duty, ahead: Floats) -> Floats:
    centres = np.sqrt(EDGE_H[1:] * EDGE_H[:-1])
    return reach_probability(
        np.concatenate([[0.0], centres]),
        np.column_stack([remaining.already_reached, remaining.within]),
        ahead,
        rate_mean=duty.rate_mean,
        rate_variance=duty.rate_variance,
        variance_per_planned_hour=duty.variance_per_planned_hour,
    )


def _dates_of_limit(hours_left: Floats, duty: Duty, ahead: Floats) -> Floats:
    """Dates of a known limit that still lies ahead; a passed one is a step."""
    ahead_of_us = np.isfinite(hours_left) & (hours_left > 0.0)
    reached = reach_known_probability(
        np.where(ahead_of_us, hours_left, 1.0),
        ahead,
        rate_mean=duty.rate_mean,
        rate_variance=duty.rate_variance,
        variance_per_planned_hour=duty.variance_per_planned_hour,
        needed_variance=duty.run_h_sd**2,
    )
    return np.where(ahead_of_us[:, None], reached, 0.0)


def _steps(
    columns: PlantColumns,
    duty: Duty,
    limits: _HourLimits,
    sightings: Mapping[int, Sighting],
    blamed: Mapping[int, dict[str, Any]],
) -> Floats:
    now, fitted_day = columns.as_of_day, columns.fitted.fitted_day
    positions = len(fitted_day)
    steps = np.full((len(_STEPS), positions), np.inf)
    for row, left in enumerate((limits.hours_left, limits.event_left)):
        for passed in np.flatnonzero(left <= 0.0):
            passed_at_h = float(duty.run_h[passed] + left[passed])
            steps[row, passed] = day_of_run_hours(columns, duty, int(passed), passed_at_h) - now
    age = fitted_day + columns.positions.max_age_d - now
    steps[2] = np.where(np.isnan(age), np.inf, age)
    for position, sighting in sightings.items():
        if sighting.is_certain:
            steps[3, position] = 0.0
    for position in blamed:
        steps[4, position] = 0.0
    return steps


def _item(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    limits: _HourLimits,
    risk: AcceptedRisk,
    fused: Fused,
    bands: list[float],
    position: int,
    sighting: Sighting | None,
    blamed: dict[str, Any] | None,
) -> DueItem:
    kind = columns.fitted.type[position]
    if kind < 0:
        return DueItem(position, {"code": "nothing_fitted", "facts": {}})
    now = columns.as_of_day
    names = (*_CAUSES, *_STEPS)
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
        hours_left=0.0 if blamed is not None else _hours_left(columns, duty, limits, bands[1], sighting, position),
        overdue_hours=_overdue_hours(columns, duty, due, position),
        trigger=trigger,
        runner_up=None if runner_up is trigger else runner_up,
        without_trigger_day=_day(now, float(fused.day_without_binding[position])),
        pressure_hours_left=forecast,
        because=because_of(
            *(columns, duty, condition, trigger, position),
            bands=finite,
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
    limits: _HourLimits,
    condition_h: float,
    sighting: Sighting | None,
    position: int,
) -> float | None:
    """The least of the medians of every trigger, in run hours."""
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
