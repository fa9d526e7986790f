"""What an element's life is likely to be, from all the lives of its type and position, before any reading.

ln life = type + position + system in its time + life's own, each normal; the spreads are pooled over everything
(empirical Bayes), the algebra is `life_effects`. A change made early (planned, opportunity, mistake) says only that
the limit was not reached by then: it is right-censored, never a failure. What the intervals say that a plant keeps
to, where they follow the lives, is `kept_intervals`. With no lives the first guess comes out, wide.

Each life enters as a *soft life*: the mean and variance that its likelihood has around the present estimate. A
censored one by Newton's step of its log-concave likelihood; a life known by its ΔP readings, ended early or still
running, by what its readings say of its terminal. Position and within-position spreads by EM with prior weight (a
floor below); the system's spread and memory by the marginal likelihood over a few values.

Sources: censored normal moments, Cohen 1959, Technometrics 1:217; missing information, Louis 1982, J. R. Stat. Soc.
B 44:226; the hierarchy is the random-effects model in any text on empirical Bayes.
"""

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from scheduler.statistics.kept_intervals import Habit, habit_seen, kept_intervals, level_told
from scheduler.statistics.life_effects import Expected, LifeEffects, Spreads, TypeGuess, Where, condition_on, joined

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

LONGEST_BELIEVED = 3.0
"""No median life above this many times the longest life seen of the type or the first guess (ours: without
the cap a type whose every life was cut short runs away to lives that nobody has seen)."""
MOST_ROUNDS = 200
_SETTLED = 1e-4
_HABIT_LOOKS = (0, 3, 8)  # rounds in which the habit of early changes is looked for
_LOOKS = (2, 6)  # rounds after which the system's spread is looked for
_SYSTEM_SPREADS = (0.0, 0.003, 0.01, 0.03, 0.08)
_SYSTEM_MEMORIES_D = (60.0, 200.0, 700.0)
_SYSTEM_FEWEST_LIVES = 12
"""Fewer lives do not tell a system's spread from the others: it is taken to be none."""
_SYSTEM_SPREAD_PRIOR = 1.0
"""Ours: the marginal likelihood has to gain so much before a system's effect is believed."""


class LifeEnd(IntEnum):
    """How a life ended. UNTOLD: nobody knows whether at its limit; its hours say "longer", its readings what they
    say."""

    RUNNING = 0
    AT_LIMIT = 1
    EARLY = 2
    UNTOLD = 3


@dataclass(frozen=True, slots=True)
class LifeSpread:
    """Prior on the spreads of ln life; `worth_lives` says how many lives it weighs against.

    0.18 within a position and 0.40 between positions of one type are ours: simulated and recorded plants
    lay at 0.05 to 0.35 and 0.2 to 0.5. `floor` keeps a few equal lives from looking like clockwork.
    """

    within_log_sd: float = 0.18
    between_log_sd: float = 0.40
    worth_lives: float = 1.0
    floor: float = 0.05


@dataclass(frozen=True, slots=True)
class LifePrior:
    """Log-normal life of the next element of each target position, (P,) each.

    log_median: mean of ln life in h. log_sd: its predictive spread, that of the estimate included.
    lives_seen, at_limit_seen: lives of the type, and those of them that ended at the limit.
    own_lives_seen: lives of this very position. within_log_sd, between_log_sd: the pooled spreads.
    """

    log_median: Floats
    log_sd: Floats
    lives_seen: Indices
    at_limit_seen: Indices
    own_lives_seen: Indices
    within_log_sd: float = float("nan")
    between_log_sd: float = float("nan")

    def __len__(self) -> int:
        return len(self.log_median)

    def at(self, rows: npt.NDArray[np.integer]) -> "LifePrior":
        """The prior of some of the positions."""
        return LifePrior(
            self.log_median[rows],
            self.log_sd[rows],
            self.lives_seen[rows],
            self.at_limit_seen[rows],
            self.own_lives_seen[rows],
            self.within_log_sd,
            self.between_log_sd,
        )


@dataclass(frozen=True, slots=True)
class Lives:
    """n lives. life_h: run hours from fitting to removal, or up to now of one that still runs. end: `LifeEnd` codes.

    where: any integers; a position keeps a history per type that it held. read_mean, read_var: what the ΔP
    readings say of ln life, mean and variance, NaN where nothing; a running life must have them.
    """

    life_h: Floats
    end: Indices
    where: Where
    read_mean: Floats
    read_var: Floats

    def __post_init__(self) -> None:
        if len(self.life_h) and not np.all(self.life_h > 0.0):
            raise ValueError(f"a life of {float(np.min(self.life_h))} h is not above 0 h")
        if np.any((self.end == LifeEnd.RUNNING) & np.isnan(self.read_mean)):
            raise ValueError("a life that still runs says nothing without readings")


