"""The condition of every position: its ΔP readings made comparable, gated, and turned into hours left.

A position has a ΔP forecast where its limit is known and a reading of what is fitted counts. Everything else
(breathers, strainers without a gauge, a gauge that only ever stood at zero) is known by the lives before.
"""

from dataclasses import dataclass

import numpy as np

from scheduler.engineering.pressure_drop import (
    NormalisedDp,
    WarmState,
    started_log,
    started_log_variance,
    started_shift_bar,
)
from scheduler.engineering.reading_gate import COUNTED_GATES, Gate
from scheduler.engineering.terminal_dp import (
    assembly_terminal_dp_bar,
)
from scheduler.planning.comparable_readings import (
    USUAL_CLEAN_SHARE,
    ComparableReadings,
    comparable_readings,
    instruments,
    stated_limits,
)
from scheduler.planning.duty import Duty
from scheduler.planning.elements import fitted_elements
from scheduler.planning.lives import pooled_prior
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.statistics.condition_forecast import ConditionForecast, ReadingColumns, forecast
from scheduler.statistics.life_model import LifePrior, remaining_life
from scheduler.statistics.remaining_hours import RemainingHours

_ENTERS_THE_FORECAST = [int(gate) for gate in COUNTED_GATES | {Gate.BYPASS_OPEN}]
"""A warm reading at the bypass setting says how bad the element is at least. Left out, a spent element would be
judged by its readings before, and would look the better for getting worse."""

CLEAN_LOG_SD = 0.25
"""How far a fitted element's clean ΔP may lie from the sheet's, as a ratio (ours)."""

UNKNOWN_CLEAN_LOG_SD = 0.6
"""Without a sheet the usual share of the terminal ΔP holds, give or take a factor of 1.8 (ours)."""


@dataclass(frozen=True, slots=True)
class Condition:
    """Readings (N,) restated and gated; positions (P,) with their limits, life prior and forecast.

    `element_dp_bar` (N,) is the element's part at the warm state. `terminal_dp_bar` is across the assembly,
    `terminal_element_dp_bar` the element's part. `has_forecast` marks the positions whose hours left come from
    ΔP; `remaining` is that forecast where it is, else the life model's. `row_of` points into `pressure`.
    """

    gate: Ints
    assembly_dp_bar: Floats
    element_dp_bar: Floats
    viscosity_ratio: Floats
    warm: WarmState
    terminal_dp_bar: Floats
    terminal_rule: Ints
    terminal_element_dp_bar: Floats
    life: LifePrior
    has_forecast: Flags
    row_of: Ints
    pressure: ConditionForecast | None
    remaining: RemainingHours

    def counted(self) -> Flags:
        """Readings (N,) that count for the forecast."""
        return np.isin(self.gate, _ENTERS_THE_FORECAST)


def assess_condition(columns: PlantColumns, duty: Duty, life: LifePrior | None = None) -> Condition:
    """Restate, gate and forecast; `life` None pools the prior from the finished lives in `columns`."""
    elements, using = fitted_elements(columns), instruments(columns)
    owner = elements.of_readings()
    restated = comparable_readings(columns, elements, using)
    life = pooled_prior(columns, duty) if life is None else life
    counts = np.isin(restated.gate, _ENTERS_THE_FORECAST) & ~np.isnan(duty.reading_run_h)
    enough = np.bincount(owner[counts], minlength=len(columns.positions.code)) > 0
    has_forecast = enough & ~np.isnan(restated.terminal_bar) & ~np.isnan(duty.run_h)
    rows = np.flatnonzero(has_forecast)
    run_h = np.where(np.isnan(duty.run_h), 0.0, duty.run_h)
    remaining = remaining_life(life, run_h)
    pressure = None
    if len(rows):
        pressure = _forecast(restated, duty, life, owner, counts, rows)
        remaining = _replaced(remaining, rows, pressure.remaining)
    row_of = np.full(len(has_forecast), -1, dtype=np.intp)
    row_of[rows] = np.arange(len(rows))
    return Condition(
        gate=restated.gate,
        assembly_dp_bar=restated.dp_bar,
        element_dp_bar=restated.reading.element_dp_bar,
        viscosity_ratio=restated.reading.viscosity_ratio,
        warm=using.warm,
        terminal_dp_bar=assembly_terminal_dp_bar(*stated_limits(columns))[0],
        terminal_rule=restated.rule,
        terminal_element_dp_bar=restated.terminal_bar,
        life=life,
        has_forecast=has_forecast,
        row_of=row_of,
        pressure=pressure,
        remaining=remaining,
    )


def _forecast(
    restated: ComparableReadings, duty: Duty, life: LifePrior, owner: Ints, counts: Flags, rows: Ints
) -> ConditionForecast:
    chosen = counts & np.isin(owner, rows)
    order = np.flatnonzero(chosen)
    order = order[np.lexsort((duty.reading_run_h[order], owner[order]))]
    reading_owner = owner[order]
    shift = started_shift_bar(restated.step_bar)
    element = restated.reading.element_dp_bar
    smoothed = _running_median(element[order], reading_owner)
    at_least = restated.gate[order] == Gate.BYPASS_OPEN
    level = np.where(at_least, np.maximum(element[order], smoothed), element[order])
    reading = NormalisedDp(*(getattr(restated.reading, name)[order] for name in NormalisedDp.__dataclass_fields__))
    variance = started_log_variance(smoothed, reading, restated.step_bar[reading_owner], shift[reading_owner])
    count = np.bincount(reading_owner, minlength=len(duty.run_h))[rows]
    clean = restated.clean_bar[rows]
    usual = USUAL_CLEAN_SHARE * restated.terminal_bar[rows]
    clean_known = ~np.isnan(clean)
    return forecast(
        ReadingColumns(
            offsets=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
            run_h=duty.reading_run_h[order],
            log_dp=started_log(level, shift[reading_owner]),
            weight=1.0 / variance,
        ),
        run_h_now=np.maximum(duty.run_h[rows], 1.0),
        log_terminal=started_log(restated.terminal_bar[rows], shift[rows]),
        log_clean_mean=started_log(np.where(clean_known, clean, usual), shift[rows]),
        log_clean_var=np.where(clean_known, CLEAN_LOG_SD, UNKNOWN_CLEAN_LOG_SD) ** 2,
        life=LifePrior(
            life.log_median[rows],
            life.log_sd[rows],
            life.lives_seen[rows],
            life.at_limit_seen[rows],
            life.own_lives_seen[rows],
            life.within_log_sd,
            life.between_log_sd,
        ),
    )


def _running_median(values: Floats, owner: Ints) -> Floats:
    """The median of each reading and its two neighbours on either side in the same position."""
    around = np.full((5, len(values)), np.nan)
    around[2] = values
    for step in (1, 2):
        same = owner[step:] == owner[:-step]
        around[2 - step, step:] = np.where(same, values[:-step], np.nan)
        around[2 + step, :-step] = np.where(same, values[step:], np.nan)
    return np.asarray(np.nanmedian(around, axis=0))


def _replaced(into: RemainingHours, rows: Ints, by: RemainingHours) -> RemainingHours:
    reached, within, never = into.already_reached.copy(), into.within.copy(), into.never.copy()
    reached[rows], within[rows], never[rows] = by.already_reached, by.within, by.never
    return RemainingHours(reached, within, never)
