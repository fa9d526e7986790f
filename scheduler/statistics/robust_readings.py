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

from itertools import combinations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

WINDOW = 5
FEWEST_READINGS = 4
_SAME_HOUR = 1e-6
SUSPECT_Z2 = 6.0
SLIP_Z2 = 36.0
STUDENT_DEGREES = 4.0
_BLOCK = 200_000  # readings handled at once: bounds the memory of the pairwise slopes


def robust_weights(offsets: Indices, run_h: Floats, log_dp: Floats, weight: Floats) -> Floats:
    """The weights of the readings after the robust step, (N,), never above `weight`.

    offsets (P + 1,): life p holds the readings offsets[p] to offsets[p + 1], in order of run_h.
    run_h, log_dp (N,): run hours since fitted, logarithm of the restated ΔP. weight (N,): 1/variance of
    log_dp. Lives of fewer than four readings keep their weights: two that disagree do not say which is wrong.
    Raises ValueError where a life's readings are not in order of run hours.
    """
    counts = np.diff(offsets)
    life = np.repeat(np.arange(len(counts)), counts)
    if np.any((np.diff(run_h) < 0.0) & (np.diff(life) == 0)):
        raise ValueError("readings of a life are not in order of run hours")
    believed = np.array(weight, dtype=np.float64)
    size = np.minimum(counts, WINDOW)[life]
    for length in (FEWEST_READINGS, WINDOW):
        readings = np.flatnonzero(size == length)
        for start in range(0, len(readings), _BLOCK):
            some = readings[start : start + _BLOCK]
            first = np.clip(some - WINDOW // 2, offsets[life[some]], offsets[life[some] + 1] - length)
            window = first[:, None] + np.arange(length)
            off = log_dp[some] - _rising_line(run_h[window], log_dp[window], run_h[some])
            z2 = off**2 * weight[some]
            doubt = (STUDENT_DEGREES + 1.0) / (STUDENT_DEGREES + z2)
            high = (off > 0.0) & (some == offsets[life[some] + 1] - 1)
            z2_high = np.maximum(z2[high], SUSPECT_Z2)
            doubt[high] = np.sqrt(SUSPECT_Z2 / z2_high) * np.minimum(1.0, SLIP_Z2 / z2_high)
            believed[some] *= np.where(z2 > SUSPECT_Z2, doubt, 1.0)
    return believed


def _rising_line(run_h: Floats, log_dp: Floats, at_h: Floats) -> Floats:
    """The Theil–Sen line of each row, slope not below 0, read at `at_h`; (N, K), (N, K), (N,) to (N,)."""
    pairs = np.array(list(combinations(range(run_h.shape[1]), 2)))
    hours = run_h[:, pairs[:, 1]] - run_h[:, pairs[:, 0]]
    rise = log_dp[:, pairs[:, 1]] - log_dp[:, pairs[:, 0]]
    # two readings in the same hour show no rise
    slopes = np.divide(rise, hours, out=np.zeros_like(rise), where=hours > _SAME_HOUR)
    slope = np.maximum(_row_median(slopes), 0.0)
    level = _row_median(log_dp - slope[:, None] * run_h)
    return level + slope * at_h


def _row_median(table: Floats) -> Floats:
    """Median of each row; a sort of so few columns is several times quicker than numpy.median."""
    ordered = np.sort(table, axis=1)
    columns = table.shape[1]
    return np.asarray(0.5 * (ordered[:, (columns - 1) // 2] + ordered[:, columns // 2]))
