"""Does the oil miss its cleanliness target: what a handful of samples says of the count that the oil usually has.

Samples scatter about the oil's usual (geometric mean) count N log-normally. A count is a point, a scale number of
ISO 4406 the interval between its limits, a number marked "≥" a lower bound, a size that was not counted nothing.
The posterior of ln N stands on a grid; with counts alone it is the textbook normal with a normal prior. A target
is missed where P(N > limit) > 0.8 over the last 3 to 5 samples (> 0.9 by the newest three of more) and no single
sample carries that verdict alone. The same posterior of a ratio of two counts says whether an element still holds
anything back.

Sources: ISO 4406:2021 (limits, "≥"); the scatter and the rule are ours, each with its reason.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from scheduler.engineering.cleanliness_code import ABOVE_28, UP_TO_AND_INCLUDING_PER_mL

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]

CODE_NUMBER = float(np.log(2.0))
"""One scale number is about a factor of two (ISO 4406:2021, table 1)."""

COUNTER_LOG_SD = 0.5 * CODE_NUMBER
"""A particle counter's own reproducibility: about half a code number (common practice, no source)."""

BOTTLE_LOG_SD = 0.5 * CODE_NUMBER
"""What the bottle, the sampling point and the machine's state add: as much again (ours)."""

SCATTER_LOG_SD = float(np.hypot(COUNTER_LOG_SD, BOTTLE_LOG_SD))
"""Between samples of one oil: 0.7 code numbers, a factor of 1.6 (ours, of the two before)."""

RATIO_LOG_SD = float(np.hypot(COUNTER_LOG_SD, COUNTER_LOG_SD))
"""Of upstream over downstream counts at the same time: two counts, the machine's state in common (ours)."""

PRIOR_LOG_SD = 2.0 * CODE_NUMBER
"""Before any sample the oil is as likely above its limit as below it, by some two code numbers (ours)."""

MISSED_PROBABILITY = 0.8
MISSED_BY_NEWEST_PROBABILITY = 0.9
"""What the newest three must say where older ones are left out: of three windows and three sizes the clearest is
taken, and a dirty bottle beside a sample that came out high is not rare (ours; by systems under their target)."""
FEWEST_SAMPLES, MOST_SAMPLES = 3, 5
RATHER_ABOVE_PROBABILITY = 0.5
"""What the samples but any one of them, and the newest three alone, must still say for a miss: one dirty bottle is
no dirty oil, and a dirty time that is over is no reason to act (ours)."""

FEWEST_ABOVE = 2
"""Samples of a miss that lie above the limit by themselves: lower bounds at the target alone miss nothing (ours)."""

NOTHING_COUNTED_BELOW_per_mL = 1.0
"""A count of 0 says that none was found in the unknown volume that was counted, at least a millilitre (ours)."""

NOTHING_TO_SPEAK_OF = 1
"""Code numbers, up or down, by which the counts before and after an element that holds nothing back differ (ours)."""

_NEWEST_PAIRS = 3
_PER_NUMBER = 10
_REACH = 32 * _PER_NUMBER  # the whole scale of ISO 4406 from any limit on it, and some more for the scatter
_NODES: Floats = np.arange(-_REACH, _REACH + 1, dtype=np.float64) * (CODE_NUMBER / _PER_NUMBER)
_LOG_PRIOR: Floats = -0.5 * (_NODES / PRIOR_LOG_SD) ** 2
_ROWS_AT_ONCE = 100  # some 4 MB for rows × samples × nodes


class Evidence(IntEnum):
    """What the samples of one size say of its target; the highest of the sizes is what they say of the oil."""

    NOT_COUNTED = 0
    TOO_FEW = 1
    MET = 2
    ONE_BAD = 3
    """The newest sample lies above its limit and the others do not bear it out: take another."""
    MISSED = 4


@dataclass(frozen=True, slots=True)
class Judged:
    """What the samples of R rows (a system's size each) say of their targets.

    probability: P(usual count > limit) over the newest `used` samples, NaN without any. level_per_mL: the usual
    count, posterior mean of its logarithm. counted: samples that counted this size at all. newest_above: the last
    of them lies above the limit.
    """

    evidence: Ints
    probability: Floats
    level_per_mL: Floats
    used: Ints
    counted: Ints
    newest_above: Flags

    def of_rows(self, rows: slice) -> "Judged":
        """The same of some of the rows."""
        return Judged(*(getattr(self, name)[rows] for name in self.__slots__))


