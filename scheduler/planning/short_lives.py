"""Lives that run short at one place: two after the other that ended at their limit far sooner than is usual there.

Usual is what all the other lives say (`pooled_life_prior`, without the lives that are asked about: the prior of the
pass has learned them already). Of two lives the first is held against that, the second against what is then
expected after the first, so that under chance alone both probabilities are independent, and Fisher's method joins
them. The second may be the running one, where its ΔP says that it will end early.

More dirt comes in where the other filters of the system run short as well or its counts went up; an element is too
small for what it gets where its flow is above what its type is rated for.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtr

from scheduler.planning.condition import Condition
from scheduler.planning.contamination import Contamination
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty
from scheduler.planning.lives import ended_at_limit, first_guess, ordinary_lives
from scheduler.planning.plant_columns import Flags, Floats, Ints, PlantColumns
from scheduler.statistics.combined_chances import fisher_combined
from scheduler.statistics.life_model import LifePrior, LifeSpread, pooled_life_prior
from scheduler.vocabulary import RemovalReason, Severity, TaskKind

EACH_BELOW, TOGETHER_BELOW = 0.1, 0.005
"""P(a life is so short) of each of the two, and of both by Fisher's method (ours, by
tests/measure/system_faults.py)."""

LOOKED_AT_SHARE = 0.75
"""A pass pools lives only where both lasted less than this share of the longest before them, or of the longest of
the type where none was before (ours)."""

OUTLIVED_SHARE = 1.25
"""The finding is dropped once the running element has lasted so many times the longer of the two (ours)."""

NEAR_LIMIT_SHARE = 0.7
"""A change told as due counts as one at the limit where the last ΔP as read stood at so much of it (ours)."""

RUNNING_QUANTILE = 0.9
"""The running life is taken as long as its forecast allows at this chance (ours)."""

OTHERS_BELOW, RISEN_LOG, RISEN_PROBABILITY = 0.2, float(np.log(1.5)), 0.8
FLOW_SHARE = 1.1
"""What tells the causes apart: other filters' newest life so short, counts up by half, flow above the rated (ours)."""

_NEEDS_READINGS, _LAST = 3, 3


@dataclass(frozen=True, slots=True)
class _Pair:
    """Rows of the lives; `second` −1: the running one, taken to last `second_h` at most."""

    position: int
    first: int
    second: int
    first_h: float
    second_h: float


def short_lives(
    columns: PlantColumns, duty: Duty, condition: Condition, contamination: Contamination
) -> list[Diagnosis]:
    """Of every position in service."""
    lives = columns.lives
    if not len(lives.position):
        return []
    ordinary = np.flatnonzero(ordinary_lives(columns, duty))
    at_limit = ended_at_limit(columns, duty)
    order = ordinary[np.lexsort((lives.removed_day[ordinary], lives.position[ordinary]))]
    pairs = _pairs(columns, duty, condition, order, at_limit)
    if not pairs:
        return []
    spread = LifeSpread()
    priors = _without_them(columns, duty, order, at_limit, pairs, spread)
    found: list[Diagnosis] = []
    for row, pair in enumerate(pairs):
        found += _judged(columns, duty, contamination, pair, priors, row, order)
    return found
