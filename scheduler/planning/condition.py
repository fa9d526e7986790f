"""The condition of every position: its ΔP readings made comparable, gated, and turned into hours left.

A position has a ΔP forecast where its limit is known and a reading of what is fitted counts. Everything else
(breathers, strainers without a gauge, a gauge that only ever stood at zero) is known by the lives before.
"""

from dataclasses import dataclass, replace

import numpy as np

from scheduler.engineering.pressure_drop import WarmState, started_shift_bar
from scheduler.engineering.terminal_dp import assembly_terminal_dp_bar
from scheduler.planning.comparable_readings import ComparableReadings, comparable_readings, instruments, stated_limits
from scheduler.planning.duty import Duty
from scheduler.planning.elements import fitted_elements
from scheduler.planning.learning import learn_from_lives
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.planning.usable_readings import enters_the_forecast, has_usable, log_limits, usable_readings
from scheduler.statistics.beta_map import recalibrated
from scheduler.statistics.calibration import Calibration
from scheduler.statistics.condition_forecast import ConditionForecast, ElementPrior, ReadingColumns, forecast
from scheduler.statistics.life_left import remaining_life
from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.remaining_hours import RemainingHours


@dataclass(frozen=True, slots=True)
class Condition:
    """Readings (N,) restated and gated; positions (P,) with their limits, what was known before, and the forecast.

    `element_dp_bar` (N,) is the element's part at the warm state; `log_shift_bar` and
    `log_clean_before` are the shift of its started logarithm and the clean level in it before any reading.
    `terminal_dp_bar` is across the assembly, `terminal_element_dp_bar` the element's part. `has_forecast` marks the
    positions whose hours left come from ΔP; `remaining` is that forecast where it is, else the life model's.
    `row_of` points into `pressure`. `calibration` says how the forecasts of each type (T,) fared, None where the
    prior was known beforehand.
    """

    gate: Ints
    assembly_dp_bar: Floats
    element_dp_bar: Floats
    viscosity_ratio: Floats
    log_shift_bar: Floats
    log_clean_before: Floats
    warm: WarmState
    terminal_dp_bar: Floats
    terminal_rule: Ints
    terminal_element_dp_bar: Floats
    prior: ElementPrior
    calibration: Calibration | None
    has_forecast: Flags
    row_of: Ints
    pressure: ConditionForecast | None
    remaining: RemainingHours

    @property
    def life(self) -> LifePrior:
        return self.prior.life

    def counted(self) -> Flags:
        """Readings (N,) that count for the forecast."""
        return enters_the_forecast(self.gate)


def assess_condition(columns: PlantColumns, duty: Duty, prior: ElementPrior | None = None) -> Condition:
    """Restate, gate and forecast; `prior` None learns from the lives in `columns`."""
    elements, using = fitted_elements(columns), instruments(columns)
    restated = comparable_readings(columns, elements, using)
    calibration = None
    if prior is None:
        lessons = learn_from_lives(columns, duty, using)
        prior, calibration = lessons.prior, lessons.calibration
    readings = usable_readings(elements, restated, duty.reading_run_h)
    has_forecast = has_usable(readings, restated) & ~np.isnan(duty.run_h)
    rows = np.flatnonzero(has_forecast)
    run_h = np.where(np.isnan(duty.run_h), 0.0, duty.run_h)
    remaining = remaining_life(prior.life, run_h)
    pressure = None
    if len(rows):
        pressure = _forecast(restated, readings, duty, prior, rows)
        remaining = _replaced(remaining, rows, pressure.remaining)
    row_of = np.full(len(has_forecast), -1, dtype=np.intp)
    row_of[rows] = np.arange(len(rows))
    return Condition(
        gate=restated.gate,
        assembly_dp_bar=restated.dp_bar,
        element_dp_bar=restated.reading.element_dp_bar,
        viscosity_ratio=restated.reading.viscosity_ratio,
        log_shift_bar=started_shift_bar(restated.step_bar),
        log_clean_before=log_limits(restated).clean_sheet + prior.clean_deviation,
        warm=using.warm,
        terminal_dp_bar=assembly_terminal_dp_bar(*stated_limits(columns))[0],
        terminal_rule=restated.rule,
        terminal_element_dp_bar=restated.terminal_bar,
        prior=prior,
        calibration=calibration,
        has_forecast=has_forecast,
        row_of=row_of,
        pressure=pressure,
        remaining=remaining,
    )


def _forecast(
    restated: ComparableReadings,
    readings: ReadingColumns,
    duty: Duty,
    prior: ElementPrior,
    rows: Ints,
) -> ConditionForecast:
    """The forecast of some positions, set right by how those of their types fared."""
    limits, known = log_limits(restated), prior.at(rows)
    found = forecast(
        readings.of(rows),
        known.before(limits.terminal[rows], limits.clean_sheet[rows]),
        run_h_now=np.maximum(duty.run_h[rows], 1.0),
        shapes=prior.shapes,
    )
    remaining = recalibrated(found.remaining, known.pit_a, known.pit_b)
    return replace(found, remaining=remaining)


def _replaced(into: RemainingHours, rows: Ints, by: RemainingHours) -> RemainingHours:
    reached, within, never = into.already_reached.copy(), into.within.copy(), into.never.copy()
    reached[rows], within[rows], never[rows] = by.already_reached, by.within, by.never
    return RemainingHours(reached, within, never)