@dataclass(frozen=True, slots=True)
class FirstGuess:
    """Where ln life of each target lies before any life, (P,), and how well that is known."""

    log_h: Floats
    log_sd: Floats


@dataclass(frozen=True, slots=True)
class PooledLives:
    """The lives pooled: ask it for the prior of a life to come, or of each life by all the others."""

    effects: LifeEffects
    offset: Floats  # (Q,) of each position: its own first guess less its type's, as far as it still counts
    longest: Floats  # (Q,) ln hours
    next_life: LifePrior
    lives_where: Where

    def prior_of_each(self) -> tuple[Floats, Floats]:
        """Mean and variance of ln life of each life as the other lives would have it, (n,) each."""
        found = self.effects.expected(self.lives_where, np.arange(len(self.lives_where)))
        mean = np.minimum(
            found.mean + self.offset[self.lives_where.position], self.longest[self.lives_where.position]
        )
        return mean, found.var + self.effects.spreads.within


def pooled_life_prior(
    life_h: Floats,
    ended_at_limit: npt.NDArray[np.bool_],
    type_index: Indices,
    position_index: Indices,
    *,
    for_type: Indices,
    for_position: Indices,
    first_guess_h: Floats | float,
    first_guess_log_sd: Floats | float,
    spread: LifeSpread | None = None,
) -> LifePrior:
    """The life prior of each target position (P,) from n finished lives that are known by their hours alone.

    ended_at_limit (n,): true for an end at the limit (ΔP due, indicator tripped, failure), false for an early
    change. first_guess_h, first_guess_log_sd: a number or (P,): where the type's mean is believed to lie before any
    life (capacity over ingression, the maker's hours), and how well. A position's own deviation from its type's
    guess fades as the type's lives speak. Systems are left out of account: see `pool_lives`.
    """
    nothing, now = np.full(len(life_h), np.nan), np.zeros(len(life_h))
    lives = Lives(
        life_h=life_h,
        end=np.where(ended_at_limit, LifeEnd.AT_LIMIT, LifeEnd.EARLY).astype(np.int64),
        where=Where(type_index, position_index, position_index, now),
        read_mean=nothing,
        read_var=nothing,
    )
    guess_h = np.broadcast_to(np.asarray(first_guess_h, dtype=np.float64), for_type.shape)
    guess_sd = np.broadcast_to(np.asarray(first_guess_log_sd, dtype=np.float64), for_type.shape)
    if not (np.all(guess_h > 0.0) and np.all(guess_sd > 0.0)):
        raise ValueError("the first guess of a life and its spread must be above 0")
    target = Where(for_type, for_position, for_position, np.zeros(len(for_type)))
    nobody = np.full(len(for_type), -1)
    return pool_lives(lives, target, FirstGuess(np.log(guess_h), guess_sd), nobody, spread, systems=False).next_life


def pool_lives(
    lives: Lives,
    targets: Where,
    guess: FirstGuess,
    own_life: Indices,
    spread: LifeSpread | None = None,
    *,
    systems: bool = True,
    begin_with: Spreads | None = None,
    most_rounds: int = MOST_ROUNDS,
) -> PooledLives:
    """Pool n lives for P targets. own_life (P,): the row of a target's own running life, which must not be its own
    prior; −1 for none. With `systems` false no effect of the system in its time is looked for. `begin_with` are the
    spreads of a pooling of much the same lives, from which these are soon found.
    most_rounds: after which the spreads are taken as they are.
    """
    spread = spread or LifeSpread()
    numbered = _on_common_numbers(lives, targets, guess)
    found = _Pool(lives, numbered, spread).settle(systems, begin_with, most_rounds)
    target = numbered.target
    expected = found.effects.expected(target, own_life)
    mean = np.minimum(expected.mean + found.offset[target.position], found.longest[target.position])
    ended = lives.end != LifeEnd.RUNNING
    types, positions = len(numbered.type_guess.mean), len(numbered.position_type)
    at_limit = lives.end == LifeEnd.AT_LIMIT
    prior = LifePrior(
        log_median=mean,
        log_sd=np.sqrt(expected.var + found.effects.spreads.within),
        lives_seen=np.bincount(numbered.where.type[ended], minlength=types)[target.type],
        at_limit_seen=np.bincount(numbered.where.type[at_limit], minlength=types)[target.type],
        own_lives_seen=np.bincount(numbered.where.position[ended], minlength=positions)[target.position],
        within_log_sd=float(np.sqrt(found.effects.spreads.within)),
        between_log_sd=float(np.sqrt(found.effects.spreads.between)),
    )
    return PooledLives(found.effects, found.offset, found.longest, prior, numbered.where)


