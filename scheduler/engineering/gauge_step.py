"""On which step a gauge is read, inferred from its readings.

A dial is read to the nearest mark, so its readings are whole multiples of a step in bar, kPa, psi or inches
of mercury. The largest step on which nearly all of them lie is taken; a few mistyped values do not hide it.
Rules and limits are ours.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_BAR_PER_UNIT = {"bar": 1.0, "psi": 0.0689475729, "inHg": 0.0338638816}  # NIST SP 811, B.8
_MARKS = {
    "bar": (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.025, 0.02, 0.01, 0.005, 0.002, 0.001),
    "psi": (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1),
    "inHg": (5.0, 2.0, 1.0, 0.5, 0.2, 0.1),
}
CANDIDATE_STEPS_BAR: tuple[float, ...] = tuple(
    sorted((mark * _BAR_PER_UNIT[unit] for unit, marks in _MARKS.items() for mark in marks), reverse=True)
)
"""Steps that gauges and logbooks have, coarsest first; kPa fall on the same steps as bar."""

USUAL_GAUGE_STEP_BAR = 0.05
"""Ours: for a position whose readings do not show their step, the finer of the usual dial marks."""

SHARE_ON_STEP = 0.9
FEWEST_READINGS = 6
FEWEST_MARKS = 3
OFF_STEP_TOLERANCE = 0.04
"""In steps, either side, for values written with few decimals or converted; of random values 8 % pass."""


def gauge_step_bar(dp_bar: npt.ArrayLike) -> float | None:
    """The step of one gauge, bar; None where six readings on three marks are not there or lie on no step.

    NaN are left out.

    >>> round(gauge_step_bar([0.3, 0.3, 0.4, 0.4, 0.6, 0.7, 0.9]), 3)
    0.1
    """
    dp = np.asarray(dp_bar, dtype=np.float64).ravel()
    step = float(gauge_steps_bar(dp, np.array([0, dp.size]))[0])
    return None if np.isnan(step) else step


def gauge_steps_bar(dp_bar: Floats, offsets: npt.NDArray[np.integer]) -> Floats:
    """The step of each position's gauge, NaN where unknown.

    `dp_bar` is flat; position i owns `dp_bar[offsets[i]:offsets[i + 1]]`.
    """
    positions = len(offsets) - 1
    owner = np.repeat(np.arange(positions), np.diff(offsets))
    seen = np.isfinite(dp_bar)
    dp, owner = dp_bar[seen], owner[seen]
    count = np.bincount(owner, minlength=positions)
    steps = np.full(positions, np.nan)
    unsettled = count >= FEWEST_READINGS
    for candidate in CANDIDATE_STEPS_BAR:
        still = unsettled[owner]
        dp, owner = dp[still], owner[still]
        in_steps = dp / candidate
        mark = np.rint(in_steps)
        on_step = np.abs(in_steps - mark) <= OFF_STEP_TOLERANCE
        fits = np.bincount(owner[on_step], minlength=positions) >= SHARE_ON_STEP * count
        fits &= unsettled
        kept = on_step & fits[owner]  # few candidates fit, so few readings have to be sorted
        fits &= _distinct_marks(owner[kept], mark[kept], positions) >= FEWEST_MARKS
        steps[fits] = candidate
        unsettled &= ~fits
    return steps


def _distinct_marks(owner: npt.NDArray[np.intp], mark: Floats, positions: int) -> npt.NDArray[np.intp]:
    order = np.lexsort((mark, owner))
    owner, mark = owner[order], mark[order]
    is_new = np.ones(owner.size, dtype=np.bool_)
    is_new[1:] = (owner[1:] != owner[:-1]) | (mark[1:] != mark[:-1])
    return np.bincount(owner[is_new], minlength=positions)
