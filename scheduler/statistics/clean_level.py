"""How far the clean ΔP of a type and a position lies from what its sheet says, learned from all lives.

deviation = type + position + the element's own, each normal: the algebra of `life_effects`, without systems. A life's
own readings give its deviation with a variance; what they themselves believed before is taken out of it first.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.statistics.life_effects import Spreads, TypeGuess, Where, condition_on

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

OWN_LOG_SD, POSITION_LOG_SD = 0.08, 0.15
"""Ours: elements of one lot differ by some 8 % in clean ΔP; positions of a type by 15 %, mostly by flow and gauge."""
_LEAST_PRECISION = 0.5


@dataclass(frozen=True, slots=True)
class CleanLevel:
    """Mean and variance of the deviation that each target's readings are to expect, (m,) each."""

    mean: Floats
    var: Floats


def own_deviation(mean: Floats, var: Floats, before_mean: Floats, before_var: Floats) -> tuple[Floats, Floats]:
    """What a life's readings alone say: its posterior with its prior taken out, never better than 2 ln units."""
    precision = np.maximum(1.0 / var - 1.0 / before_var, _LEAST_PRECISION)
    known = 1.0 / var - 1.0 / before_var > _LEAST_PRECISION
    alone = (mean / var - before_mean / before_var) / precision
    return np.where(known, alone, mean), 1.0 / precision


def pooled_clean_level(
    deviation: Floats, variance: Floats, lives: Where, targets: Where, leave_out: Indices, type_log_sd: Floats
) -> CleanLevel:
    """The clean level of m targets from the deviations of n lives; leave_out (m,): a life that must not count, −1
    none.

    type_log_sd (T,): how far a type's elements may lie from their sheet.
    """
    one_system = np.zeros(len(lives), dtype=np.int64)
    spreads = Spreads(OWN_LOG_SD**2, POSITION_LOG_SD**2, 0.0, 1.0)
    guess = TypeGuess(np.zeros(len(type_log_sd)), type_log_sd**2)
    # positions are independent but for their type: a block each, so that no block grows with the plant
    where = Where(lives.type, one_system, lives.position, lives.day)
    effects = condition_on(where, deviation, variance + spreads.within, guess, spreads)
    asked = Where(targets.type, np.zeros(len(targets), dtype=np.int64), targets.position, targets.day)
    found = effects.expected(asked, leave_out)
    return CleanLevel(found.mean, found.var + spreads.within)
