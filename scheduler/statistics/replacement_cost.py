"""When waiting stops paying: the cost of a planned change against that of one that comes too late.

A change in good time costs Cp, one after the limit was passed Cf, all in, and over many lives the costs come to
g per run hour. Of an element that has not passed its limit yet, let G(t) be the probability that it does within t
run hours. Changing it t hours from now differs from changing it now by

    J(t) = (Cf − Cp) U(t) − g E[min(T, t)],

what lateness is expected to cost less what the hours are worth. Known by its age alone, it is late whenever it
passes: U = G. Where G is smooth, J is least where the hazard G'/(1 − G) rises through g/(Cf − Cp); with a new
element and its own best g that is age replacement (Barlow & Proschan, Mathematical Theory of Reliability, 1965,
chapter 4; chapter from memory). Where the condition is read, whoever passes before the next look, a window D away,
is late, as in the condition rule: wait for it iff [F(H + D) − F(H)]/(1 − F(H)) · (Cf − Cp) < g D. Of the later ones
most are seen coming, and changed in time: U(t) = G(t) up to D, then G(D) + (1 − foreseen) (G(t) − G(D)).
Without that a wide forecast would be planned at its extreme tail, though the next reading is to be had for nothing.
Around its least value J is flat, and small chances of an early end decide there: where more will be known by then,
of all changes that cost about the least the last one is taken.

Only the ratio of the costs counts: any currency will do, one for both costs of a position.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.remaining_hours import EDGE_H, LOG_BIN_WIDTH, RemainingHours, from_lognormal

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

WATCHED_RATE = 1.25
"""Costs per run hour, in planned changes per mean life, of elements whose condition is read and that are changed by
the condition rule: four fifths of the life used, and few late. Ours, from simulated plants."""

FORESEEN_SHARE = 0.8
"""Of those that pass their limit after the next look, the share that a reading tells in time. Ours: among simulated
lives about one forecast in ten is later than the truth by more than a fifth of the life; twice that is the careful
side, since readings are also left out for months."""

INDIFFERENT_SHARE = 0.03
"""Of the mean life: where the condition is read, changes whose cost differs by no more than that many hours are worth
are alike. Ours: a forecast's chances below one in a hundred, which decide there, are known no better."""

_AT_ONCE = 8192
"""Positions worked on at once, about 10 MB an array."""

_SURELY_PAST = 1.0 - 1e-9
_BIN_MEAN_H = np.diff(EDGE_H) / LOG_BIN_WIDTH  # hours are spread evenly over their logarithm within a bin


@dataclass(frozen=True, slots=True)
class AgeReplacement:
    """The best age for a change of P elements that are known by their age alone, and what that costs.

    change_h (P,): run hours since fitting; infinite where running to the limit is cheapest. cost_per_h (P,).
    """

    change_h: Floats
    cost_per_h: Floats


@dataclass(frozen=True, slots=True)
class BestChange:
    """The change that costs least, seen from now, of elements that have not passed their limit yet.

    change_h (P,): run hours from now; 0: now, infinite: waiting pays as far as the grid of hours reaches.
    risk (P,): probability that the limit is passed by then; 1 where `change_h` is infinite.
    """

    change_h: Floats
    risk: Floats


def age_replacement(life: RemainingHours, *, planned_cost: Floats, late_cost: Floats) -> AgeReplacement:
    """The age at which [Cp R(t) + Cf F(t)]/∫₀ᵗR is least. `life`: hours of new elements; costs (P,), 0 < Cp < Cf.

    Raises ValueError for costs outside that.
    """
    _refuse_costs(planned_cost, late_cost)
    reached, run_h = _still_to_pass(life)
    rate = (planned_cost[:, None] + (late_cost - planned_cost)[:, None] * reached) / run_h
    best = np.argmin(rate, axis=1)
    change_h = np.where(best == len(EDGE_H) - 1, np.inf, _lowest_h(rate, best))
    return AgeReplacement(change_h, np.take_along_axis(rate, best[:, None], axis=1)[:, 0])


def cost_per_run_hour(life: LifePrior, *, planned_cost: Floats, late_cost: Floats, is_watched: Flags) -> Floats:
    """g (P,): what changes come to per run hour, over many lives like `life`.

    Where the condition is read (`is_watched`), `WATCHED_RATE` planned changes per mean life e^(μ + σ²/2), or age
    replacement where that is cheaper; elsewhere age replacement. Raises ValueError for costs outside 0 < Cp < Cf.
    """
    _refuse_costs(planned_cost, late_cost)
    by_age = np.empty(len(life))
    for part in _blocks(len(life)):
        new = from_lognormal(life.log_median[part], life.log_sd[part])
        by_age[part] = age_replacement(new, planned_cost=planned_cost[part], late_cost=late_cost[part]).cost_per_h
    return np.where(is_watched, np.minimum(by_age, WATCHED_RATE * planned_cost / mean_h(life)), by_age)


def mean_h(life: LifePrior) -> Floats:
    """Mean of the log-normal lives, run hours, (P,)."""
    return np.asarray(np.exp(life.log_median + 0.5 * life.log_sd**2))


