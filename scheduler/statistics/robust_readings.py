"""Which readings to believe less: a robust step along a rising line.

A gauge misread, a decimal slipped or a reading taken cold lies off the line of its neighbours; the steep last
part of a life does not. Each reading is compared with the Theil–Sen line (median of the pairwise slopes,
never falling, because an element in service does not get cleaner) through the five readings around it in the
same life. Only a reading beyond z² = 6 loses weight, by the weight of a Student-t likelihood. A median of the
neighbours without a slope would punish exactly the newest readings of a true steep rise. Nor is a newest reading that
stands high believed the less the higher it stands: a knee may begin there, and no later reading speaks against it
yet. It keeps the pull of one at the threshold, until it stands so high that a slip is likelier.

Sources: Sen 1968, J. Am. Stat. Assoc. 63:1379 (the slope); Lange, Little & Taylor 1989, J. Am. Stat. Assoc.
84:881 (the weight (ν + 1)/(ν + z²)); Huber 1964, Ann. Math. Stat. 35:73 (the bounded pull). Window, thresholds
and ν are ours, from simulated plants.
"""

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from scheduler.statistics.in_threads import for_each

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

WINDOW = 5
FEWEST_READINGS = 4
_SAME_HOUR = 1e-6
SUSPECT_Z2 = 6.0
SLIP_Z2 = 36.0
STUDENT_DEGREES = 4.0
_AT_ONCE = 16_384  # readings, more or less: fewer cost threads their turns, more leave the processor's cache


def robust_weights(offsets: Indices, run_h: Floats, log_dp: Floats, weight: Floats) -> Floats:
    """The weights of the readings after the robust step, (N,), never above `weight`.

    offsets (P + 1,): life p holds the readings offsets[p] to offsets[p + 1], in order of run_h.
    run_h, log_dp (N,): run hours since fitted, logarithm of the restated ΔP. weight (N,): 1/variance of
    log_dp. Lives of fewer than four readings keep their weights: two that disagree do not say which is wrong.
    Raises ValueError where a life's readings are not in order of run hours.
    """
    believed = np.array(weight, dtype=np.float64)
    bounds = np.append(np.unique(np.searchsorted(offsets, np.arange(0, len(run_h), _AT_ONCE))), len(offsets) - 1)

    def judge(lives: tuple[int, int]) -> None:
        first, last = lives
        some = slice(offsets[first], offsets[last])
        counts = np.diff(offsets[first : last + 1])
        believed[some] *= _belief(counts, run_h[some], log_dp[some], weight[some])

    for_each(list(pairwise(bounds.tolist())), judge)
    return believed


def _belief(counts: Indices, run_h: Floats, log_dp: Floats, weight: Floats) -> Floats:
    """What share of their weight the readings of a few lives keep, (N,)."""
    begins = np.repeat(np.cumsum(counts) - counts, counts)
    if np.any((np.diff(run_h) < 0.0) & (np.diff(begins) == 0)):
        raise ValueError("readings of a life are not in order of run hours")
    count = np.repeat(counts, counts)
    belief = np.ones(len(run_h))
    for length in (FEWEST_READINGS, WINDOW):
        judged = np.flatnonzero(np.minimum(count, WINDOW) == length)
        if not len(judged):
            continue
        window = np.clip(judged - WINDOW // 2, begins[judged], (begins + count)[judged] - length)
        slope, level = _rising_lines(run_h, log_dp, length)
        off = log_dp[judged] - level[window] - slope[window] * run_h[judged]
        high_now = (off > 0.0) & (judged == (begins + count)[judged] - 1)
        belief[judged] = _belief_at(off**2 * weight[judged], high_now)
    return belief


def _belief_at(z2: Floats, high_now: npt.NDArray[np.bool_]) -> Floats:
    """Of readings so many variances off their line; high_now: above it, and the newest of its life."""
    suspect = np.maximum(z2, SUSPECT_Z2)
    bounded = np.sqrt(SUSPECT_Z2 / suspect) * np.minimum(1.0, SLIP_Z2 / suspect)
    doubt = np.where(high_now, bounded, (STUDENT_DEGREES + 1.0) / (STUDENT_DEGREES + z2))
    return np.where(z2 > SUSPECT_Z2, doubt, 1.0)


def _rising_lines(run_h: Floats, log_dp: Floats, length: int) -> tuple[Floats, Floats]:
    """Slope, not below 0, and level of the Theil–Sen line through each `length` readings in a row: two of
    (N − length + 1,). A line across two lives means nothing, and is not asked for."""
    windows = len(run_h) - length + 1
    slopes = []
    for apart in range(1, length):
        hours, rise = run_h[apart:] - run_h[:-apart], log_dp[apart:] - log_dp[:-apart]
        # two readings in the same hour show no rise
        slope = np.divide(rise, hours, out=np.zeros_like(rise), where=hours > _SAME_HOUR)
        slopes += [slope[first : first + windows] for first in range(length - apart)]
    middle = np.maximum(_median(slopes), 0.0)
    level = [log_dp[at : at + windows] - middle * run_h[at : at + windows] for at in range(length)]
    return middle, _median(level)


def _median(columns: list[Floats]) -> Floats:
    """Median over the columns, row by row: lowest and highest are put aside, one column coming in for the two.

    Of rather more than half of the columns neither the lowest nor the highest can be the median of all. Whole columns
    are compared at once, several times quicker than sorting millions of rows of five or ten.
    """
    at_once = len(columns) // 2 + 2
    left, waiting = columns[:at_once], columns[at_once:]
    while waiting or len(left) > 2:
        for at in range(len(left) - 1):
            left[at], left[at + 1] = np.minimum(left[at], left[at + 1]), np.maximum(left[at], left[at + 1])
        for at in range(len(left) - 2, 0, -1):
            left[at - 1], left[at] = np.minimum(left[at - 1], left[at]), np.maximum(left[at - 1], left[at])
        left = left[1:-1] + waiting[:1]
        waiting = waiting[1:]
    return np.asarray(0.5 * (left[0] + left[-1]))
