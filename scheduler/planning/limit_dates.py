"""When every position reaches its limits, each trigger by itself: distributions over days, and certain days.

ΔP and the life model are one cause (the lives are the prior of the ΔP forecast). A limit in run hours becomes
a distribution over dates through the use rate; a limit in days, a passed limit and a certain indicator are
steps. Dates reach 20 years ahead.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty, day_of_run_hours, planned_ahead, run_hours_between
from scheduler.planning.indicator import Sighting
from scheduler.planning.plant_columns import Floats, Ints, PlantColumns
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

CAUSES = (Trigger.PRESSURE, Trigger.LIFE, Trigger.HOURS, Trigger.EVENT)
STEPS = (Trigger.HOURS, Trigger.EVENT, Trigger.AGE, Trigger.INDICATOR, Trigger.CLEANLINESS)


@dataclass(frozen=True, slots=True)
class HourLimits:
    """Run hours still to go to a limit in hours (P,): infinite where there is none, negative where passed."""

    hours_left: Floats
    event_left: Floats
    event: Ints  # row of the event that shortens the interval, −1 for none

    @classmethod
    def of(cls, columns: PlantColumns, duty: Duty) -> "HourLimits":
        left = columns.positions.max_hours - duty.run_h
        event_left, event = _after_events(columns, duty)
        return cls(np.where(np.isnan(left), np.inf, left), event_left, event)


@dataclass(frozen=True, slots=True)
class LimitDates:
    """Every trigger of P positions over the days ahead.

    day_ahead (D,): days from now, rising from 0. causes (C, P, D): P(reached by then) of each of `CAUSES`; they
    come with run hours. steps (S, P): the certain days of `STEPS`, infinite where there is none, negative where
    passed.
    """

    day_ahead: Floats
    causes: Floats
    steps: Floats
    hour_limits: HourLimits


def limit_dates(
    columns: PlantColumns,
    duty: Duty,
    condition: Condition,
    sightings: Mapping[int, Sighting],
    blamed: Mapping[int, dict[str, Any]],
) -> LimitDates:
    """The dates of every trigger. `blamed` holds, by position, what the oil samples say against its element."""
    day_ahead = _day_grid()
    ahead = planned_ahead(columns, duty, day_ahead)
    limits = HourLimits.of(columns, duty)
    causes = _causes(condition, duty, ahead, limits)
    return LimitDates(day_ahead, causes, _steps(columns, duty, limits, sightings, blamed), limits)


def _day_grid() -> Floats:
    return np.concatenate([np.arange(0.0, 60.0, 0.5), np.geomspace(60.0, AHEAD_D, 140)])


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


def _causes(condition: Condition, duty: Duty, ahead: Floats, limits: HourLimits) -> Floats:
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
    limits: HourLimits,
    sightings: Mapping[int, Sighting],
    blamed: Mapping[int, dict[str, Any]],
) -> Floats:
    now, fitted_day = columns.as_of_day, columns.fitted.fitted_day
    positions = len(fitted_day)
    steps = np.full((len(STEPS), positions), np.inf)
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