@dataclass(frozen=True, slots=True)
class _Numbered:
    """Lives and targets on common numbers: types 0..T−1, positions 0..Q−1 (one per type that it held)."""

    where: Where
    target: Where
    position_type: Indices
    type_guess: TypeGuess
    own_guess: Floats  # (Q,) the position's own first guess less its type's
    guess_log_h: Floats  # (Q,) the first guess itself, −inf where none was told


def _on_common_numbers(lives: Lives, targets: Where, guess: FirstGuess) -> _Numbered:
    count = len(lives.life_h)
    both_type, both_position = (
        np.r_[getattr(lives.where, name), getattr(targets, name)].astype(np.int64) for name in ("type", "position")
    )
    known, place = np.unique(np.column_stack([both_type, both_position]), axis=0, return_inverse=True)
    place = place.reshape(-1).astype(np.int64)
    position_type = np.unique(known[:, 0], return_inverse=True)[1].astype(np.int64)
    of_life, of_target = place[:count], place[count:]
    types = int(position_type.max(initial=-1)) + 1
    target_type = position_type[of_target]
    named = np.bincount(target_type, minlength=types)
    share = np.maximum(named, 1)
    # a type that no target position takes serves the pooled spreads only: its guess is flat
    flat = guess.log_h.mean() if len(guess.log_h) else 0.0
    mean = np.where(named, np.bincount(target_type, guess.log_h, types) / share, flat)
    var = np.where(named, np.bincount(target_type, guess.log_sd**2, types) / share, 100.0)
    own_guess, guess_log_h = np.zeros(len(known)), np.full(len(known), -np.inf)
    own_guess[of_target] = guess.log_h - mean[target_type]
    guess_log_h[of_target] = guess.log_h
    return _Numbered(
        where=replace(lives.where, type=position_type[of_life], position=of_life),
        target=replace(targets, type=target_type, position=of_target),
        position_type=position_type,
        type_guess=TypeGuess(mean, var),
        own_guess=own_guess,
        guess_log_h=guess_log_h,
    )


@dataclass(frozen=True, slots=True)
class _Settled:
    effects: LifeEffects
    offset: Floats
    longest: Floats