def bounds_of_counts(count_per_mL: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Between which counts per mL a counted one lies: both are the count itself; NaN stays NaN.

    A count of 0 lies below `NOTHING_COUNTED_BELOW_per_mL`. Beyond the ends of the ISO 4406 scale only the end is
    believed. ValueError for a negative count.

    >>> bounds_of_counts([160.0, 0.0])
    (array([160.,   0.]), array([160.,   1.]))
    """
    count = np.asarray(count_per_mL, dtype=np.float64)
    if np.any(count < 0.0):
        raise ValueError(f"particle count {float(np.nanmin(count))} per mL is below 0")
    first, last = UP_TO_AND_INCLUDING_PER_mL[0], UP_TO_AND_INCLUDING_PER_mL[-1]
    low = np.where(count < first, 0.0, np.minimum(count, last))
    high = np.where(count == 0.0, NOTHING_COUNTED_BELOW_per_mL, np.maximum(count, first))
    return np.where(np.isnan(count), np.nan, low), np.where(count > last, np.inf, high)


def bounds_of_numbers(number: npt.ArrayLike, at_least: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Between which counts per mL a scale number lies; −1, a size that was not counted, is NaN.

    `at_least` where the number is marked "≥": a lower bound. ValueError for a number outside −1 to 29.

    >>> bounds_of_numbers([16, 16, -1], [False, True, False])
    (array([320., 320.,  nan]), array([640.,  inf,  nan]))
    """
    numbers = np.asarray(number, dtype=np.intp)
    if np.any((numbers < -1) | (numbers > ABOVE_28)):
        raise ValueError(f"scale numbers {numbers.min()} to {numbers.max()} are not all within −1 to {ABOVE_28}")
    limits = np.array([0.0, *UP_TO_AND_INCLUDING_PER_mL, np.inf])
    missing = numbers < 0
    high = np.where(np.asarray(at_least, dtype=bool), np.inf, limits[numbers + 1])
    return np.where(missing, np.nan, limits[np.maximum(numbers, 0)]), np.where(missing, np.nan, high)


def judge(low_per_mL: Floats, high_per_mL: Floats, limit_per_mL: Floats) -> Judged:
    """What the samples of each row say of its target.

    low_per_mL, high_per_mL (R, K): bounds of each sample, oldest first, equal where counted, NaN where missing.
    limit_per_mL (R,): the target number's upper limit. Of each row the newest 3, 4 or 5 samples are taken,
    whichever speak most clearly for a miss: a step up is seen before the good samples have left the window.
    ValueError for unlike shapes, bounds that cross, a limit that is not finite and above 0.
    """
    _refuse_what_cannot_be(low_per_mL, high_per_mL, limit_per_mL)
    parts = [_judge(low_per_mL[part], high_per_mL[part], limit_per_mL[part]) for part in _parts(len(limit_per_mL))]
    return Judged(*(np.concatenate([getattr(part, name) for part in parts]) for name in Judged.__slots__))


def above_limit_probability(
    low_per_mL: Floats, high_per_mL: Floats, limit_per_mL: Floats, log_sd: float = SCATTER_LOG_SD
) -> Floats:
    """P(usual count > limit) (R,) from all the samples (R, K) as in `judge`; 0.5 from none.

    >>> one_number_above = np.full((1, 4), 160.0)
    >>> above_limit_probability(one_number_above, one_number_above, np.array([80.0])).round(3)
    array([0.997])
    """
    _refuse_what_cannot_be(low_per_mL, high_per_mL, limit_per_mL)
    low, high = _relative(low_per_mL, high_per_mL, limit_per_mL)
    parts = [_above(_log_likelihood(low[part], high[part], log_sd).sum(axis=1)) for part in _parts(len(low))]
    return np.concatenate(parts)


def nothing_held_back_probability(
    upstream_low_per_mL: Floats,
    upstream_high_per_mL: Floats,
    downstream_low_per_mL: Floats,
    downstream_high_per_mL: Floats,
) -> tuple[Floats, Floats, Ints]:
    """P(an element holds nothing to speak of back) (R,), its β (R,), and pairs used (R,).

    Bounds (R, K) of counts before and after it at the same time, as in `judge`. Of the newest 1 to 3 pairs those
    are taken that speak most clearly: grip is lost at once and does not come back. Counts that are much higher
    downstream are no lost grip but swapped bottles or dirt from elsewhere. NaN without a pair.
    """
    nowhere = np.isnan(upstream_low_per_mL) | np.isnan(downstream_low_per_mL)
    with np.errstate(divide="ignore"):
        low = np.log(upstream_low_per_mL) - np.log(downstream_high_per_mL)
        high = np.log(upstream_high_per_mL) - np.log(downstream_low_per_mL)
    low, high = _newest(np.where(nowhere, np.nan, low), np.where(nowhere, np.nan, high), _NEWEST_PAIRS)
    each = _log_likelihood(low, high, RATIO_LOG_SD)
    pairs = np.sum(~nowhere, axis=1)
    edge = NOTHING_TO_SPEAK_OF * _PER_NUMBER
    sizes = range(1, _NEWEST_PAIRS + 1)
    posteriors = [_posterior(each[:, -size:].sum(axis=1)) for size in sizes]
    lost = np.array([_mass(posterior, -edge, edge) for posterior in posteriors])
    best = np.argmax(lost, axis=0)
    rows = np.arange(len(pairs))
    beta = np.exp([_mean(posterior) for posterior in posteriors])[best, rows]
    none = pairs == 0
    used = np.minimum(pairs, np.array(sizes)[best])
    return np.where(none, np.nan, lost[best, rows]), np.where(none, np.nan, beta), used


def _judge(low_per_mL: Floats, high_per_mL: Floats, limit_per_mL: Floats) -> Judged:
    counted = np.sum(~np.isnan(low_per_mL), axis=1)
    low, high = _newest(*_relative(low_per_mL, high_per_mL, limit_per_mL), MOST_SAMPLES)
    each = _log_likelihood(low, high, SCATTER_LOG_SD)
    is_above = (low >= 0.0) & (high > 0.0)
    sizes = np.arange(FEWEST_SAMPLES, MOST_SAMPLES + 1)
    sums = np.array([each[:, -size:].sum(axis=1) for size in sizes])
    probability = np.array([_above(total) for total in sums])
    leaves_out = (sizes[:, None] == FEWEST_SAMPLES) & (counted > FEWEST_SAMPLES)
    missed = probability > np.where(leaves_out, MISSED_BY_NEWEST_PROBABILITY, MISSED_PROBABILITY)
    missed &= np.array([is_above[:, -size:].sum(axis=1) >= FEWEST_ABOVE for size in sizes])
    missed &= (probability[0] > RATHER_ABOVE_PROBABILITY) & (counted >= FEWEST_SAMPLES)
    for window, size in enumerate(sizes):
        rows = np.flatnonzero(missed[window])
        without = _least_without_one(each[rows, -size:], sums[window, rows])
        missed[window, rows] = without > RATHER_ABOVE_PROBABILITY
    best = np.argmax(probability + missed, axis=0)
    every = np.arange(len(counted))
    evidence = np.select(
        [counted == 0, missed[best, every], is_above[:, -1], counted < FEWEST_SAMPLES],
        [Evidence.NOT_COUNTED, Evidence.MISSED, Evidence.ONE_BAD, Evidence.TOO_FEW],
        Evidence.MET,
    )
    level = limit_per_mL * np.exp(_mean(_posterior(sums[best, every])))
    return Judged(
        evidence=evidence.astype(np.intp),
        probability=np.where(counted > 0, probability[best, every], np.nan),
        level_per_mL=np.where(counted > 0, level, np.nan),
        used=np.minimum(counted, sizes[best]),
        counted=counted,
        newest_above=is_above[:, -1],
    )


def _parts(rows: int) -> list[slice]:
    return [slice(start, start + _ROWS_AT_ONCE) for start in range(0, max(rows, 1), _ROWS_AT_ONCE)]


def _newest(low: Floats, high: Floats, count: int) -> tuple[Floats, Floats]:
    """The newest `count` of what each row holds, missing ones before them: (R, K) to (R, count)."""
    order = np.argsort(~np.isnan(low), axis=1, kind="stable")
    front = np.full((len(low), count), np.nan)
    packed = (np.concatenate([front, np.take_along_axis(bound, order, axis=1)], axis=1) for bound in (low, high))
    newest_low, newest_high = (bound[:, -count:] for bound in packed)
    return newest_low, newest_high


def _relative(low_per_mL: Floats, high_per_mL: Floats, limit_per_mL: Floats) -> tuple[Floats, Floats]:
    with np.errstate(divide="ignore"):
        log_limit = np.log(limit_per_mL)[:, None]
        return np.log(low_per_mL) - log_limit, np.log(high_per_mL) - log_limit


def _log_likelihood(log_low: Floats, log_high: Floats, log_sd: float) -> Floats:
    """Of each sample at each node (R, K, nodes): density of a point, probability of an interval, 0 where unknown."""
    log_likelihood = np.zeros((*log_low.shape, len(_NODES)))
    is_point = log_low == log_high
    log_likelihood[is_point] = -0.5 * ((log_low[is_point][:, None] - _NODES) / log_sd) ** 2
    is_interval = log_low < log_high
    below = (log_low[is_interval][:, None] - _NODES) / log_sd
    above = (log_high[is_interval][:, None] - _NODES) / log_sd
    # both ends in the upper tail are mirrored into the lower one, where log Φ keeps its digits
    mirrored = below > 0.0
    wide = log_ndtr(np.where(mirrored, -below, above))
    narrow = log_ndtr(np.where(mirrored, -above, below))
    log_likelihood[is_interval] = wide + np.log1p(-np.exp(narrow - wide))
    return log_likelihood


def _posterior(log_likelihood: Floats) -> Floats:
    """Posterior weight (R, nodes) of the logarithm over the grid's step, by Simpson's rule."""
    log_posterior = log_likelihood + _LOG_PRIOR
    posterior = np.exp(log_posterior - log_posterior.max(axis=-1, keepdims=True))
    return np.asarray(posterior / _mass(posterior, -_REACH, _REACH)[..., None])


def _mass(posterior: Floats, first: int, last: int) -> Floats:
    """Simpson's integral from node `first` to node `last`, counted from the limit; an even number of steps."""
    part = posterior[..., _REACH + first : _REACH + last + 1]
    return np.asarray(
        (part[..., 0] + 4 * part[..., 1::2].sum(-1) + 2 * part[..., 2:-1:2].sum(-1) + part[..., -1]) / 3
    )


def _mean(posterior: Floats) -> Floats:
    return _mass(posterior * _NODES, -_REACH, _REACH)


def _above(log_likelihood: Floats) -> Floats:
    return np.minimum(_mass(_posterior(log_likelihood), 0, _REACH), 1.0)  # rounding must not make it more than sure


def _least_without_one(each: Floats, total: Floats) -> Floats:
    """The least P(above) when one of the samples (R, K, nodes) is left out of their sum."""
    return np.asarray(np.min([_above(total - each[:, sample]) for sample in range(each.shape[1])], axis=0))


def _refuse_what_cannot_be(low_per_mL: Floats, high_per_mL: Floats, limit_per_mL: Floats) -> None:
    if low_per_mL.shape != high_per_mL.shape or low_per_mL.shape[:1] != limit_per_mL.shape:
        raise ValueError(f"bounds {low_per_mL.shape} and {high_per_mL.shape} for {len(limit_per_mL)} limits")
    if np.any(np.isnan(low_per_mL) != np.isnan(high_per_mL)):
        raise ValueError("a sample has one bound per mL without the other; a missing one has neither")
    if np.any(low_per_mL > high_per_mL) or np.any(low_per_mL < 0.0):
        raise ValueError("a sample's lower bound per mL is below 0 or above its upper bound")
    if not np.all((limit_per_mL > 0.0) & np.isfinite(limit_per_mL)):
        raise ValueError(f"limits per mL from {np.min(limit_per_mL)} are not all finite and above 0")
