"""What the hours at which a plant changes an element early say of how long it would have lasted.

Nobody changes early at random: a position that soaks up dirt is changed more often, and the interval that people
settled on there knows it. Taken for mere right-censoring, such changes say nothing where they come long before the
type's usual life, so that a hungry position that was never seen to its limit is believed to last as long as any.
How far a plant's intervals follow the lives is learned over all its positions: the mean ln hours of a position's
early changes is x = α + β · level + δ, where the level, ln life of the position, is known by its other evidence to
some mean and variance, and α is its type's: a type's interval may come from its maker, and only what positions of one
type have of their own is told. Where intervals follow nothing, β is 0 and they say nothing.

Sources: Zheng & Klein 1995, Biometrika 82:127 (why dependent censoring has to be told from outside); Carroll,
Ruppert, Stefanski & Crainiceanu, Measurement Error in Nonlinear Models, 2nd ed. 2006, chapter 8 (the likelihood of
a regression on what is known with error); Patterson & Thompson 1971, Biometrika 58:545 (restricted likelihood). That
it is the position's mean interval which follows is ours.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from scheduler.statistics.life_effects import LifeEffects, Where

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

FEWEST_POSITIONS = 10
"""Ours: so many positions more than types must have early changes before a plant's habit is looked for."""
_FOLLOWS: Floats = np.array([0.0, 0.4, 0.6, 0.8, 1.0, 1.2])
_OFF_LOG_SD: Floats = np.geomspace(0.08, 1.2, 24)
_NO_TIME_D = -1e7
_GAIN_PRIOR = 2.0
"""Ours: the log likelihood has to gain so much before intervals are believed to follow the lives at all."""


@dataclass(frozen=True, slots=True)
class KeptIntervals:
    """Of each of k positions with early changes: where it is, out of all time, and the mean ln hours of them."""

    where: Where
    log_h: Floats

    def __len__(self) -> int:
        return len(self.log_h)


@dataclass(frozen=True, slots=True)
class Habit:
    """ln interval = shift + follows · ln life of the position, give or take off_log_sd. shift (k,): its type's."""

    shift: Floats
    follows: float
    off_log_sd: float


def kept_intervals(log_life_h: Floats, early: Flags, where: Where) -> KeptIntervals:
    """The intervals kept at each position, from n lives."""
    rows = np.flatnonzero(early)
    _, first, place = np.unique(where.position[rows], return_index=True, return_inverse=True)
    lives = np.bincount(place, minlength=len(first))
    # so far from all lives and from each other that no system's weather joins them
    no_day = np.asarray(_NO_TIME_D * (1.0 + np.arange(len(first))), dtype=np.float64)
    mean = np.bincount(place, log_life_h[rows], len(first)) / np.maximum(lives, 1)
    return KeptIntervals(replace(where.at(rows[first]), day=no_day), mean)


def habit_of(log_interval: Floats, level_mean: Floats, level_var: Floats, type_index: Indices) -> Habit | None:
    """The likeliest habit of k positions whose ln life is known to a mean and variance; None where there is none.

    The level must be known without the intervals themselves.
    """
    kinds, kind = np.unique(type_index, return_inverse=True)
    if len(log_interval) - len(kinds) < FEWEST_POSITIONS:
        return None
    of_type = (kind[:, None] == np.arange(len(kinds))).astype(np.float64)
    follows, off_var = (each.ravel() for each in np.meshgrid(_FOLLOWS, _OFF_LOG_SD**2, indexing="ij"))
    precision = 1.0 / (off_var[:, None] + follows[:, None] ** 2 * level_var)
    off = log_interval - follows[:, None] * level_mean
    held = precision @ of_type
    shift = ((precision * off) @ of_type / held)[:, kind]
    fit = -0.5 * np.sum((off - shift) ** 2 * precision - np.log(precision), axis=1)
    # each type's shift was fitted too: the likelihood of what is left (restricted likelihood)
    fit -= 0.5 * np.sum(np.log(held), axis=1) + np.where(follows > 0.0, _GAIN_PRIOR, 0.0)
    best = int(np.argmax(fit))
    if follows[best] == 0.0:
        return None
    return Habit(shift[best], float(follows[best]), float(np.sqrt(off_var[best])))


def habit_seen(kept: KeptIntervals, effects: LifeEffects, offset: Floats, told: bool) -> Habit | None:
    """The habit, by each position's level without its own interval.

    offset (Q,): of each position from its type before any life. told: the intervals are the last lives of `effects`.
    """
    own = np.arange(len(kept)) + len(effects.lives) - len(kept) if told else np.full(len(kept), -1)
    level = effects.expected(kept.where, own)
    var = np.maximum(level.var - effects.spreads.system, 1e-6)
    return habit_of(kept.log_h, level.mean + offset[kept.where.position], var, kept.where.type)


def level_told(habit: Habit, log_interval: Floats) -> tuple[Floats, float]:
    """Mean of ln life of each position as its interval tells it, and the variance of that.

    >>> mean, var = level_told(Habit(np.array([-0.5]), 1.0, 0.2), np.array([6.5]))
    >>> float(mean[0]), round(var, 3)
    (7.0, 0.04)
    """
    return (log_interval - habit.shift) / habit.follows, (habit.off_log_sd / habit.follows) ** 2
