"""What an element's life is likely to be, from all the lives of its type and position, before any reading.

ln life = type + position + life's own, each normal; pooled over all types for the two spreads (empirical
Bayes). A change made early (planned, opportunity, mistake) says only that the limit was not reached by then:
it is right-censored, never a failure. With no lives the first guess itself comes out, wide.

Each life enters as a *soft life*: the mean and precision that its (censored) likelihood has around the
present estimate, Newton's step of a log-concave likelihood; so a life that is known by its ΔP readings rather
than by its end can join later as one more soft life. Spreads by EM with prior weight (a floor below).

Sources: censored normal moments, Cohen 1959, Technometrics 1:217; missing information, Louis 1982,
J. R. Stat. Soc. B 44:226; the hierarchy is the one-way random-effects model in any text on empirical Bayes.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from scheduler.statistics.remaining_hours import RemainingHours, from_lognormal

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

LONGEST_BELIEVED = 3.0
"""No median life above this many times the longest life seen of the type or the first guess (ours: without
the cap a type whose every life was cut short runs away to lives that nobody has seen)."""
_MOST_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class LifeSpread:
    """Prior on the spreads of ln life; `worth_lives` says how many lives it weighs against.

    0.30 within a position and 0.40 between positions of one type are ours: simulated and recorded plants
    lay at 0.15 to 0.35 and 0.2 to 0.5. `floor` keeps a few equal lives from looking like clockwork.
    """

    within_log_sd: float = 0.30
    between_log_sd: float = 0.40
    worth_lives: float = 4.0
    floor: float = 0.10


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


@dataclass(frozen=True, slots=True)
class _Lives:
    """History and targets on common numbers: types 0..T−1, positions 0..Q−1, life_type (n,) and so on."""

    log_life: Floats
    ended_at_limit: npt.NDArray[np.bool_]
    life_type: Indices
    life_position: Indices
    position_type: Indices
    type_guess: Floats
    type_guess_var: Floats
    own_guess: Floats  # (Q,) the position's own first guess less the type's


@dataclass(frozen=True, slots=True)
class _Estimate:
    """Present means and variances: of the types' means (T,), and of type + position together (Q,)."""

    type_mean: Floats
    type_var: Floats
    mean: Floats
    var: Floats
    position_effect: Floats
    position_effect_var: Floats
    within_var: float
    between_var: float


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
    """The life prior of each target position (P,) from n finished lives.

    life_h (n,): run hours from fitting to removal, > 0. ended_at_limit (n,): true for an end at the limit
    (ΔP due, indicator tripped, failure), false for an early change. type_index, position_index (n,): any
    integers; a position keeps a history per type that it held. first_guess_h, first_guess_log_sd: a number
    or (P,): where the type's mean is believed to lie before any life (capacity over ingression, the maker's
    hours), and how well. A position's own deviation from its type's guess fades as the type's lives speak.
    Leave a life that still runs out: its hours enter by `remaining_life`, its readings by the forecast.
    """
    spread = spread or LifeSpread()
    if len(life_h) and not np.all(life_h > 0.0):
        raise ValueError(f"a life of {float(np.min(life_h))} h is not above 0 h")
    guess_h = np.broadcast_to(np.asarray(first_guess_h, dtype=np.float64), for_type.shape)
    guess_sd = np.broadcast_to(np.asarray(first_guess_log_sd, dtype=np.float64), for_type.shape)
    if not (np.all(guess_h > 0.0) and np.all(guess_sd > 0.0)):
        raise ValueError("the first guess of a life and its spread must be above 0")
    lives, target = _on_common_numbers(
        log_life=np.log(life_h),
        ended_at_limit=ended_at_limit,
        type_index=type_index,
        position_index=position_index,
        for_type=for_type,
        for_position=for_position,
        log_guess=np.log(guess_h),
        guess_sd=guess_sd,
    )
    found = _estimate(lives, spread)
    target_type = lives.position_type[target]
    types, positions = len(lives.type_guess), len(lives.position_type)
    longest = np.full(types, -np.inf)
    np.maximum.at(longest, lives.life_type, lives.log_life)
    believed = np.log(LONGEST_BELIEVED) + np.maximum(longest[target_type], np.log(guess_h))
    return LifePrior(
        log_median=np.minimum(found.mean[target], believed),
        log_sd=np.sqrt(found.var[target] + found.within_var),
        lives_seen=np.bincount(lives.life_type, minlength=types)[target_type],
        at_limit_seen=np.bincount(lives.life_type[lives.ended_at_limit], minlength=types)[target_type],
        own_lives_seen=np.bincount(lives.life_position, minlength=positions)[target],
        within_log_sd=float(np.sqrt(found.within_var)),
        between_log_sd=float(np.sqrt(found.between_var)),
    )


def remaining_life(prior: LifePrior, run_h: Floats) -> RemainingHours:
    """Hours left where only the age is known: the prior, given that `run_h` (P,) passed without an end."""
    return from_lognormal(prior.log_median, prior.log_sd, run_h)