def best_change(
    remaining: RemainingHours,
    *,
    planned_cost: Floats,
    late_cost: Floats,
    cost_per_h: Floats,
    window_h: Floats,
    is_watched: Flags,
    mean_life_h: Floats,
) -> BestChange:
    """Where J(t) is least, now included, (P,): a dearer late change never makes it later.

    cost_per_h: g > 0. window_h > 0: run hours to the next look; it and `mean_life_h` > 0 of such elements count where
    `is_watched`. What may be past its limit already is left out: whoever takes the risk holds it against that
    probability too. Raises ValueError for costs outside 0 < Cp < Cf, and for g, a window or a life not above 0.
    """
    _refuse_costs(planned_cost, late_cost)
    _refuse_not_above_zero(cost_per_h, "cost per run hour")
    _refuse_not_above_zero(window_h, "window to the next look, hours,")
    _refuse_not_above_zero(mean_life_h, "mean life, hours,")
    foreseen = np.where(is_watched, FORESEEN_SHARE, 0.0)
    alike = np.where(is_watched, INDIFFERENT_SHARE, 0.0) * mean_life_h * cost_per_h
    change_h, risk = np.empty(len(remaining)), np.empty(len(remaining))
    for part in _blocks(len(remaining)):
        some = remaining.at(np.arange(part.start, min(part.stop, len(remaining))))
        reached, run_h = _still_to_pass(some)
        unforeseen = np.minimum(reached, _passed_by(some, window_h[part])[:, None])
        unforeseen += (1.0 - foreseen[part, None]) * (reached - unforeseen)
        excess = (late_cost - planned_cost)[part, None] * unforeseen - cost_per_h[part, None] * run_h
        change_h[part] = np.where(some.already_reached < _SURELY_PAST, _last_h(excess, alike[part]), 0.0)
        risk[part] = _passed_by(some, change_h[part])
    return BestChange(change_h, risk)


def waiting_pays(
    remaining: RemainingHours, *, planned_cost: Floats, late_cost: Floats, cost_per_h: Floats, window_h: Floats
) -> Flags:
    """The condition rule, (P,): whether to wait for the next look, `window_h` (P,) > 0 run hours away.

    Raises ValueError as `best_change`.
    """
    _refuse_costs(planned_cost, late_cost)
    _refuse_not_above_zero(cost_per_h, "cost per run hour")
    _refuse_not_above_zero(window_h, "window to the next look, hours,")
    return np.asarray(_passed_by(remaining, window_h) * (late_cost - planned_cost) < cost_per_h * window_h)


def _still_to_pass(remaining: RemainingHours) -> tuple[Floats, Floats]:
    """G and E[min(T, t)] at the edges of the grid, (P, BINS + 1) each; nothing to pass where it is surely past."""
    not_past = np.maximum(1.0 - remaining.already_reached, 1.0 - _SURELY_PAST)[:, None]
    reached, ended_h = (np.zeros((len(remaining), len(EDGE_H))) for _ in range(2))
    within = remaining.within / not_past
    np.cumsum(within, axis=1, out=reached[:, 1:])
    np.cumsum(within * _BIN_MEAN_H, axis=1, out=ended_h[:, 1:])
    return reached, ended_h + np.maximum(1.0 - reached, 0.0) * EDGE_H


def _passed_by(remaining: RemainingHours, run_h: Floats) -> Floats:
    """G at `run_h` (P,)."""
    past = remaining.already_reached
    return np.clip((remaining.cdf_at(run_h) - past) / np.maximum(1.0 - past, 1.0 - _SURELY_PAST), 0.0, 1.0)


def _last_h(excess: Floats, alike: Floats) -> Floats:
    """The last hours at which `excess` (P, BINS + 1) is no more than `alike` (P,) above its least value, now's 0."""
    rows, beyond = np.arange(len(excess)), len(EDGE_H) - 1
    lowest = np.argmin(excess, axis=1)
    limit = np.minimum(excess[rows, lowest], 0.0) + alike
    last = beyond - np.argmax((excess <= limit[:, None])[:, ::-1], axis=1)
    after = np.minimum(last + 1, beyond)
    rise = excess[rows, after] - excess[rows, last]
    share = np.divide(limit - excess[rows, last], rise, out=np.zeros_like(rise), where=rise > 0.0)
    found_h = np.maximum(EDGE_H[last] * np.exp(LOG_BIN_WIDTH * np.clip(share, 0.0, 1.0)), _lowest_h(excess, lowest))
    found_h = np.where(alike > 0.0, found_h, _lowest_h(excess, lowest))
    # the grid begins at half an hour, which is now
    is_now = np.where(alike > 0.0, last == 0, lowest == 0) | ~np.any(excess <= limit[:, None], axis=1)
    is_never = np.where(alike > 0.0, last == beyond, lowest == beyond)
    return np.where(is_now, 0.0, np.where(is_never, np.inf, found_h))


def _lowest_h(values: Floats, best: npt.NDArray[np.intp]) -> Floats:
    """Hours at the vertex of the parabola through the least value (P, BINS + 1) and its neighbours, in ln hours."""
    rows, inner = np.arange(len(values)), np.clip(best, 1, len(EDGE_H) - 2)
    before, least, after = (values[rows, inner + step] for step in (-1, 0, 1))
    bend = before - 2.0 * least + after
    step = np.divide(0.5 * (before - after), bend, out=np.zeros_like(bend), where=bend > 0.0)
    step = np.where(inner == best, np.clip(step, -0.5, 0.5), 0.0)
    return np.asarray(EDGE_H[best] * np.exp(LOG_BIN_WIDTH * step))


def _blocks(positions: int) -> list[slice]:
    return [slice(start, start + _AT_ONCE) for start in range(0, positions, _AT_ONCE)]


def _refuse_not_above_zero(values: Floats, name: str) -> None:
    if not np.all(values > 0.0):
        raise ValueError(f"{name} of {float(np.min(values))} is not above 0")


def _refuse_costs(planned_cost: Floats, late_cost: Floats) -> None:
    _refuse_not_above_zero(planned_cost, "planned cost")
    refused = np.flatnonzero(~((late_cost > planned_cost) & np.isfinite(late_cost)))
    if len(refused):
        row = int(refused[0])
        raise ValueError(f"late cost {late_cost[row]} is not finite and above the planned cost {planned_cost[row]}")
