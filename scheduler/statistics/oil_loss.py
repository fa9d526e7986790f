"""How much oil a system uses a week, and whether it has begun to use more: a leak shows in the top-ups first.

Three habits of people share the belief evenly, each with the litres V poured after a gap of d days, λ the litres a
day, and κ the regularity, averaged over a grid (1, of a usual top-up, makes a Poisson process; more is steadier):

- by need, it is poured when enough is missing: d ~ Gamma(κV, κλ), V as it comes;
- when somebody comes by, a can is poured: the same with the mean volume for V, so that only how often it is counts;
- on rounds, whatever is missing is poured: V ~ Gamma(κd, κ/λ), d as it comes.

What comes as it comes is Gamma with a mean and a regularity of its own, so that the three are densities of the same
data. A stretch tells λ by sums alone (by need: its whole litres and days), so that a half-filled tank evens out with
the next top-up. A gap that is still open counts by its survival, but not on rounds.

In the window of the newest gaps the rate changes once at most, at a top-up, from λ to rλ: prior chance by the days
watched, spread over the gaps by their length, ln r even over `RATIOS`. Given habit, κ, gap and r the posterior of λ
(on rounds of 1/λ) is Gamma, so that over all of them it is a finite sum and exact. `risen` is P(r is `LEAST_RISE` or
more, with at least `FEWEST_BEFORE` gaps before the change and `FEWEST_AFTER` top-ups since). A loss that rose, fell
and rose again is told less sharply.

Calendar days, not run hours: a system at rest leaks less, and a season of standing still is a change too. Not known,
and said so, with less than `FEWEST_TOP_UPS` or `FEWEST_WATCHED_D`. Constants are ours, by tests/measure/oil_loss.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, gammainc, gammaincinv, gammaln, logsumexp

Floats = npt.NDArray[np.float64]

FEWEST_TOP_UPS = 3
FEWEST_WATCHED_D = 28.0
MOST_GAPS = 30
"""Only the newest are looked at: what a system lost long ago says little of today."""

SAME_LOOK_D = 1.0
"""Top-ups nearer than a day are one, poured in two goes."""

FEWEST_AFTER = 2
FEWEST_BEFORE = 2
LEAST_RISE = 1.5
ALARM = 0.95
"""A rise is called a finding from this probability on."""

TOLD_FROM = 0.5
STEADY = 2.0
SURELY_STEADY = 0.95
"""A rise that is told is a finding as well where the regularity is `STEADY` or more with this probability. What is
misjudged at one top-up is missing at the next, so that steady top-ups tell more than the model makes of them, which
takes them for independent: its 80 % bands hold the loss 95 times of 100, and constant losses hardly ever seem risen.
"""

CHANGES_EVERY_D = 3.0 * 365.25
PRIOR_SHAPE = 0.5
"""Of the Gamma prior of λ, its mean that of all the top-ups: worth half a top-up, as it is the same with a change and
without."""

RATIOS: Floats = np.exp(np.log(8.0) * np.arange(-10, 11) / 10.0)
"""r, even on the logarithm; 1 stands for no change."""

REGULARITY: Floats = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
BY_CHANCE: Floats = REGULARITY[:3]
"""Of somebody who comes by. With all of them, two rounds left out in a row looked like a rise."""

WEEK_D = 7.0
BAND = (0.1, 0.5, 0.9)

_NEGLIGIBLE = 1e-5
_LEAST = 1e-300

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(15)
_NODE_PROBABILITY: Floats = 0.5 * (_NODES + 1.0)
_NODE_WEIGHT: Floats = 0.5 * _WEIGHTS


@dataclass(frozen=True, slots=True)
class LossBand:
    """Litres a week: the 10, 50 and 90 % points of the belief."""

    low_L_per_week: float
    mid_L_per_week: float
    high_L_per_week: float


@dataclass(frozen=True, slots=True)
class Rise:
    """Given that the loss has risen: since when (80 % within the days), and the loss before and after."""

    since_day: float
    since_low_day: float
    since_high_day: float
    before: LossBand
    after: LossBand


@dataclass(frozen=True, slots=True)
class OilLoss:
    """The loss now, and P(it has risen). `now` is None where too little was seen to know; then `risen` is 0.

    steady: P(the regularity is `STEADY` or more). `rise` is told from P = 0.5 on; whether it is a finding is
    `is_finding`. top_ups: gaps that were used.
    """

    now: LossBand | None
    risen: float
    steady: float
    rise: Rise | None
    top_ups: int
    watched_d: float

    @property
    def is_finding(self) -> bool:
        return self.risen >= (TOLD_FROM if self.steady >= SURELY_STEADY else ALARM)


def oil_loss(
    day: Sequence[float] | Floats,
    volume_L: Sequence[float] | Floats,
    *,
    from_day: float,
    to_day: float,
    full_day: Sequence[float] = (),
) -> OilLoss:
    """The loss that top-ups (k,) tell, in any order.

    from_day: when the level was last known full before the first of them (a filling, or an earlier top-up, itself
    not among them). full_day: when the system was filled anew for another reason, after a drain, a repair or a
    change of oil; top-ups within a day of one belong to it and are no loss, and neither is what was lost since the
    top-up before it known. Of what a job spilled the caller takes the litres off.

    Raises ValueError for volumes not above 0, days outside from_day to to_day, and different lengths.

    >>> calm = oil_loss([70.0, 140.0, 210.0], [10.0, 10.0, 10.0], from_day=0.0, to_day=210.0)
    >>> calm.now is not None and calm.now.low_L_per_week < 1.0 < calm.now.high_L_per_week
    True
    """
    days, litres = _checked(day, volume_L, from_day, to_day)
    gaps = _gaps(days, litres, from_day, to_day, np.sort(np.asarray(full_day, dtype=np.float64)))
    watched_d = float(gaps.length_d.sum() + gaps.open_d)
    if len(gaps.length_d) < FEWEST_TOP_UPS or watched_d < FEWEST_WATCHED_D:
        return OilLoss(None, 0.0, 0.0, None, len(gaps.length_d), watched_d)
    belief = _belief(gaps)
    weight = belief.weight
    rises = _is_rise(len(gaps.length_d))
    risen = float(weight[:, rises].sum())
    rise = _rise(gaps, belief, np.where(rises, weight, 0.0)) if risen >= TOLD_FROM else None
    before, ratio, node_weight = _nodes(belief, weight)
    steady = float(weight[belief.regularity >= STEADY].sum())
    return OilLoss(_band(before * ratio, node_weight), risen, steady, rise, len(gaps.length_d), watched_d)


@dataclass(frozen=True, slots=True)
class _Gaps:
    """Stretches without a top-up, oldest first: (n,) days from, length, and litres poured at their end; and the
    days since the level was last full."""

    began_day: Floats
    length_d: Floats
    volume_L: Floats
    open_d: float


def _checked(
    day: Sequence[float] | Floats, volume_L: Sequence[float] | Floats, from_day: float, to_day: float
) -> tuple[Floats, Floats]:
    days, litres = np.asarray(day, dtype=np.float64), np.asarray(volume_L, dtype=np.float64)
    if days.shape != litres.shape:
        raise ValueError(f"{len(days)} days and {len(litres)} volumes of top-ups")
    if not from_day <= to_day:
        raise ValueError(f"watched from day {from_day} to day {to_day}, which is before it")
    if not np.all((days >= from_day) & (days <= to_day)):
        raise ValueError(f"a top-up outside the days watched, {from_day} to {to_day}")
    if not np.all((litres > 0.0) & np.isfinite(litres)):
        raise ValueError(f"a top-up of {float(np.min(litres))} L is not finite and above 0")
    order = np.argsort(days, kind="stable")
    return days[order], litres[order]


def _gaps(days: Floats, litres: Floats, from_day: float, to_day: float, full_day: Floats) -> _Gaps:
    began: list[float] = []
    length: list[float] = []
    volume: list[float] = []
    full = from_day
    poured_last = False
    following = list(full_day[(full_day >= from_day) & (full_day <= to_day)])
    for at, poured in zip(days.tolist(), litres.tolist(), strict=True):
        while following and following[0] <= at + SAME_LOOK_D:
            full, poured_last = max(full, following.pop(0)), False
        if at - full >= SAME_LOOK_D:
            began.append(full)
            length.append(at - full)
            volume.append(poured)
            full, poured_last = at, True
        elif poured_last:
            volume[-1] += poured  # the second go of the top-up that ended the gap before
    open_d = to_day - max([full, *following])
    newest = slice(-MOST_GAPS, None)
    return _Gaps(np.array(began[newest]), np.array(length[newest]), np.array(volume[newest]), open_d)


@dataclass(frozen=True, slots=True)
class _Belief:
    """Over habit with regularity, first gap of the new rate (0: none) and ratio, (K, n, R): log evidence, and given
    these the Gamma of the rate before, or of its inverse on_rounds; shape, regularity and opened, κ times the days of
    the open gap, (K,).
    """

    evidence: Floats
    shape: Floats
    inverse_scale: Floats
    on_rounds: npt.NDArray[np.bool_]
    regularity: Floats
    opened: Floats

    @property
    def weight(self) -> Floats:
        return np.asarray(np.exp(self.evidence - logsumexp(self.evidence)))


def _belief(gaps: _Gaps) -> _Belief:
    length_d, volume_L = gaps.length_d, gaps.volume_L
    usual_L = np.full_like(volume_L, np.mean(volume_L))
    usual_d = np.full_like(length_d, np.mean(length_d))
    by_need = _habit(length_d, volume_L, RATIOS, _as_it_comes(volume_L, usual_L), gaps.open_d)
    coming_by = _habit(length_d, usual_L, RATIOS, _as_it_comes(volume_L, usual_L), gaps.open_d, BY_CHANCE)
    on_rounds = _habit(volume_L, length_d, 1.0 / RATIOS, _as_it_comes(length_d, usual_d), None)
    stacked = (by_need, coming_by, on_rounds)
    return _Belief(
        np.concatenate([each.evidence for each in stacked]) + _log_prior(length_d),
        *(np.concatenate([getattr(each, name) for each in stacked]) for name in _Belief.__slots__[1:]),
    )


def _habit(
    seen: Floats,
    by: Floats,
    ratios: Floats,
    log_other: float,
    open_d: float | None,
    regularity: Floats = REGULARITY,
) -> _Belief:
    """seen ~ Gamma(κ by, κ φ), with φ times a ratio from each gap on; log_other: log density of what comes as it
    comes; open_d: None on rounds, where φ is 1/λ."""
    kappa = (regularity / np.mean(by))[:, None]
    own = kappa * by
    before = np.cumsum(seen) - seen
    after_own = (own.sum(axis=1, keepdims=True) - (np.cumsum(own, axis=1) - own))[:, :, None]
    prior = PRIOR_SHAPE * float(seen.sum() / by.sum())
    shape = PRIOR_SHAPE + own.sum(axis=1)
    inverse_scale = prior + kappa[:, :, None] * (before[:, None] + ratios * (seen.sum() - before)[:, None])
    of_gaps = (own * np.log(kappa) + (own - 1.0) * np.log(seen) - gammaln(own)).sum(axis=1)[:, None, None]
    of_rate = PRIOR_SHAPE * np.log(prior) - gammaln(PRIOR_SHAPE) + gammaln(shape)[:, None, None]
    of_rate = of_rate - shape[:, None, None] * np.log(inverse_scale)
    evidence = of_gaps + of_rate + after_own * np.log(ratios) + log_other - np.log(len(regularity))
    opened = kappa[:, 0] * (open_d or 0.0)
    if open_d:
        share = opened[:, None, None] / (opened[:, None, None] + inverse_scale / ratios)
        gone = betainc(regularity[:, None, None], shape[:, None, None], share)
        evidence += np.log(np.maximum(1.0 - gone, _LEAST))
    return _Belief(evidence, shape, inverse_scale, np.full(len(kappa), open_d is None), regularity, opened)


def _as_it_comes(seen: Floats, usual: Floats) -> float:
    """Log density of gaps or volumes that tell nothing of the loss: Gamma, over mean and regularity."""
    alone = _habit(seen, usual, np.ones(1), 0.0, None).evidence[:, 0, 0]
    return float(logsumexp(alone))


def _log_prior(length_d: Floats) -> Floats:
    """(n, R): of no change (gap 0, ratio 1), or of one at a gap by a ratio."""
    none = len(RATIOS) // 2
    at_start = -length_d[0] / CHANGES_EVERY_D  # a change before the first gap's top-up cannot be told from none
    stays = -float(length_d.sum()) / CHANGES_EVERY_D - at_start
    found = np.full((len(length_d), len(RATIOS)), -np.inf)
    found[0, none] = stays
    changes = np.log(-np.expm1(stays)) + np.log(length_d[1:] / length_d[1:].sum()) - np.log(len(RATIOS) - 1)
    found[1:] = changes[:, None]
    found[1:, none] = -np.inf
    return found


def _is_rise(n: int) -> npt.NDArray[np.bool_]:
    gap = np.arange(n)
    enough = (gap >= FEWEST_BEFORE) & (gap <= n - FEWEST_AFTER)
    return np.asarray(enough[:, None] & (RATIOS >= LEAST_RISE))


def _nodes(belief: _Belief, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """(m, q): litres a day before the change, ratio and weight, of the cells that weigh anything."""
    k, j, r = np.nonzero(weight > _NEGLIGIBLE * weight.sum())
    gamma = gammaincinv(belief.shape[:, None], _NODE_PROBABILITY)[k] / belief.inverse_scale[k, j, r][:, None]
    before = np.where(belief.on_rounds[k][:, None], 1.0 / gamma, gamma)
    ratio = np.broadcast_to(RATIOS[r][:, None], before.shape)
    still = 1.0 - gammainc(belief.regularity[k][:, None], belief.opened[k][:, None] * before * ratio)
    share = _NODE_WEIGHT * np.maximum(still, _LEAST)
    return before, ratio, weight[k, j, r][:, None] * share / share.sum(axis=1, keepdims=True)


def _rise(gaps: _Gaps, belief: _Belief, weight: Floats) -> Rise:
    before, ratio, node_weight = _nodes(belief, weight)
    of_gap = weight.sum(axis=(0, 2))
    low, _, _ = _quantiles(gaps.began_day, of_gap)
    _, mid, _ = _quantiles(gaps.began_day + 0.5 * gaps.length_d, of_gap)
    _, _, high = _quantiles(gaps.began_day + gaps.length_d, of_gap)
    return Rise(mid, low, high, _band(before, node_weight), _band(before * ratio, node_weight))


def _band(rate_L_per_d: Floats, weight: Floats) -> LossBand:
    return LossBand(*(WEEK_D * each for each in _quantiles(rate_L_per_d.ravel(), weight.ravel())))


def _quantiles(value: Floats, weight: Floats) -> tuple[float, float, float]:
    """The points of the band, between the values by their cumulative weight at mid-step."""
    order = np.argsort(value)
    summed = np.cumsum(weight[order])
    at = (summed - 0.5 * weight[order]) / summed[-1]
    low, mid, high = np.interp(BAND, at, value[order])
    return float(low), float(mid), float(high)
