"""Run hours of every position: now, at each reading, of each finished life; and how fast they come.

A position's hours are its meter's since the fitting. In a duplex housing only the side in service gains hours:
an event `changeover` says which side that is from then on; before the first of them both count.
"""

from dataclasses import dataclass

import numpy as np

from scheduler.planning.plant_columns import Flags, Floats, PlantColumns
from scheduler.statistics.planned_hours import PlannedHours, planned_hours
from scheduler.statistics.run_hours import MeterHours, cumulative_hours
from scheduler.statistics.use_rate import UseRate, hours_at, hours_variance_at, use_rate
from scheduler.vocabulary import EventKind

_LOOKS_AHEAD_D = 20 * 365.25


@dataclass(frozen=True, slots=True)
class Meter:
    """One meter's history with the plan it is held against."""

    hours: MeterHours
    planned: PlannedHours
    rate: UseRate

    @property
    def has_readings(self) -> bool:
        return len(self.hours.day) > 0

    def run_hours_sd_between(self, from_day: float, to_day: float) -> float:
        """Standard deviation of the run hours from one day to another: what no reading has told of them."""
        if not self.has_readings or from_day >= self.hours.day[-1]:
            planned_h = float(self.planned.at(to_day) - self.planned.at(from_day))
            return float(np.sqrt(planned_h * self.rate.variance_per_planned_hour + planned_h**2 * self.rate.variance))
        variance = hours_variance_at(self.hours, self.planned, self.rate, np.array([from_day, to_day]))
        return float(np.sqrt(variance.sum()))


@dataclass(frozen=True, slots=True)
class Duty:
    """Run hours of positions (P,), readings (N,) and finished lives (L,).

    `run_h` since fitting, NaN where nothing is known to be fitted; `run_h_sd` its uncertainty, mostly that of the
    time since the last meter reading. `gains_hours` is false for the resting side of a duplex housing.
    `reading_run_h` since fitting; `life_h` from fitting to removal and `life_reading_run_h` of the readings of
    those lives, NaN where no meter tells.
    """

    meters: tuple[Meter, ...]
    run_h: Floats
    run_h_sd: Floats
    gains_hours: Flags
    reading_run_h: Floats
    life_h: Floats
    life_reading_run_h: Floats
    rate_mean: Floats
    rate_variance: Floats
    variance_per_planned_hour: Floats


def assess_duty(columns: PlantColumns) -> Duty:
    """Run hours from the meters, the stops as standstills and the changeovers."""
    first_day = _first_day(columns)
    meters = tuple(_meter(columns, index, first_day) for index in range(len(columns.meters.code)))
    positions = len(columns.positions.code)
    in_service = [_times_in_service(columns, position) for position in range(positions)]
    now = columns.as_of_day
    run_h, run_h_sd = np.full(positions, np.nan), np.zeros(positions)
    reading_run_h = np.full(len(columns.dp.day), np.nan)
    for position in np.flatnonzero(~np.isnan(columns.fitted.fitted_day)):
        meter = meters[columns.positions.meter[position]]
        fitted_day = columns.fitted.fitted_day[position]
        readings = slice(columns.dp.offsets[position], columns.dp.offsets[position + 1])
        days = np.concatenate([[fitted_day, now], columns.dp.day[readings]])
        hours = _hours_in_service(meter, in_service[position], days)
        run_h[position] = max(hours[1] - hours[0], 0.0)
        # a date-only reading at noon may stand before the hour at which its element was fitted
        reading_run_h[readings] = np.clip(hours[2:] - hours[0], 0.0, run_h[position])
        rested_since_day = in_service[position][-1][1]
        run_h_sd[position] = meter.run_hours_sd_between(
            float(fitted_day), max(min(rested_since_day, now), float(fitted_day))
        )
    rates = [meters[meter].rate for meter in columns.positions.meter]
    life_h, life_reading_run_h = _life_hours(columns, meters, in_service)
    return Duty(
        meters=meters,
        run_h=run_h,
        run_h_sd=run_h_sd,
        gains_hours=np.array([bool(len(spans)) and spans[-1][1] == np.inf for spans in in_service], dtype=bool),
        reading_run_h=reading_run_h,
        life_h=life_h,
        life_reading_run_h=life_reading_run_h,
        rate_mean=np.array([rate.per_planned_hour for rate in rates]),
        rate_variance=np.array([rate.variance for rate in rates]),
        variance_per_planned_hour=np.array([rate.variance_per_planned_hour for rate in rates]),
    )


def planned_ahead(columns: PlantColumns, duty: Duty, days_ahead: Floats) -> Floats:
    """Planned hours (P, D) from now to each of `days_ahead`; none for a resting duplex side."""
    now = columns.as_of_day
    by_meter = [meter.planned.at(now + days_ahead) - meter.planned.at(now) for meter in duty.meters]
    ahead = np.array([by_meter[meter] for meter in columns.positions.meter]).reshape(-1, len(days_ahead))
    return np.where(duty.gains_hours[:, None], np.maximum(ahead, 0.0), 0.0)


