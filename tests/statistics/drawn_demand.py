"""Demand drawn week by week, and what it does to a shelf piece by piece: the slow truth beside the quick answer."""

import numpy as np

from scheduler.statistics.arrival import Lateness, OnOrder
from scheduler.statistics.future_demand import FutureDemand
from scheduler.statistics.stock_balance import Shelf

EDGE_D = np.arange(0.0, 365.0, 7.0)
DRAWS = 20_000


def poisson_paths(rng: np.random.Generator, mean: float) -> np.ndarray:
    """(DRAWS, 52): pieces each week, `mean` a year."""
    return rng.poisson(mean / 52, (DRAWS, 52))


def mixed_paths(rng: np.random.Generator, mean: float) -> np.ndarray:
    """The rate itself is known to a half only: Gamma of shape 4."""
    return rng.poisson(mean / 52 * rng.gamma(4.0, 0.25, (DRAWS, 1)), (DRAWS, 52))


def renewal_paths(rng: np.random.Generator, mean: float, *, positions: int, log_sd: float) -> np.ndarray:
    """Log-normal lives in positions whose elements have known ages, evenly spread over most of a life."""
    life_d = 364.0 * positions / mean
    change_d = np.maximum(
        rng.lognormal(np.log(life_d), log_sd, (DRAWS, positions)) - np.linspace(0.0, 0.9, positions) * life_d, 0.01
    )
    weeks = np.zeros((DRAWS, 53), dtype=int)
    while np.any(change_d <= 364.0):
        week = np.minimum(np.ceil(change_d / 7.0).astype(int) - 1, 52)
        np.add.at(weeks, (np.repeat(np.arange(DRAWS), positions), week.ravel()), 1)
        change_d = change_d + rng.lognormal(np.log(life_d), log_sd, (DRAWS, positions))
    return weeks[:, :52]


def demand_of(paths: np.ndarray) -> FutureDemand:
    """What only tells each week's end: nothing of how the weeks hang together."""
    by_end = np.cumsum(paths, axis=1)
    rows = [np.bincount(week, minlength=by_end.max() + 1) / len(paths) for week in by_end.T]
    return FutureDemand(EDGE_D, np.stack(rows))


def drawn_lines(rng: np.random.Generator, on_order: OnOrder, late: Lateness) -> np.ndarray:
    """(DRAWS, 52): pieces that come within each week."""
    comes = np.zeros((DRAWS, 52), dtype=int)
    for pieces, expects_d in zip(on_order.quantity, on_order.expected_d, strict=True):
        drawn_d = expects_d + rng.normal(late.mean_d, late.sd_d, 20 * DRAWS)
        week = np.ceil(drawn_d[drawn_d > 0.0][:DRAWS] / 7.0).astype(int) - 1
        comes[np.flatnonzero(week < 52), week[week < 52]] += pieces
    return comes


def owed_by_counting(paths: np.ndarray, shelf: Shelf, comes: np.ndarray) -> np.ndarray:
    """(DRAWS, 52) pieces owed at each week's end, lot by lot: what is oldest first, what has expired never."""
    order = np.argsort(shelf.expires_d)
    left = np.tile(np.where(shelf.expires_d > 0.0, shelf.quantity, 0)[order], (len(paths), 1))
    fresh, owed = np.zeros(len(paths), dtype=int), np.zeros(paths.shape, dtype=int)
    due = np.zeros(len(paths), dtype=int)
    for week in range(52):
        fresh += comes[:, week]
        wanted = due + paths[:, week]
        for lot in range(left.shape[1]):
            used = np.minimum(wanted, left[:, lot])
            left[:, lot] -= used
            wanted = wanted - used
        used = np.minimum(wanted, fresh)
        fresh, due = fresh - used, wanted - used
        left[:, shelf.expires_d[order] <= EDGE_D[week + 1]] = 0
        owed[:, week] = due
    return owed
