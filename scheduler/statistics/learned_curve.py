"""A type's own loading curve, learned from lives that showed it: one more shape beside the analytic ones.

Some media stay flat for nine tenths of their life and then rise in a knee that no analytic shape has. The readings
of all lives that stood high up their curve are put on one axis, the share of the life's own terminal load, and on
the other, ln(ΔP / clean ΔP). The median of the readings in bins of equal count, made never to fall (isotonic
regression), is the curve; beyond the last reading it goes on with its last slope. Lives differ a little in how late
their knee is: the curve enters three times, with the load bent by a power about 1.

Source of the isotonic fit: Best & Chakravarti 1990, Mathematical Programming 47:425 (SciPy). The rest is ours.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.statistics.load_grid import HIGHEST_RISE, LOAD

Floats = npt.NDArray[np.float64]

WARPS = (0.93, 1.0, 1.07)
FEWEST_LIVES = 3
FEWEST_READINGS = 30
MOST_BINS = 60
READINGS_PER_BIN = 5


@dataclass(frozen=True, slots=True)
class LearnedCurve:
    """rise (len(WARPS), len(LOAD)): the rows for the shape table; lives: how many it was learned from."""

    rise: Floats
    lives: int


def learned_curve(load: Floats, rise: Floats, weight: Floats, lives: int) -> LearnedCurve | None:
    """The curve through readings (N,) at `load` with `rise` above their clean level, 1/variance `weight`.

    None where too few lives or readings tell one. Raises ValueError for a load below 0.
    """
    if np.any(load < 0.0):
        raise ValueError(f"load {float(load.min())} is below 0")
    if lives < FEWEST_LIVES or len(load) < FEWEST_READINGS:
        return None
    order = np.argsort(load, kind="stable")
    bins = min(len(load) // READINGS_PER_BIN, MOST_BINS)
    parts = np.array_split(order, bins)
    middle = np.array([np.median(load[part]) for part in parts])
    level = np.array([_weighted_median(rise[part], weight[part]) for part in parts])
    trust = np.array([weight[part].sum() for part in parts])
    from scipy.optimize import isotonic_regression  # noqa: PLC0415 - half a second that most commands need not pay

    smooth = isotonic_regression(level, weights=trust).x
    # half a bin at the start is clean: what rises before it was the clean level's error
    start = np.average(smooth[: max(bins // 20, 1)], weights=trust[: max(bins // 20, 1)])
    at, up = np.concatenate([[0.0], middle]), np.concatenate([[0.0], np.maximum(smooth - start, 0.0)])
    return LearnedCurve(np.array([_row(at, up, LOAD**warp) for warp in WARPS]), lives)


def _row(at: Floats, up: Floats, load: Floats) -> Floats:
    """The curve read at `load`, with its last slope beyond the last reading."""
    steep = max(len(at) // 8, 2)
    run = at[-1] - at[-steep]
    slope = (up[-1] - up[-steep]) / run if run > 0.0 else 0.0
    inside = np.interp(load, at, up)
    row = np.where(load > at[-1], up[-1] + max(slope, _LEAST_SLOPE) * (load - at[-1]), inside)
    row[0] = 0.0  # readings of the first hour stand at no load too
    return np.asarray(np.minimum(np.maximum.accumulate(row), HIGHEST_RISE))


_LEAST_SLOPE = 1.0
"""In ln ΔP per unit of load: a curve that ends flat still has its end ahead."""


def _weighted_median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(reached, 0.5 * reached[-1])])
