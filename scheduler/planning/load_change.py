"""What an element's ΔP says beside the counts: does it load faster than before, and did it fall at once.

Within one life two rates are tried on the readings: the load grows by one rate up to a day and by another since, seen
through the shapes that the forecast believes of this element; and a share of the ΔP may be gone since, as where oil
goes round the element. Shape, rates and clean level are summed over, so that what is left is the likelihood of the
ratio, and that of a fall against none. An element that was fitted about that day or later is held against the lives
before it: its life, and its clean ΔP.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from scheduler.engineering.pressure_drop import SHIFT_IN_STEPS
from scheduler.planning.condition import Condition
from scheduler.planning.duty import Duty
from scheduler.planning.plant_columns import Floats, PlantColumns
from scheduler.statistics.load_grid import LOAD

READING_LOG_SD = 0.07
"""Of a restated reading in service, beside its rounding (ours)."""

RATIO: Floats = np.geomspace(0.12, 8.0, 11)
"""Ratios that are weighed: a load does not fall, dirt does not leave an element (ours)."""

FALLS: Floats = np.array([0.3, 0.5, 0.7, 0.85, 0.95])
"""Shares of the ΔP that may be gone: the flow that goes round the element is missing in it (Darcy; ours)."""

FALLEN_WITHIN_D = 160.0
"""How far back a fall is looked for (ours)."""

FEWEST_BEFORE, FEWEST_SINCE = 4, 3
_NEWEST = 30
_MOST_SHAPES, _BELIEVED_SHAPE = 3, 0.05
_RATES: Floats = np.exp(np.linspace(-0.9, 0.9, 9))
_RATIOS_WITH_FALL: Floats = np.array([0.35, 1.0, 2.5])
_STUDENT_DEGREES = 4.0
_FALL_STARTS = 10
_TEMPER, _MOST_FELL = 0.5, 4.0
"""Readings are no independent witnesses, and no gauge is that sure (ours)."""

_OF_THIS_LIFE = 0.3
"""A change within the first third of a life is one between lives (ours)."""

_FIRST_READINGS, _FIRST_RISE, _CLEAN_LOG_SD = 4, 0.1, 0.15
"""By these readings a new element has risen so much, and differs by so much from those before (ours)."""


@dataclass(frozen=True, slots=True)
class LoadChange:
    """ln of the rate since over the rate before, and how well it is known.

    log_fell_odds: how much better the readings are explained by a ΔP that fell at once; 0 where they cannot tell.
    """

    log_ratio: float
    log_sd: float
    readings: int
    log_fell_odds: float


@dataclass(frozen=True, slots=True)
class _Seen:
    """Readings that count: run hours, day, started logarithm with its deviation, and the shift it was started by."""

    hours: Floats
    day: Floats
    log_dp: Floats
    log_sd: Floats
    shift_bar: float


def load_change(
    columns: PlantColumns, duty: Duty, condition: Condition, position: int, since_day: float
) -> LoadChange | None:
    """Of what is fitted; None where its ΔP or the readings on either side are too few."""
    row = int(condition.row_of[position])
    if condition.pressure is None or row < 0:
        return None
    seen = _seen(columns, duty, condition, position)
    since = seen.day >= since_day
    if since.sum() < FEWEST_SINCE:
        return None
    fitted_day = float(columns.fitted.fitted_day[position])
    if since_day < fitted_day + _OF_THIS_LIFE * (columns.as_of_day - fitted_day):
        fitted_lately = columns.as_of_day - fitted_day < FALLEN_WITHIN_D
        return _against_lives_before(condition, position, row, seen, columns.as_of_day, fitted_lately=fitted_lately)
    if (~since).sum() < FEWEST_BEFORE:
        return None
    start_h = 0.5 * (seen.hours[~since][-1] + seen.hours[since][0])
    stands = _log_likelihood(condition, row, seen, start_h, RATIO, np.zeros(1))[0]
    weight = np.exp(stands - stands.max())
    weight /= weight.sum()
    mean = float(np.dot(weight, np.log(RATIO)))
    step = float(np.log(RATIO[1] / RATIO[0]))
    log_sd = float(np.sqrt(np.dot(weight, (np.log(RATIO) - mean) ** 2) + 0.25 * step**2))
    return LoadChange(mean, log_sd, int(since.sum()), _fell(condition, row, seen, columns.as_of_day))


def flow_change(columns: PlantColumns, position: int, since_day: float) -> float | None:
    """ln of the median flow noted with the ΔP of what is fitted since a day over that before; None where too few
    are.
    """
    readings = slice(int(columns.dp.offsets[position]), int(columns.dp.offsets[position + 1]))
    flow, since = columns.dp.flow_lpm[readings], columns.dp.day[readings] >= since_day
    before, after = flow[(flow > 0.0) & ~since], flow[(flow > 0.0) & since]
    stated_lpm = float(columns.positions.flow_lpm[position])
    if len(after) < FEWEST_SINCE or (len(before) < FEWEST_BEFORE and not stated_lpm > 0.0):
        return None
    usual_lpm = float(np.median(before)) if len(before) >= FEWEST_BEFORE else stated_lpm
    return float(np.log(np.median(after) / usual_lpm))


def _seen(columns: PlantColumns, duty: Duty, condition: Condition, position: int) -> _Seen:
    readings = slice(int(columns.dp.offsets[position]), int(columns.dp.offsets[position + 1]))
    counts = np.flatnonzero(condition.counted()[readings] & ~np.isnan(duty.reading_run_h[readings]))[-_NEWEST:]
    shift_bar = float(condition.log_shift_bar[position])
    shown_bar = np.maximum(condition.element_dp_bar[readings][counts], 0.0) + shift_bar
    step_sd = shift_bar / SHIFT_IN_STEPS / np.sqrt(12.0) / shown_bar
    return _Seen(
        hours=duty.reading_run_h[readings][counts],
        day=columns.dp.day[readings][counts],
        log_dp=np.log(shown_bar),
        log_sd=np.hypot(READING_LOG_SD, step_sd),
        shift_bar=shift_bar,
    )


def _against_lives_before(
    condition: Condition, position: int, row: int, seen: _Seen, now_day: float, *, fitted_lately: bool
) -> LoadChange | None:
    """A life that its readings make shorter than those before loads faster; a clean ΔP below theirs has fallen."""
    if condition.pressure is None:
        return None
    fell = _fell(condition, row, seen, now_day) if len(seen.hours) >= FEWEST_BEFORE + FEWEST_SINCE else None
    if fitted_lately:
        began_low = _began_low(condition, position, seen)
        fell = began_low if fell is None else float(np.logaddexp(fell, began_low) - np.log(2.0))
    evidence, life = condition.pressure.evidence, condition.life
    var = float(evidence.log_life_var[row] + life.log_sd[position] ** 2)
    ratio = float(life.log_median[position] - evidence.log_life_mean[row])
    return LoadChange(ratio, var**0.5, len(seen.hours), fell or 0.0)


def _began_low(condition: Condition, position: int, seen: _Seen) -> float:
    """Log odds of a clean ΔP that lacks a share of what elements here begin with, by the first readings."""
    first = slice(0, _FIRST_READINGS)
    level = float(np.average(seen.log_dp[first], weights=1.0 / seen.log_sd[first] ** 2))
    above = level - float(condition.log_clean_before[position]) - _FIRST_RISE
    clean_bar = float(np.exp(condition.log_clean_before[position]) - seen.shift_bar)
    gone = np.log((np.maximum(clean_bar, 0.0) * (1.0 - FALLS) + seen.shift_bar) / (clean_bar + seen.shift_bar))
    log_sd = float(np.hypot(_CLEAN_LOG_SD, np.sqrt(condition.prior.clean_log_var[position])))
    low = float(logsumexp(-0.5 * ((above - gone) / log_sd) ** 2) - np.log(len(FALLS)) + 0.5 * (above / log_sd) ** 2)
    return 0.0 if np.isnan(low) else float(np.clip(_TEMPER * low, -_MOST_FELL, _MOST_FELL))


def _fell(condition: Condition, row: int, seen: _Seen, now_day: float) -> float:
    """Log odds, tempered, of a fall at one of some days against none at any."""
    first_h = float(np.interp(now_day - FALLEN_WITHIN_D, seen.day, seen.hours))
    first_h = max(first_h, seen.hours[min(FEWEST_BEFORE, len(seen.hours)) - 1])
    starts = np.linspace(first_h, 0.5 * (seen.hours[-1] + seen.hours[-2]), _FALL_STARTS)
    falls = np.concatenate([[0.0], FALLS])
    each = [_log_likelihood(condition, row, seen, float(start), _RATIOS_WITH_FALL, falls) for start in starts]
    every = logsumexp(np.array(each), axis=(0, 2))
    odds = float(logsumexp(every[1:]) - np.log(len(FALLS)) - every[0])
    return float(np.clip(_TEMPER * odds, -_MOST_FELL, _MOST_FELL))


def _log_likelihood(
    condition: Condition, row: int, seen: _Seen, start_h: float, ratios: Floats, falls: Floats
) -> Floats:
    """Of each fall and ratio (falls, ratios), summed over shapes, rates before and the clean level."""
    assert condition.pressure is not None  # noqa: S101 - the caller has looked
    evidence = condition.pressure.evidence
    share = evidence.shape_share[row]
    shapes = [each for each in np.argsort(share)[-_MOST_SHAPES:].tolist() if share[each] > _BELIEVED_SHAPE]
    shapes = shapes or [int(np.argmax(share))]
    clean, clean_var = float(evidence.clean_log_mean[row]), float(evidence.clean_log_var[row])
    before_h, since_h = np.minimum(seen.hours, start_h), np.maximum(seen.hours - start_h, 0.0)
    rate = float(evidence.load_share[row]) / seen.hours[-1] * _RATES
    load = rate[None, :, None] * (before_h + ratios[:, None, None] * since_h)  # ratios × rates × readings
    left = np.where(since_h > 0.0, 1.0 - falls[:, None], 1.0)[:, None, None, :]
    precision = 1.0 / seen.log_sd**2
    each = []
    for shape in shapes:
        shown_bar = np.exp(clean + np.interp(load, LOAD, condition.prior.shapes.rise[shape])) - seen.shift_bar
        off = seen.log_dp - np.log(np.maximum(shown_bar, 0.0) * left + seen.shift_bar)
        level = (off * precision).sum(axis=-1) / (precision.sum() + 1.0 / clean_var)
        z2 = (off - level[..., None]) ** 2 * precision
        fit = -0.5 * (_STUDENT_DEGREES + 1.0) * np.log1p(z2 / _STUDENT_DEGREES).sum(axis=-1)
        each.append(logsumexp(fit - 0.5 * level**2 / clean_var, axis=-1) + np.log(share[shape]))
    return np.asarray(logsumexp(np.array(each), axis=0))
