"""Lines through the logarithms of particle counts: the level now, its trend a year, and a step from one time to
another.

ln N_k = design_k · coefficients + scatter, a Student-t whose scale is learned within a prior. A count is a point, a
scale number of ISO 4406 the interval between its limits, "≥" a lower bound: an interval enters by the mean and
variance of the normal cut to it (EM), so that what the rounding hides is not counted as known. All rows (a system's
size each) are fitted at once. Behind the scatter the oil itself wanders, since ingression does: what a random walk of
`WALK_LOG_SD` would show as a trend or a step is added to its variance, so that a wander is not called a rise.

Sources: EM for grouped and censored normals, Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B 39:1; information lost
to the intervals, Louis 1982, J. R. Stat. Soc. B 44:226; Student weights, Lange, Little & Taylor 1989, J. Am. Stat.
Assoc. 84:881; slope variance of a random walk (6/5 σ²/T), Durlauf & Phillips 1988, Econometrica 56:1333, from memory.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

SCATTER_LOG_SD = 0.4
"""Of one sample about the oil's level before any is seen: 30 to 50 % (common practice, no source)."""

SCATTER_WORTH_SAMPLES = 6.0
"""How many samples that guess is worth (ours)."""

WALK_LOG_SD = 0.25
"""How far the level of an oil with nothing wrong wanders in a year (ours)."""

STUDENT_DEGREES = 4.0
DAYS_A_YEAR = 365.25
_INFORMATION = (STUDENT_DEGREES + 1.0) / (STUDENT_DEGREES + 3.0)
"""What one Student sample tells of its place, in units of 1/scale² (Lange, Little & Taylor 1989)."""

_ROUNDS = 30
_HALF_A_NUMBER = 0.5 * float(np.log(2.0))
_FAR = 5.0  # in scatters: beyond, a cut normal is its nearer end
_COEFFICIENT_PRIOR_SD = (20.0, 1.5)  # a level anywhere; a trend or a step by a factor of 4 or so (ours)


@dataclass(frozen=True, slots=True)
class Line:
    """Of R rows, (R,) each: ln N where the design begins, and the trend a year or the step, each with its deviation.

    `change` and its deviation are NaN with fewer than three samples, `level` with none. scatter_log_sd: learned.
    """

    level: Floats
    level_sd: Floats
    change: Floats
    change_sd: Floats
    scatter_log_sd: Floats
    used: npt.NDArray[np.intp]

    def rise_probability(self, above: float = 0.0) -> Floats:
        """P(the change is more than `above`); NaN where none is known."""
        return np.asarray(ndtr((self.change - above) / self.change_sd))


