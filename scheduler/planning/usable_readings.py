"""The readings that enter the forecast, in the started logarithm, with the limits that they are held against."""

from dataclasses import dataclass

import numpy as np

from scheduler.engineering.pressure_drop import (
    NormalisedDp,
    started_log,
    started_log_variance,
    started_shift_bar,
)
from scheduler.engineering.reading_gate import COUNTED_GATES, Gate
from scheduler.planning.comparable_readings import USUAL_CLEAN_SHARE, ComparableReadings
from scheduler.planning.elements import Elements
from scheduler.planning.plant_columns import Flags, Floats, Ints
from scheduler.statistics.condition_forecast import ReadingColumns

_ENTERS_THE_FORECAST = [int(gate) for gate in COUNTED_GATES | {Gate.BYPASS_OPEN}]
"""A warm reading at the bypass setting says how bad the element is at least. Left out, a spent element would be
judged by its readings before, and would look the better for getting worse."""

CLEAN_LOG_SD = 0.25
"""How far a fitted element's clean ΔP may lie from the sheet's, as a ratio (ours)."""

UNKNOWN_CLEAN_LOG_SD = 0.6
"""Without a sheet the usual share of the terminal ΔP holds, give or take a factor of 1.8 (ours)."""


@dataclass(frozen=True, slots=True)
class LogLimits:
    """Of each element (E,), in the started logarithm of its gauge: terminal ΔP, and clean ΔP by its sheet or as
    usual.

    `clean_log_sd` says how well the clean one is known. NaN without a terminal.
    """

    terminal: Floats
    clean_sheet: Floats
    clean_log_sd: Floats


def enters_the_forecast(gate: Ints) -> Flags:
    """Readings (N,) that count."""
    return np.isin(gate, _ENTERS_THE_FORECAST)


def log_limits(restated: ComparableReadings) -> LogLimits:
    shift = started_shift_bar(restated.step_bar)
    clean_known = ~np.isnan(restated.clean_bar)
    usual = USUAL_CLEAN_SHARE * restated.terminal_bar
    return LogLimits(
        terminal=started_log(restated.terminal_bar, shift),
        clean_sheet=started_log(np.where(clean_known, restated.clean_bar, usual), shift),
        clean_log_sd=np.where(clean_known, CLEAN_LOG_SD, UNKNOWN_CLEAN_LOG_SD),
    )


def has_usable(readings: ReadingColumns, restated: ComparableReadings) -> Flags:
    """Elements (E,) that can be forecast by their ΔP: a reading counts, and its terminal is known."""
    return (np.diff(readings.offsets) > 0) & ~np.isnan(restated.terminal_bar)


def usable_readings(elements: Elements, restated: ComparableReadings, run_h: Floats) -> ReadingColumns:
    """The readings that count, element by element in order of run hours; `run_h` (N,) since fitting, NaN unknown."""
    owner = elements.of_readings()
    order = np.flatnonzero(enters_the_forecast(restated.gate) & ~np.isnan(run_h))
    order = order[np.lexsort((run_h[order], owner[order]))]
    of = owner[order]
    shift = started_shift_bar(restated.step_bar)
    element_bar = restated.reading.element_dp_bar[order]
    smoothed = _running_median(element_bar, of)
    at_least = restated.gate[order] == Gate.BYPASS_OPEN
    level = np.where(at_least, np.maximum(element_bar, smoothed), element_bar)
    reading = NormalisedDp(*(getattr(restated.reading, name)[order] for name in NormalisedDp.__dataclass_fields__))
    variance = started_log_variance(smoothed, reading, restated.step_bar[of], shift[of])
    return ReadingColumns(
        offsets=np.concatenate([[0], np.cumsum(np.bincount(of, minlength=len(elements)))]).astype(np.int64),
        run_h=run_h[order],
        log_dp=started_log(level, shift[of]),
        weight=1.0 / variance,
    )


def last_level(readings: ReadingColumns) -> Floats:
    """The median of the last three readings of each element (E,), or of as many as there are; NaN for none."""
    last = readings.offsets[1:, None] - 1 - np.arange(3)
    inside = last >= readings.offsets[:-1, None]
    if not len(readings.log_dp):
        return np.full(len(inside), np.nan)
    level = np.where(inside, readings.log_dp[np.maximum(last, 0)], np.nan)
    found = np.full(len(level), np.nan)
    some = inside[:, 0]
    found[some] = np.nanmedian(level[some], axis=1)
    return found


def _running_median(values: Floats, owner: Ints) -> Floats:
    """The median of each reading and its two neighbours on either side on the same element."""
    around = np.full((5, len(values)), np.nan)
    around[2] = values
    for step in (1, 2):
        same = owner[step:] == owner[:-step]
        around[2 - step, step:] = np.where(same, values[:-step], np.nan)
        around[2 + step, :-step] = np.where(same, values[step:], np.nan)
    return np.asarray(np.nanmedian(around, axis=0))