def _on_common_numbers(
    *,
    log_life: Floats,
    ended_at_limit: npt.NDArray[np.bool_],
    type_index: Indices,
    position_index: Indices,
    for_type: Indices,
    for_position: Indices,
    log_guess: Floats,
    guess_sd: Floats,
) -> tuple[_Lives, Indices]:
    """Types and positions renumbered without gaps, and where each target position stands among them."""
    pairs = np.column_stack([np.r_[type_index, for_type], np.r_[position_index, for_position]])
    known, place = np.unique(pairs.astype(np.int64), axis=0, return_inverse=True)
    place = place.reshape(-1).astype(np.int64)
    position_type = np.unique(known[:, 0], return_inverse=True)[1].astype(np.int64)
    target, life_position = place[len(log_life) :], place[: len(log_life)]
    types = int(position_type.max(initial=-1)) + 1
    target_type = position_type[target]
    named = np.bincount(target_type, minlength=types)
    share = np.maximum(named, 1)
    # a type that no target position takes serves the pooled spreads only: its guess is flat
    flat = log_guess.mean() if len(log_guess) else 0.0
    guess = np.where(named, np.bincount(target_type, log_guess, types) / share, flat)
    guess_var = np.where(named, np.bincount(target_type, guess_sd**2, types) / share, 100.0)
    own_guess = np.zeros(len(known))
    own_guess[target] = log_guess - guess[target_type]
    lives = _Lives(
        log_life=log_life,
        ended_at_limit=np.asarray(ended_at_limit, dtype=np.bool_),
        life_type=position_type[life_position],
        life_position=life_position,
        position_type=position_type,
        type_guess=guess,
        type_guess_var=guess_var,
        own_guess=own_guess,
    )
    return lives, target


def _estimate(lives: _Lives, spread: LifeSpread) -> _Estimate:
    """Newton's steps for the means, EM's for the spreads, until neither moves."""
    types, positions = len(lives.type_guess), len(lives.position_type)
    nothing = np.zeros(positions)
    start = _Estimate(
        type_mean=lives.type_guess,
        type_var=lives.type_guess_var,
        mean=nothing,
        var=nothing,
        position_effect=nothing,
        position_effect_var=nothing,
        within_var=spread.within_log_sd**2,
        between_var=spread.between_log_sd**2,
    )
    precision = pull = np.zeros(len(lives.log_life))
    now = _means(lives, start, precision, pull, types)
    for _ in range(_MOST_ROUNDS if len(lives.log_life) else 0):
        precision, pull, completed = _soft_lives(lives, now)
        nxt = _spreads(lives, _means(lives, now, precision, pull, types), completed, spread)
        moved = float(np.max(np.abs(nxt.mean - now.mean))) + abs(nxt.within_var - now.within_var)
        now = nxt
        if moved < 1e-7:
            break
    return now


def _soft_lives(lives: _Lives, now: _Estimate) -> tuple[Floats, Floats, Floats]:
    """Each life's precision, precision × mean, and E[(ln life − mean)²] given what is known of it.

    A life cut short at c has the truncated normal's moments: with a = (c − μ)/σ and λ = φ(a)/Φ(−a), its score
    is λ/σ and its information λ(λ − a)/σ²; the further beyond the mean it ran, the more it says.
    """
    sd = np.sqrt(now.within_var)
    mean = now.mean[lives.life_position]
    deviation = (lives.log_life - mean) / sd
    hazard = np.exp(-0.5 * deviation**2 - 0.5 * np.log(2.0 * np.pi) - log_ndtr(-deviation))
    known_share = np.where(lives.ended_at_limit, 1.0, np.clip(hazard * (hazard - deviation), 1e-9, 1.0))
    score = np.where(lives.ended_at_limit, deviation, hazard) / sd
    completed = np.where(lives.ended_at_limit, deviation**2, 1.0 + deviation * hazard) * now.within_var
    # the mean's own uncertainty widens a life's deviation only as far as the life says where the mean is
    completed += known_share * now.var[lives.life_position]
    precision = known_share / now.within_var
    return precision, precision * mean + score, completed


def _means(lives: _Lives, now: _Estimate, precision: Floats, pull: Floats, types: int) -> _Estimate:
    """The random-effects means given soft lives: the positions integrated out, then put back."""
    positions = len(lives.position_type)
    of = lives.position_type
    weight = np.bincount(lives.life_position, precision, positions)
    summed = np.bincount(lives.life_position, pull, positions)
    # the share of the type's prior that its lives have not yet replaced
    effective = weight / (1.0 + now.between_var * weight)
    seen = np.bincount(of, effective, types)
    type_var = 1.0 / (1.0 / lives.type_guess_var + seen)
    own = lives.own_guess * (type_var / lives.type_guess_var)[of]
    gain = 1.0 / (1.0 + now.between_var * weight)
    type_pull = np.bincount(of, gain * (summed - weight * own), types)
    type_mean = type_var * (lives.type_guess / lives.type_guess_var + type_pull)
    effect = own + gain * now.between_var * (summed - weight * (type_mean[of] + own))
    effect_var = gain * now.between_var
    # ln life of a position moves with its type's mean by `gain`; what is left is the effect's own variance
    return replace(
        now,
        type_mean=type_mean,
        type_var=type_var,
        mean=type_mean[of] + effect,
        var=effect_var + gain**2 * type_var[of],
        position_effect=effect - own,
        position_effect_var=effect_var + (1.0 - gain) ** 2 * type_var[of],
    )


def _spreads(lives: _Lives, now: _Estimate, completed: Floats, spread: LifeSpread) -> _Estimate:
    """EM's step for the two variances, each with its prior's weight in lives, and never below the floor."""
    count = len(lives.log_life)
    held = np.unique(lives.life_position)
    within = (spread.worth_lives * spread.within_log_sd**2 + np.sum(completed)) / (spread.worth_lives + count)
    effect2 = now.position_effect[held] ** 2 + now.position_effect_var[held]
    between = (spread.worth_lives * spread.between_log_sd**2 + np.sum(effect2)) / (spread.worth_lives + len(held))
    return replace(
        now,
        within_var=max(float(within), spread.floor**2),
        between_var=max(float(between), spread.floor**2),
    )
