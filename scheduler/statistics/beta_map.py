"""Forecasts set right by how earlier ones fared: a Beta map of the probability that was forecast.

u = F(hours it then really lasted), the probability integral transform, is uniform where forecasts are right. Where
finished lives show it to be Beta(a, b), B(F; a, b) is right in place of F: a, b < 1 widens, a > b is later, a < b
earlier. The map is monotone and keeps 0 and 1. It is fitted on CELLS of u, since a life seldom says exactly where
its u lies: an element changed early says only that u lies above, one whose terminal was passed between two readings
says where with some spread. The likelihood of a forecast is Σ like_k · P(cell k; a, b) / width.

Sources: Dawid 1984, J. R. Stat. Soc. A 147:278 (the transform); Gneiting & Ranjan 2013, Electron. J. Stat. 7:1747
(the Beta map); Turnbull 1976, J. R. Stat. Soc. B 38:290 (shares of what is seen through cells).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, betaincinv, betaln, ndtr

from scheduler.statistics.remaining_hours import RemainingHours

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.integer] | npt.NDArray[np.bool_]

CELLS = 50
CELL_EDGE: Floats = np.linspace(0.0, 1.0, CELLS + 1)
"""Of u. An end beyond all that was forecast counts as one in the outermost fiftieth, not as impossible."""

WORTH_LIVES = 20.0
"""Ours: a map is held against so many lives that came out as forecast."""
STRENGTH = 0.5
"""Ours: half of the correction, in ln a and ln b, is made."""
_LARGEST_LOG = 1.2
_TURNS = 200
_TABLE: Floats = np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, 1025)) ** 2  # dense at both ends, where a map is steep


@dataclass(frozen=True, slots=True)
class SeenShares:
    """What the ends of n forecasts say of u. like (n, CELLS): likelihood of each cell; weight (n,): in lives."""

    like: Floats
    weight: Floats

    def of(self, rows: Rows) -> "SeenShares":
        """What some of the forecasts say."""
        return SeenShares(self.like[rows], self.weight[rows])


def like_of_end(remaining: RemainingHours, asked_at_h: Floats, log_end_mean: Floats, log_end_sd: Floats) -> Floats:
    """Of ends that are known as ln run hours, mean and spread (n,), forecast at asked_at_h (n,); (n, CELLS)."""
    passed = np.zeros((len(remaining), CELLS + 1))
    passed_already = ndtr((np.log(asked_at_h) - log_end_mean) / log_end_sd)
    for cell in range(1, CELLS):
        level = CELL_EDGE[cell]
        passed[:, cell] = ndtr((np.log(asked_at_h + remaining.quantile(level)) - log_end_mean) / log_end_sd)
        # an end before it was asked lies anywhere in the probability of having passed already
        told_passed = level < remaining.already_reached
        share = level / np.maximum(remaining.already_reached, level)
        passed[:, cell] = np.where(told_passed, share * passed_already, passed[:, cell])
    passed[:, -1] = 1.0
    return np.diff(passed, axis=1)


def cut_short(like: Floats, least: Floats, passed_share: Floats) -> Floats:
    """`like` (n, CELLS) of the ends of lives that were cut short: where beyond the cut they lie is not known.

    least (n,): u of the cut. passed_share (n,): probability that the limit was passed before it.
    """
    room = np.clip(CELL_EDGE[1:] - least[:, None], 0.0, 1.0 / CELLS)
    beyond = room / np.maximum(1.0 - least, 1e-9)[:, None]
    before = like * (1.0 - room * CELLS)
    before *= (passed_share / np.maximum(before.sum(axis=1), 1e-9))[:, None]
    return before + (1.0 - passed_share)[:, None] * beyond


def fitted_map(seen: SeenShares) -> tuple[float, float]:
    """a and b of the most probable map, at full strength; 1 and 1 where nothing was seen.

    The prior is the likelihood of WORTH_LIVES lives that came out evenly over u.
    """
    told = seen.like.max(axis=1, initial=0.0) > 0.0
    like, weight = seen.like[told], seen.weight[told]
    if not np.any(weight > 0.0):
        return 1.0, 1.0

    def miss(log_ab: Floats) -> float:
        a, b = np.exp(log_ab)
        density = np.diff(betainc(a, b, CELL_EDGE)) * CELLS
        prior = WORTH_LIVES * (2.0 - a - b - betaln(a, b))
        return -float(weight @ np.log(np.maximum(like @ density, 1e-300)) + prior)

    bounds = [(-_LARGEST_LOG, _LARGEST_LOG)] * 2
    from scipy.optimize import minimize  # noqa: PLC0415 - half a second that most commands need not pay

    found = minimize(miss, np.zeros(2), method="L-BFGS-B", bounds=bounds)
    a, b = np.exp(found.x)
    return float(a), float(b)


def shares_seen(seen: SeenShares) -> Floats:
    """The share of lives in each cell of u, (CELLS,): the most likely one, sought from evenly; NaN if nothing seen.

    Where ends are either exact or right-censored it is the estimate of Kaplan & Meier 1958, J. Am. Stat. Assoc.
    53:457; what lies beyond the last end stays even.
    """
    told = seen.like.max(axis=1, initial=0.0) > 0.0
    like, weight = seen.like[told], seen.weight[told]
    if not np.any(weight > 0.0):
        return np.full(CELLS, np.nan)
    share = np.full(CELLS, 1.0 / CELLS)
    for _ in range(_TURNS):
        share = share * ((weight / (like @ share)) @ like) / weight.sum()
    return share


def forecast_level(level: float, a: float, b: float) -> float:
    """The level of the forecast that comes out at `level` after the map.

    >>> round(forecast_level(0.75, 1.0, 2.0), 6)  # 1 − (1 − x)² = 0.75
    0.5
    """
    return float(betaincinv(a, b, level))


def recalibrated(remaining: RemainingHours, a: Floats, b: Floats) -> RemainingHours:
    """The hours left of P positions, each by its own map, a and b (P,)."""
    if not (np.all(a > 0.0) and np.all(b > 0.0)):
        raise ValueError(f"a Beta map's a {float(np.min(a))} or b {float(np.min(b))} is not above 0")
    reached, within, never = (getattr(remaining, part).copy() for part in ("already_reached", "within", "never"))
    forecast_share = remaining.cumulative()
    for one_a, one_b in np.unique(np.column_stack([a, b]), axis=0):
        if one_a == one_b == 1.0:
            continue
        rows = np.flatnonzero((a == one_a) & (b == one_b))
        found = np.interp(forecast_share[rows], _TABLE, betainc(one_a, one_b, _TABLE))
        reached[rows], within[rows], never[rows] = found[:, 0], np.diff(found, axis=1), 1.0 - found[:, -1]
    return RemainingHours(reached, within, never)
