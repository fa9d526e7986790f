"""Where a level that only rises by itself has fallen, and stays down."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

BEFORE, AFTER = (3, 6), 3
"""Values before a fall, at least and at most, and after it (ours)."""

LEAST_SPREAD = 0.05
"""Of the level before: values that happen to be alike prove no finer scale (ours)."""


@dataclass(frozen=True, slots=True)
class Fall:
    """`first`: the row of the first low value. before, after: the means of those up to it and of all from it on."""

    first: int
    before: float
    after: float


def clearest_fall(level: Floats, *, z: float, share: float) -> Fall | None:
    """The clearest fall in `level` (N,), in order of time, that the newest values have not come up from again.

    A fall is `share` of the mean before it, and `z` standard errors of the two means' difference (Welch's, from the
    values' own scatter). A single low value is none. None where there is no fall, or too few values.

    >>> clearest_fall(np.array([2.0, 2.1, 2.0, 2.1, 0.5, 0.6, 0.5]), z=2.5, share=0.35).first
    4
    """
    if len(level) < BEFORE[0] + AFTER:
        return None
    first = np.arange(BEFORE[0], len(level) - AFTER + 1)
    before, before_var = _mean(level, np.maximum(first - BEFORE[1], 0), first)
    after, after_var = _mean(level, first, first + AFTER)
    spread = np.maximum(np.maximum(np.sqrt(before_var + after_var), LEAST_SPREAD * before), 1e-12)
    fall = before - after
    stays = float(level[-AFTER:].mean()) < (1.0 - share) * before
    fell = (fall > z * spread) & (fall > share * before) & stays
    if not fell.any():
        return None
    at = int(np.argmax(np.where(fell, fall / spread, -np.inf)))
    return Fall(int(first[at]), float(before[at]), float(level[first[at] :].mean()))


def _mean(level: Floats, first: Indices, end: Indices) -> tuple[Floats, Floats]:
    """Of each stretch from `first` up to `end` the mean, and the variance of that mean."""
    count = (end - first).astype(np.float64)
    centred = level - level.mean()  # so that squares lose no digits
    total, squares = (np.concatenate([[0.0], np.cumsum(each)]) for each in (centred, centred**2))
    mean = (total[end] - total[first]) / count
    var = np.maximum(squares[end] - squares[first] - count * mean**2, 0.0) / (count - 1.0)
    return mean + level.mean(), var / count