def run_hours_between(columns: PlantColumns, duty: Duty, position: int, from_day: float, to_day: float) -> float:
    """Run hours of a position from one day to another, those of its side alone in a duplex housing."""
    meter = duty.meters[int(columns.positions.meter[position])]
    hours = _hours_in_service(meter, _times_in_service(columns, position), np.array([from_day, to_day]))
    return float(max(hours[1] - hours[0], 0.0))


def run_hours_on(columns: PlantColumns, duty: Duty, position: int, since_day: float, days: Floats) -> Floats:
    """Run hours of a position from `since_day` to each of `days` (k,) after it, those of its side alone."""
    meter = duty.meters[int(columns.positions.meter[position])]
    both = np.concatenate([[since_day], days])
    hours = _hours_in_service(meter, _times_in_service(columns, position), both)
    return np.asarray(np.maximum(hours[1:] - hours[0], 0.0))


def day_of_run_hours(columns: PlantColumns, duty: Duty, position: int, run_h: float) -> float:
    """The past day on which what is fitted had run `run_h` hours."""
    meter = duty.meters[int(columns.positions.meter[position])]
    spans = _times_in_service(columns, position)
    days = np.linspace(columns.fitted.fitted_day[position], columns.as_of_day, 2000)
    hours = _hours_in_service(meter, spans, days)
    return float(np.interp(run_h, hours - hours[0], days))


def _meter(columns: PlantColumns, index: int, first_day: float) -> Meter:
    rows = slice(columns.meters.offsets[index], columns.meters.offsets[index + 1])
    day = columns.meters.day[rows]
    system = columns.meters.system[index]
    of_plant = columns.stops.plant == columns.systems.plant[system]
    concerned = (columns.stops.plant >= 0) & of_plant | (columns.stops.system == system)
    standstills = np.column_stack([columns.stops.start_day[concerned], columns.stops.end_day[concerned]])
    per_week = columns.systems.hours_per_week[system]
    planned = planned_hours(
        first_day - 1.0,
        columns.as_of_day + _LOOKS_AHEAD_D,
        None if np.isnan(per_week) else float(per_week),
        standstills,
    )
    hours = cumulative_hours(
        day,
        columns.meters.shown_h[rows],
        columns.meters.kind[rows],
        digits=columns.meters.digits[index],
        is_date=columns.meters.is_date[rows],
        planned=planned,
    )
    return Meter(hours, planned, use_rate(hours, planned, columns.as_of_day))


def _first_day(columns: PlantColumns) -> float:
    now = np.array([columns.as_of_day])
    starts = (columns.meters.day, columns.fitted.fitted_day, columns.lives.fitted_day, now)
    return float(np.nanmin(np.concatenate(starts)))


def _times_in_service(columns: PlantColumns, position: int) -> list[tuple[float, float]]:
    """The spans in which the position gains hours."""
    if not columns.positions.side[position]:
        return [(-np.inf, np.inf)]
    housing, system = columns.positions.housing[position], columns.positions.system[position]
    events = columns.events
    sides = {
        int(other)
        for other in np.flatnonzero(columns.positions.system == system)
        if housing and columns.positions.side[other] and columns.positions.housing[other] == housing
    }
    changeovers = [
        (float(events.day[i]), int(events.position[i]))
        for i in np.flatnonzero(events.system == system)
        if events.kind[i] is EventKind.CHANGEOVER and int(events.position[i]) in sides
    ]
    spans: list[tuple[float, float]] = []
    begins: float | None = -np.inf
    for day, put_in_service in sorted(changeovers):
        if put_in_service == position and begins is None:
            begins = day
        elif put_in_service != position and begins is not None and position in sides:
            spans.append((begins, day))
            begins = None
    if begins is not None:
        spans.append((begins, np.inf))
    return spans


def _hours_in_service(meter: Meter, spans: list[tuple[float, float]], days: Floats) -> Floats:
    if spans == [(-np.inf, np.inf)]:
        return hours_at(meter.hours, meter.planned, meter.rate, days)
    first = float(days.min())
    total = np.zeros(len(days))
    for begins, ends in spans:
        start = max(begins, first)
        inside = np.clip(days, start, max(ends, start))
        at_start = hours_at(meter.hours, meter.planned, meter.rate, np.array([start]))
        total += hours_at(meter.hours, meter.planned, meter.rate, inside) - at_start
    return total


def _life_hours(
    columns: PlantColumns, meters: tuple[Meter, ...], in_service: list[list[tuple[float, float]]]
) -> tuple[Floats, Floats]:
    lives, readings = columns.lives, columns.life_dp
    life_h, reading_run_h = np.full(len(lives.position), np.nan), np.full(len(readings.day), np.nan)
    for index, position in enumerate(lives.position):
        meter = meters[columns.positions.meter[position]]
        if not meter.has_readings:
            continue
        rows = slice(readings.offsets[index], readings.offsets[index + 1])
        days = np.concatenate([[lives.fitted_day[index], lives.removed_day[index]], readings.day[rows]])
        hours = _hours_in_service(meter, in_service[position], days)
        life = hours[1] - hours[0]
        if life > 0.0:
            life_h[index] = life
            reading_run_h[rows] = np.clip(hours[2:] - hours[0], 0.0, life)
    return life_h, reading_run_h
