"""Oil that a system will need: litres of top-up, and when its whole charge is changed next.

Top-ups come as a Poisson process of unknown rate with independent volumes. A Gamma prior makes the rate's posterior
Gamma(a + n, b + watched days), so that the number in t days to come is negative binomial, and the litres are its
compound: the exact posterior predictive, by the generating function (q/(1 − (1 − q) F(z)))^r on a circle of roots of
unity, q = B/(B + t), r = a + n (Klugman, Panjer & Willmot, Loss Models, chapters 6 and 9; chapters from memory).
Periods share the rate: `by_end` is not the convolution of `within`, as it should be, since a thirsty system stays so.

A volume is one of those seen, smoothed, or one from a first guess worth one top-up. Volumes go onto the lattice so
that their mean stays exact (local moment matching, Loss Models, section 9.6; from memory).
A change of the rate in the recent past (a leak sprung, a leak cured) is not modelled: it is averaged with the rest.
With little seen the prior speaks, wide; `is_guess` says so.

Oil changes: with two or more past ones, the log-normal renewal of their intervals, given that none has come since
the last. With fewer nothing is said: the plant's own interval is not known here.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

Floats = npt.NDArray[np.float64]

FEWEST_WATCHED_D = 90.0
"""Watched for less, or without any top-up seen, a forecast is called a guess. Ours."""

_LOST = 1e-7
"""Probability beyond the lattice; it is put on its last point."""
_MOST_STEPS = 2**16


@dataclass(frozen=True, slots=True)
class TopUpPrior:
    """Before any top-up was seen: one in half a year, worth half a top-up, of 3 % of the reservoir. All ours.

    worth_top_ups: shape of the Gamma rate. between_d: days between top-ups, mean rate inverted.
    reservoir_share, log_sd: median volume and spread of the first guess. smoothing_log_sd: around each volume seen.
    """

    worth_top_ups: float = 0.5
    between_d: float = 180.0
    reservoir_share: float = 0.03
    log_sd: float = 0.8
    smoothing_log_sd: float = 0.2

    @property
    def worth_d(self) -> float:
        return self.worth_top_ups * self.between_d


@dataclass(frozen=True, slots=True)
class TopUpDemand:
    """Litres on a lattice: by_end, within (W, n + 1), P(exactly k steps of step_L), from now to the end of each
    period and in the period alone; the last point holds what is more. is_guess: little was seen."""

    step_L: float
    by_end: Floats
    within: Floats
    is_guess: bool


@dataclass(frozen=True, slots=True)
class IntervalPrior:
    """Spread of ln interval between oil changes: 0.3, worth two intervals, no less than the floor. Ours."""

    log_sd: float = 0.3
    worth_intervals: float = 2.0
    floor: float = 0.05


def top_up_demand(
    volume_L: Floats,
    *,
    watched_d: float,
    reservoir_L: float,
    edge_d: Floats,
    step_L: float,
    prior: TopUpPrior | None = None,
) -> TopUpDemand:
    """Litres of top-up in the periods to come.

    volume_L (k,): top-ups seen in `watched_d` days up to now (if watching began with a top-up, that one is not
    counted). edge_d (W + 1,): days from now, rising from 0. Raises ValueError for volumes, a reservoir or a step not
    above 0, watched days below 0, edges that do not rise from 0, and a step too small for a lattice of 2^15 points.
    """
    prior = prior or TopUpPrior()
    _refuse_what_cannot_be(volume_L, watched_d, reservoir_L, step_L)
    _refuse_edges(edge_d)
    median_L = np.append(volume_L, prior.reservoir_share * reservoir_L)
    log_sd = np.append(np.full(len(volume_L), prior.smoothing_log_sd), prior.log_sd)
    span_d = np.concatenate([edge_d[1:], np.diff(edge_d)])
    shape, watch_d = prior.worth_top_ups + len(volume_L), prior.worth_d + watched_d
    steps = 128
    while True:
        volume = lognormal_on_lattice(median_L, log_sd, step_L=step_L, steps=steps)
        litres = compound_negative_binomial(shape, watch_d / (watch_d + span_d), volume)
        reached = np.cumsum(litres[:, : steps // 2], axis=1)
        if np.min(reached[:, -1]) >= 1.0 - _LOST:
            break
        steps *= 2
        if steps > _MOST_STEPS:
            raise ValueError(f"a step of {step_L} L is too small for top-ups of {float(np.max(median_L))} L")
    last = int(np.max(np.argmax(reached >= 1.0 - _LOST, axis=1)))
    litres = litres[:, : last + 1].copy()
    litres[:, -1] += np.maximum(1.0 - litres.sum(axis=1), 0.0)
    by_end, within = np.split(litres / litres.sum(axis=1, keepdims=True), 2)
    return TopUpDemand(step_L, by_end, within, is_guess=watched_d < FEWEST_WATCHED_D or not len(volume_L))


def compound_negative_binomial(shape: float, keeps: Floats, summand: Floats) -> Floats:
    """P(the sum of N volumes is k steps), (m, n), for N with P(N = 0) = keepsʳ, r = `shape`; keeps (m,) in (0, 1].

    summand (n,): P(one of them is k steps). By fast Fourier transform: what lies beyond n − 1 steps comes round to
    the front, so n has to be ample.
    """
    wave = np.fft.rfft(summand)
    generating = np.exp(shape * (np.log(keeps)[:, None] - np.log1p(-(1.0 - keeps)[:, None] * wave)))
    return np.asarray(np.maximum(np.fft.irfft(generating, n=len(summand), axis=1), 0.0))


def lognormal_on_lattice(median_L: Floats, log_sd: Floats, *, step_L: float, steps: int) -> Floats:
    """P(a volume is k steps), (steps,), of an even mixture of log-normals (k,) each, with its mean kept.

    f_k = [2 E min(V, kh) − E min(V, (k − 1)h) − E min(V, (k + 1)h)]/h, f_0 = 1 − E min(V, h)/h; what lies beyond is
    left out.
    """
    level_L = step_L * np.arange(1, steps + 1)[:, None]
    score = np.log(level_L / median_L) / log_sd
    mean_L = median_L * np.exp(0.5 * log_sd**2)
    limited = np.mean(mean_L * ndtr(score - log_sd) + level_L * ndtr(-score), axis=1) / step_L
    limited = np.concatenate([[0.0], limited])
    return np.asarray(np.maximum(np.concatenate([[1.0 - limited[1]], -np.diff(limited, n=2)]), 0.0))


def next_oil_change(changed_d: Floats, edge_d: Floats, prior: IntervalPrior | None = None) -> Floats | None:
    """P(the next oil change falls into each period), (W,); None with fewer than two past changes.

    changed_d (k,): days of the past changes counted from now, so 0 or less, in any order; equal days are one change.
    The sum is below 1 where it may come after the last period. Raises ValueError for a day after now, and for edges
    that do not rise from 0.
    """
    prior = prior or IntervalPrior()
    _refuse_edges(edge_d)
    if not np.all(changed_d <= 0.0):
        raise ValueError(f"an oil change {float(np.max(changed_d))} d from now is not past")
    day_d = np.unique(changed_d)
    if len(day_d) < 2:
        return None
    log_interval = np.log(np.diff(day_d))
    n, log_mean = len(log_interval), float(np.mean(log_interval))
    squares = prior.worth_intervals * prior.log_sd**2 + float(np.sum((log_interval - log_mean) ** 2))
    variance = squares / (prior.worth_intervals + n - 1) * (1.0 + 1.0 / n)
    log_sd = max(float(np.sqrt(variance)), prior.floor)
    with np.errstate(divide="ignore"):
        still = ndtr(-(np.log(edge_d - day_d[-1]) - log_mean) / log_sd)
    if still[0] <= 0.0:
        return np.concatenate([[1.0], np.zeros(len(edge_d) - 2)])  # so long overdue that it is due now
    return np.asarray(-np.diff(still / still[0]))


def _refuse_what_cannot_be(volume_L: Floats, watched_d: float, reservoir_L: float, step_L: float) -> None:
    if not np.all((volume_L > 0.0) & np.isfinite(volume_L)):
        raise ValueError(f"a top-up of {float(np.min(volume_L))} L is not finite and above 0")
    if not (np.isfinite(watched_d) and watched_d >= 0.0):
        raise ValueError(f"watched for {watched_d} d: not finite and at least 0")
    for name, value_L in (("reservoir", reservoir_L), ("step", step_L)):
        if not (np.isfinite(value_L) and value_L > 0.0):
            raise ValueError(f"a {name} of {value_L} L is not finite and above 0")


def _refuse_edges(edge_d: Floats) -> None:
    if len(edge_d) < 2 or edge_d[0] != 0.0 or not np.all(np.diff(edge_d) > 0.0) or not np.isfinite(edge_d[-1]):
        raise ValueError("the edges of the periods must rise from 0")
