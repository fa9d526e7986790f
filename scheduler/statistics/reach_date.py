"""From run hours still to go to a date: how likely a machine has run that many hours by each day.

With C planned hours from now to a day, run hours by then are normal with mean ρC and variance C s² + C² var ρ
(`use_rate`), so T more hours are reached with probability Φ((ρC − T)/√(C s² + C² var ρ)), and uncertain hours
T are a sum over their distribution. Rises with C for every T. A normal rate has a tail below zero: a mass
1 − Φ(ρ/√var ρ) never arrives: 2 % before any reading where the weekly hours are not told, next to nothing
once a meter has been read for some weeks.
"""

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from scheduler.statistics.planned_hours import FloatArray

CELLS_AT_ONCE = 2_000_000
"""Cells of positions × hours × dates held at once, 16 MB an array; more only costs memory."""


def reach_probability(
    needed_h: FloatArray,
    probability: FloatArray,
    planned_ahead_h: FloatArray,
    *,
    rate_mean: FloatArray,
    rate_variance: FloatArray,
    variance_per_planned_hour: FloatArray,
) -> FloatArray:
    """Probability (P, D) that each position has run its hours by each date; never falls along a row.

    `needed_h` (B,) the support of run hours still to go, ≥ 0; `probability` (P, B) its weights, a row's
    missing rest never arriving; `planned_ahead_h` (P, D) planned hours from now to each date, ≥ 0 and not
    falling; the last three (P,) as in `UseRate`. No hours still to go are reached at once.
    Raises ValueError for unlike shapes or values outside these limits.

    >>> one = np.ones(1)
    >>> reach_probability(  # 80 h still to go, 100 h planned at a rate of about 0.8: as likely as not
    ...     80 * one, np.ones((1, 1)), np.array([[0.0, 100.0]]),
    ...     rate_mean=0.8 * one, rate_variance=0.01 * one, variance_per_planned_hour=2 * one,
    ... )
    array([[0. , 0.5]])
    """
    positions, dates = planned_ahead_h.shape
    if probability.shape != (positions, len(needed_h)):
        raise ValueError(f"probability {probability.shape} is not {(positions, len(needed_h))}")
    _check_hours(needed_h, probability, planned_ahead_h)
    _check_rates(
        positions,
        rate_mean=rate_mean,
        rate_variance=rate_variance,
        variance_per_planned_hour=variance_per_planned_hour,
    )
    mean_h = rate_mean[:, None] * planned_ahead_h
    spread_h = np.sqrt(
        planned_ahead_h * variance_per_planned_hour[:, None] + planned_ahead_h**2 * rate_variance[:, None]
    )
    with np.errstate(divide="ignore"):
        per_spread = 1.0 / spread_h  # infinite where nothing is uncertain: Φ is then a step
    reached = np.empty((positions, dates))
    at_once = max(1, CELLS_AT_ONCE // max(1, dates * len(needed_h)))
    for start in range(0, positions, at_once):
        part = slice(start, start + at_once)
        beyond_h = mean_h[part, None, :] - needed_h[None, :, None]
        with np.errstate(invalid="ignore"):
            chance = ndtr(beyond_h * per_spread[part, None, :])
        exact = ~np.isfinite(per_spread[part])
        if exact.any():
            chance = np.where(exact[:, None, :], beyond_h >= 0.0, chance)
        chance[:, needed_h == 0.0, :] = 1.0
        reached[part] = np.matmul(probability[part, None, :], chance)[:, 0, :]
    return np.maximum.accumulate(np.clip(reached, 0.0, 1.0), axis=1)


def reach_known_probability(
    needed_h: FloatArray,
    planned_ahead_h: FloatArray,
    *,
    rate_mean: FloatArray,
    rate_variance: FloatArray,
    variance_per_planned_hour: FloatArray,
    needed_variance: FloatArray,
) -> FloatArray:
    """As `reach_probability` for a known number of hours `needed_h` (P,), with the variance [h²] of that number.

    Where the hours run so far are not quite known (no reading for a while), neither are those still to go.

    >>> one = np.ones(1)
    >>> reach_known_probability(
    ...     80 * one, np.array([[0.0, 100.0]]),
    ...     rate_mean=0.8 * one, rate_variance=0.01 * one, variance_per_planned_hour=2 * one, needed_variance=9 * one,
    ... ).round(3)
    array([[0. , 0.5]])
    """
    ahead = planned_ahead_h
    variance = (
        ahead * variance_per_planned_hour[:, None] + ahead**2 * rate_variance[:, None] + needed_variance[:, None]
    )
    beyond_h = rate_mean[:, None] * ahead - needed_h[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = ndtr(beyond_h / np.sqrt(variance))
    chance = np.where(variance > 0.0, chance, beyond_h >= 0.0)
    return np.maximum.accumulate(np.clip(chance, 0.0, 1.0), axis=1)


def first_day_reaching(level: npt.ArrayLike, day_grid: FloatArray, cdf: FloatArray) -> FloatArray:
    """The first day (P,) at which each row of `cdf` (P, D) over `day_grid` (D,) reaches `level`.

    `level` is one number or (P,), above 0 and at most 1. Linear between grid days, the first grid day where
    it already holds there, infinite where it is not reached on the grid. Raises ValueError outside these
    limits or for a grid that does not increase.
    """
    wanted = np.broadcast_to(np.asarray(level, dtype=np.float64), cdf.shape[:1])
    if not ((wanted > 0.0) & (wanted <= 1.0)).all():
        raise ValueError(f"level {wanted.tolist()} is outside 0 (excluded) to 1")
    if cdf.shape[1:] != day_grid.shape or not (np.diff(day_grid) > 0.0).all():
        raise ValueError(f"cdf {cdf.shape} needs one increasing grid day per column, got {day_grid.shape}")
    after = (cdf < wanted[:, None]).sum(axis=1)
    right = np.clip(after, 1, len(day_grid) - 1)
    row = np.arange(len(cdf))
    low, high = cdf[row, right - 1], cdf[row, right]
    share = np.divide(wanted - low, high - low, out=np.zeros_like(low), where=high > low)
    between = day_grid[right - 1] + share * (day_grid[right] - day_grid[right - 1])
    return np.where(after == 0, day_grid[0], np.where(after == len(day_grid), np.inf, between))


def _check_hours(needed_h: FloatArray, probability: FloatArray, planned_ahead_h: FloatArray) -> None:
    if not (needed_h >= 0.0).all():
        raise ValueError(f"hours still to go must be at least 0, got {needed_h.min()}")
    if not ((probability >= 0.0).all() and (probability.sum(axis=1) <= 1.0 + 1e-9).all()):
        raise ValueError("probabilities must be at least 0 and sum to at most 1 in each row")
    if not ((planned_ahead_h >= 0.0).all() and (np.diff(planned_ahead_h, axis=1) >= 0.0).all()):
        raise ValueError("planned hours ahead must be at least 0 and never fall along a row")


def _check_rates(positions: int, **per_position: FloatArray) -> None:
    for name, values in per_position.items():
        if values.shape != (positions,):
            raise ValueError(f"{name} {values.shape} is not one per position, {(positions,)}")
        if not (np.isfinite(values) & (values >= 0.0)).all():
            raise ValueError(f"{name} must be finite and at least 0, got {values.min()} at the least")
