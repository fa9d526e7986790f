"""Does an element load faster or slower than before: the rate of its dirt by ΔP since a day, over that earlier in its life.

Each reading is turned into a load by the shape that the forecast believes most for this element. A straight line from
nothing at the fitting gives the rate before; from where it ends, a second line the rate since. Readings on the flat start
of a curve say little of the load, and weigh so little.
"""

from dataclasses import dataclass

import numpy as np

from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.load_grid import LOAD

READING_LOG_SD = 0.07
"""Of a restated reading in service; more where the readings themselves scatter more (ours)."""

LEAST_RATIO = 0.1
"""A load that stands still or falls counts as a tenth of the rate before: dirt does not leave an element (ours)."""

FEWEST_BEFORE, FEWEST_SINCE = 4, 2
_TELLS_NOTHING_LOG_SD = 2.0


@dataclass(frozen=True, slots=True)
class LoadChange:
    """ln of the rate since over the rate before, and how well it is known."""

    log_ratio: float
    log_sd: float
    readings: int


def load_change(
    columns: PlantColumns, duty: Duty, condition: Condition, position: int, since_day: float
) -> LoadChange | None:
    """Of what is fitted; None with fewer than four readings before the day, two since, or no forecast by ΔP."""
    row = int(condition.row_of[position])
    if condition.pressure is None or row < 0:
        return None
    readings = slice(int(columns.dp.offsets[position]), int(columns.dp.offsets[position + 1]))
    counts = condition.counted()[readings] & ~np.isnan(duty.reading_run_h[readings])
    hours, day = duty.reading_run_h[readings][counts], columns.dp.day[readings][counts]
    since = day >= since_day
    if since.sum() < FEWEST_SINCE or (~since).sum() < FEWEST_BEFORE:
        return None
    evidence = condition.pressure.evidence
    shift = condition.log_shift_bar[position]
    log_rise = np.log(np.maximum(condition.element_dp_bar[readings][counts], 0.0) + shift)
    log_rise -= evidence.clean_log_mean[row]
    curve = condition.prior.shapes.rise[int(np.argmax(evidence.shape_share[row]))]
    load = np.interp(log_rise, curve + 1e-9 * LOAD, LOAD)
    steepness = np.maximum(np.interp(load, LOAD, np.gradient(curve, LOAD)), 0.05)
    return _compared(hours, load, (steepness / READING_LOG_SD) ** 2, since)


def _compared(
    hours: Floats, load: Floats, weight: Floats, since: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
) -> LoadChange | None:
    before = ~since
    start_h = 0.5 * (hours[before][-1] + hours[since][0])
    rate, rate_var = _slope(hours[before], load[before], weight[before])
    if not rate > 0.0:
        return None
    ahead = hours[since] - start_h
    if not ahead[-1] > 0.0:
        return None
    newer, newer_var = _slope(ahead, load[since] - rate * start_h, weight[since])
    held = weight[since] * ahead
    pull = float(held.sum() / np.dot(held, ahead))  # of an error where the first line ends on the second line
    newer_var += (pull * start_h) ** 2 * rate_var
    ratio = newer / rate
    ratio_sd = float(np.sqrt(newer_var / rate**2 + ratio**2 * rate_var / rate**2))
    log_sd = ratio_sd / max(ratio, 3.0 * LEAST_RATIO)
    if log_sd > _TELLS_NOTHING_LOG_SD:
        return None
    return LoadChange(float(np.log(max(ratio, LEAST_RATIO))), log_sd, int(since.sum()))


def _slope(hours: Floats, load: Floats, weight: Floats) -> tuple[float, float]:
    """Of a line through nothing at hour 0, with its variance, not smaller than the line's own misfit makes it."""
    squares = float(np.dot(weight, hours**2))
    if squares <= 0.0:
        return 0.0, np.inf
    slope = float(np.dot(weight, hours * load)) / squares
    misfit = float(np.dot(weight, (load - slope * hours) ** 2)) / max(len(hours) - 1, 1)
    return slope, max(misfit, 1.0) / squares