def count_trend(
    day: Floats, low_per_mL: Floats, high_per_mL: Floats, now_day: float, scatter_log_sd: float = SCATTER_LOG_SD
) -> Line:
    """The level at `now_day` and the trend of ln N a year, from samples (R, K); NaN where there is none.

    low_per_mL, high_per_mL: bounds as `cleanliness_evidence` makes them. scatter_log_sd: believed before any sample.
    ValueError for unlike shapes or bounds that cross.

    >>> day = np.arange(0.0, 730.0, 30.0)[None]
    >>> doubling = 100.0 * 2.0 ** (day / 365.25)
    >>> found = count_trend(day, doubling, doubling, now_day=730.5)
    >>> float(found.change.round(2)[0]), float(np.exp(found.level).round(-1)[0])
    (0.69, 400.0)
    """
    if not day.shape == low_per_mL.shape == high_per_mL.shape:
        raise ValueError(f"days {day.shape} and bounds {low_per_mL.shape}, {high_per_mL.shape} differ")
    years = (day - now_day) / DAYS_A_YEAR
    known = ~np.isnan(low_per_mL)
    years = np.where(known, years, 0.0)
    span = np.where(known, years, -np.inf).max(axis=1) - np.where(known, years, np.inf).min(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        wander = np.where(span > 0.0, 1.2 * WALK_LOG_SD**2 / span, 0.0)
    return _fit(low_per_mL, high_per_mL, years, wander, scatter_log_sd)


def count_step(low_per_mL: Floats, high_per_mL: Floats, is_recent: Flags, apart_d: Floats) -> Line:
    """The level before, and the step from it to the recent samples (R, K), as in `count_trend`.

    apart_d (R,): days between the middles of both times, in which an oil with nothing wrong wanders.

    >>> counts = np.array([[100.0, 100.0, 100.0, 100.0, 400.0, 400.0]])
    >>> found = count_step(counts, counts, counts > 200.0, np.array([60.0]))
    >>> float(found.change.round(1)[0])
    1.4
    """
    return _fit(
        low_per_mL, high_per_mL, is_recent.astype(np.float64), WALK_LOG_SD**2 * apart_d / DAYS_A_YEAR, SCATTER_LOG_SD
    )


def _fit(low_per_mL: Floats, high_per_mL: Floats, regressor: Floats, wander: Floats, scatter_log_sd: float) -> Line:
    if not low_per_mL.shape == high_per_mL.shape == regressor.shape:
        raise ValueError(f"bounds {low_per_mL.shape}, {high_per_mL.shape} and a design {regressor.shape} differ")
    known = ~np.isnan(low_per_mL)
    if np.any(low_per_mL[known] > high_per_mL[known]):
        raise ValueError("a sample's lower bound per mL is above its upper bound")
    with np.errstate(divide="ignore"):
        low, high = np.log(np.where(known, low_per_mL, 1.0)), np.log(np.where(known, high_per_mL, 1.0))
    value, hidden, weight = _middle(low, high), np.zeros(low.shape), known.astype(np.float64)
    scatter_var = np.full(len(low), scatter_log_sd**2)
    used = known.sum(axis=1)
    for _ in range(_ROUNDS):
        coefficients, _ = _solve(value, regressor, weight, scatter_var)
        line = coefficients[:, :1] + coefficients[:, 1:] * regressor
        value, hidden = _cut_normal(line, np.sqrt(scatter_var)[:, None], low, high)
        residual = (value - line) ** 2 + hidden
        weight = known * (STUDENT_DEGREES + 1.0) / (STUDENT_DEGREES + residual / scatter_var[:, None])
        prior = SCATTER_WORTH_SAMPLES * scatter_log_sd**2
        scatter_var = (prior + (weight * residual).sum(axis=1)) / (SCATTER_WORTH_SAMPLES + used)
    told = _INFORMATION * weight * np.maximum(1.0 - hidden / scatter_var[:, None], 0.05)
    _, covariance = _solve(value, regressor, told, scatter_var)
    varies = known & (regressor != 0.0)
    says = (used >= 3) & varies.any(axis=1) & (np.ptp(np.where(known, regressor, regressor[:, :1]), axis=1) > 0.0)
    return Line(
        level=np.where(used > 0, coefficients[:, 0], np.nan),
        level_sd=np.where(used > 0, np.sqrt(covariance[:, 0]), np.nan),
        change=np.where(says, coefficients[:, 1], np.nan),
        change_sd=np.where(says, np.sqrt(covariance[:, 1] + wander), np.nan),
        scatter_log_sd=np.sqrt(scatter_var),
        used=used,
    )


def _middle(low: Floats, high: Floats) -> Floats:
    """A first value: the middle, or half a code number inside the only bound."""
    middle = np.where(np.isinf(low), high - _HALF_A_NUMBER, low + _HALF_A_NUMBER)
    middle = np.where(np.isinf(low) & np.isinf(high), 0.0, middle)
    return np.where(np.isfinite(low) & np.isfinite(high), 0.5 * (np.nan_to_num(low) + np.nan_to_num(high)), middle)


def _cut_normal(mean: Floats, log_sd: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of a normal cut to between `low` and `high`; a point where both are equal."""
    below, above = np.clip((low - mean) / log_sd, -_FAR, _FAR), np.clip((high - mean) / log_sd, -_FAR, _FAR)
    share = ndtr(above) - ndtr(below)
    inside = share > 1e-6
    safe = np.where(inside, share, 1.0)
    at_below, at_above = (np.exp(-0.5 * end**2) / np.sqrt(2.0 * np.pi) for end in (below, above))
    shift = (at_below - at_above) / safe
    spread = 1.0 + (below * at_below - above * at_above) / safe - shift**2
    middle = np.clip(mean + log_sd * shift, low, high)
    nearest = np.clip(mean, low, high)
    return np.where(inside, middle, nearest), np.where(inside, log_sd**2 * np.clip(spread, 0.0, 1.0), 0.0)


def _solve(value: Floats, regressor: Floats, weight: Floats, scatter_var: Floats) -> tuple[Floats, Floats]:
    """Coefficients (R, 2) by weighted least squares with the prior, and their variances (R, 2)."""
    precision = weight / scatter_var[:, None]
    flat, slope = (1.0 / sd**2 for sd in _COEFFICIENT_PRIOR_SD)
    s0, s1 = precision.sum(axis=1) + flat, (precision * regressor).sum(axis=1)
    s2 = (precision * regressor**2).sum(axis=1) + slope
    t0, t1 = (precision * value).sum(axis=1), (precision * regressor * value).sum(axis=1)
    determinant = s0 * s2 - s1**2
    coefficients = np.column_stack([s2 * t0 - s1 * t1, s0 * t1 - s1 * t0]) / determinant[:, None]
    return coefficients, np.column_stack([s2, s0]) / determinant[:, None]