class _Pool:
    """Newton's steps for the soft lives, EM's for the spreads, until neither moves."""

    def __init__(self, lives: Lives, numbered: _Numbered, spread: LifeSpread) -> None:
        self.lives, self.numbered, self.spread = lives, numbered, spread
        self.log_life = np.log(lives.life_h)
        self.is_read = ~np.isnan(lives.read_mean)
        self.is_exact = ~self.is_read & (lives.end == LifeEnd.AT_LIMIT)
        self.kept = kept_intervals(self.log_life, lives.end == LifeEnd.EARLY, numbered.where)
        self.habit: Habit | None = None

    def settle(self, systems: bool, begin_with: Spreads | None, most_rounds: int) -> _Settled:
        numbered, lives = self.numbered, self.lives
        types = len(numbered.type_guess.mean)
        longest = np.full(types, -np.inf)
        np.maximum.at(longest, numbered.where.type, self.log_life)
        believed = np.log(LONGEST_BELIEVED) + np.maximum(longest[numbered.position_type], numbered.guess_log_h)
        believed = np.where(np.isfinite(believed), believed, np.inf)
        offset = numbered.own_guess.copy()
        first = Spreads(self.spread.within_log_sd**2, self.spread.between_log_sd**2, 0.0, _SYSTEM_MEMORIES_D[1])
        spreads = begin_with or first
        start = numbered.type_guess.mean[numbered.where.type] + offset[numbered.where.position]
        expected = Expected(start, np.zeros(len(start)))
        nobody = np.full(len(lives.life_h), -1)
        effects = self._conditioned(expected, offset, spreads)
        look_for_systems = systems and len(lives.life_h) >= _SYSTEM_FEWEST_LIVES
        for turn in range(most_rounds if len(lives.life_h) else 0):
            if look_for_systems and turn in _LOOKS:
                spreads = self._with_system(expected, offset, effects.spreads)
                effects = self._conditioned(expected, offset, spreads)
            if turn in _HABIT_LOOKS and len(self.kept):
                self.habit = habit_seen(self.kept, effects, offset, told=self.habit is not None)
                effects = self._conditioned(expected, offset, effects.spreads)
            found = effects.expected(numbered.where, nobody)
            mean = found.mean + offset[numbered.where.position]
            moved = float(np.max(np.abs(mean - expected.mean))) if turn else 1.0
            expected = Expected(mean, found.var)
            before = effects.spreads
            spreads = self._spreads(expected, effects)
            left = np.diag(effects.type_cov) / numbered.type_guess.var
            offset = numbered.own_guess * left[numbered.position_type]
            effects = self._conditioned(expected, offset, spreads)
            moved += abs(spreads.within - before.within) + abs(spreads.between - before.between)
            looks_on = turn <= (max(_LOOKS) if look_for_systems else max(_HABIT_LOOKS) if len(self.kept) else -1)
            if moved < _SETTLED and not looks_on:
                break
        return _Settled(effects, offset, believed)

    def _conditioned(self, expected: Expected, offset: Floats, spreads: Spreads) -> LifeEffects:
        seen, seen_var = self._soft_lives(expected, spreads.within)
        where = self.numbered.where
        if self.habit is not None:
            told, told_var = level_told(self.habit, self.kept.log_h)
            where = joined(where, self.kept.where)
            seen, seen_var = np.r_[seen, told], np.r_[seen_var, np.full(len(told), told_var)]
        return condition_on(where, seen - offset[where.position], seen_var, self.numbered.type_guess, spreads)

    def _soft_lives(self, expected: Expected, within: float) -> tuple[Floats, Floats]:
        """What each life says of type + position + system: mean and variance.

        A life cut short at c has the truncated normal's moments: with a = (c − μ)/σ and λ = φ(a)/Φ(−a), its score
        is λ/σ and its information λ(λ − a)/σ²; the further beyond the mean it ran, the more it says.
        """
        _, hazard, known_share = self._censored(expected, within)
        cut_var = within / known_share
        seen = np.where(self.is_exact, self.log_life, expected.mean + hazard / np.sqrt(within) * cut_var)
        seen_var = np.where(self.is_exact, within, cut_var)
        return (
            np.where(self.is_read, self.lives.read_mean, seen),
            np.where(self.is_read, self.lives.read_var + within, seen_var),
        )

    def _censored(self, expected: Expected, within: float) -> tuple[Floats, Floats, Floats]:
        deviation = (self.log_life - expected.mean) / np.sqrt(within)
        hazard = np.exp(-0.5 * deviation**2 - 0.5 * np.log(2.0 * np.pi) - log_ndtr(-deviation))
        return deviation, hazard, np.clip(hazard * (hazard - deviation), 1e-9, 1.0)

    def _spreads(self, expected: Expected, effects: LifeEffects) -> Spreads:
        """EM's step for the two variances, each with its prior's weight in lives, and never below the floor."""
        prior, within = self.spread, effects.spreads.within
        deviation, hazard, known_share = self._censored(expected, within)
        cut = (1.0 + deviation * hazard) * within + known_share * expected.var
        exact = (self.log_life - expected.mean) ** 2 + expected.var
        share = within / (within + np.where(self.is_read, self.lives.read_var, 0.0))
        read = share**2 * ((self.lives.read_mean - expected.mean) ** 2 + expected.var) + within * (1.0 - share)
        own = np.where(self.is_read, read, np.where(self.is_exact, exact, cut))
        effect, effect_var = effects.position_effects()
        weight = prior.worth_lives
        new_within = (weight * prior.within_log_sd**2 + np.sum(own)) / (weight + len(own))
        new_between = (weight * prior.between_log_sd**2 + np.sum(effect**2 + effect_var)) / (weight + len(effect))
        return replace(
            effects.spreads,
            within=max(float(new_within), prior.floor**2),
            between=max(float(new_between), prior.floor**2),
        )

    def _with_system(self, expected: Expected, offset: Floats, spreads: Spreads) -> Spreads:
        """The system's spread and memory that explain the lives best."""
        best, gain = replace(spreads, system=0.0), -np.inf
        for system in _SYSTEM_SPREADS:
            for memory_d in _SYSTEM_MEMORIES_D if system else (spreads.memory_d,):
                tried = replace(spreads, system=system, memory_d=memory_d)
                found = self._conditioned(expected, offset, tried).log_likelihood
                found -= _SYSTEM_SPREAD_PRIOR if system else 0.0
                if found > gain:
                    best, gain = tried, found
        return best
