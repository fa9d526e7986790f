"""How many run hours are left, as a distribution: one common grid for every position and every cause.

The grid is logarithmic in run hours, because a forecast is right to a share of itself: 160 bins from 0.5 h to
60,000 h (seven years without a stop), 7.6 % wide each. What lies below is `already_reached` (the condition is
past its limit, 0 h left), what lies above is `never` (not within any horizon that a plant plans for). Inside
a bin probability is spread evenly over the logarithm of the hours.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

Floats = npt.NDArray[np.float64]

SHORTEST_H = 0.5
LONGEST_H = 60_000.0
BINS = 160
EDGE_H: Floats = np.geomspace(SHORTEST_H, LONGEST_H, BINS + 1)
"""The bins' edges, run hours, (BINS + 1,)."""
CENTRE_H: Floats = np.sqrt(EDGE_H[:-1] * EDGE_H[1:])
"""The bins' middles in the logarithm, run hours, (BINS,)."""
LEAST_LEVEL = 0.4
"""Ours: of the hours that miss the least."""
LOG_BIN_WIDTH = float(np.log(LONGEST_H / SHORTEST_H) / BINS)


@dataclass(frozen=True, slots=True)
class RemainingHours:
    """Distribution of the run hours left for P positions; each row sums to 1.

    already_reached (P,): probability of 0 h left. within (P, BINS): probability per bin of the grid.
    never (P,): probability of more than `LONGEST_H`. Raises ValueError where a row is negative, not finite
    or does not sum to 1.
    """

    already_reached: Floats
    within: Floats
    never: Floats

    def __post_init__(self) -> None:
        if self.within.ndim != 2 or self.within.shape[1] != BINS:
            raise ValueError(f"remaining hours have shape {self.within.shape}, expected (positions, {BINS})")
        total = self.already_reached + self.within.sum(axis=1) + self.never
        smallest = min(float(part.min(initial=0.0)) for part in (self.already_reached, self.within, self.never))
        if smallest < 0.0 or not np.allclose(total, 1.0, rtol=0.0, atol=1e-6):
            worst = float(total[np.argmax(np.abs(total - 1.0))])
            raise ValueError(f"probabilities of remaining hours sum to {worst}, least {smallest}; expected 1")

    def __len__(self) -> int:
        return len(self.within)

    def at(self, rows: npt.NDArray[np.integer]) -> "RemainingHours":
        """Those of some of the positions."""
        return RemainingHours(self.already_reached[rows], self.within[rows], self.never[rows])

    def cumulative(self) -> Floats:
        """P(hours left ≤ each edge of the grid), (P, BINS + 1); the first column is `already_reached`."""
        return np.cumsum(np.column_stack([self.already_reached, self.within]), axis=1)

    def quantile(self, level: float | Floats) -> Floats:
        """Run hours that are left with probability `level` at most, (P,).

        0 where the limit is already reached with at least that probability, infinity where it lies beyond
        the grid. `level` is one number or one per position, 0 < level < 1.
        """
        wanted = np.broadcast_to(np.asarray(level, dtype=np.float64), (len(self),))
        if not np.all((wanted > 0.0) & (wanted < 1.0)):
            raise ValueError(f"quantile level {level} is outside 0 to 1")
        reached = self.cumulative()
        upper = np.minimum((reached < wanted[:, None]).sum(axis=1), BINS)
        lower = np.maximum(upper - 1, 0)
        rows = np.arange(len(self))
        below = reached[rows, lower]
        rise = np.maximum(reached[rows, upper] - below, 1e-300)
        share = np.clip((wanted - below) / rise, 0.0, 1.0)
        hours = EDGE_H[lower] * np.exp(LOG_BIN_WIDTH * share)
        hours = np.where(reached[:, 0] >= wanted, 0.0, hours)
        return np.where(reached[:, -1] < wanted, np.inf, hours)

    def least_missed_h(self, run_h: Floats) -> Floats:
        """The run hours, (P,), that are expected to miss what is left by the least share of the whole life.

        run_h (P,): run so far. The median of what is left with each of its values weighed by 1/(run_h + value), so it
        lies below the median: to be off by so many hours is the more, the shorter the life. With 0 h run and hours
        left log-normal it is e^(μ − σ²), since the weight 1/t tilts the normal by σ². Where next to nothing is known
        that runs away to the shortest lives: it is not below `LEAST_LEVEL` of what is left.

        >>> life = from_lognormal(np.log([1000.0]), np.array([0.2]))  # on bins of 7.6 %
        >>> float(np.round(life.least_missed_h(np.zeros(1))[0])), float(np.round(1000.0 * np.exp(-0.04)))
        (960.0, 961.0)
        """
        so_far = np.maximum(run_h, SHORTEST_H)[:, None]
        weight = np.column_stack([self.already_reached, self.within, self.never])
        weight /= so_far + np.concatenate([[0.0], CENTRE_H, [LONGEST_H]])
        weight /= weight.sum(axis=1, keepdims=True)
        middle = RemainingHours(weight[:, 0], weight[:, 1:-1], weight[:, -1]).quantile(0.5)
        return np.maximum(middle, self.quantile(LEAST_LEVEL))

    def cdf_at(self, hours: float | Floats) -> Floats:
        """P(hours left ≤ `hours`): `hours` a number or (P,) gives (P,), (P, K) gives (P, K)."""
        asked = np.asarray(hours, dtype=np.float64)
        flat = np.broadcast_to(asked, (len(self),)) if asked.ndim < 2 else asked
        table = flat[:, None] if flat.ndim == 1 else flat
        with np.errstate(divide="ignore", invalid="ignore"):
            at_bin = np.log(np.maximum(table, 0.0) / SHORTEST_H) / LOG_BIN_WIDTH
        at_bin = np.clip(at_bin, 0.0, BINS)
        lower = np.minimum(at_bin.astype(np.int64), BINS - 1)
        reached = self.cumulative()
        below = np.take_along_axis(reached, lower, axis=1)
        above = np.take_along_axis(reached, lower + 1, axis=1)
        found = below + (at_bin - lower) * (above - below)
        found = np.where(table < 0.0, 0.0, np.where(np.isposinf(table), 1.0, found))
        return found[:, 0] if flat.ndim == 1 else found

    def mean_h(self) -> Floats:
        """Expected run hours left, (P,); `never` counts as `LONGEST_H`, so it is a lower bound."""
        # the mean of a quantity that is even in its logarithm between two edges
        bin_mean = (EDGE_H[1:] - EDGE_H[:-1]) / LOG_BIN_WIDTH
        return np.asarray(self.within @ bin_mean + self.never * LONGEST_H)


def from_survival(log_survival_at_edges: Floats) -> RemainingHours:
    """From ln P(hours left > edge) at the edges of the grid, (P, BINS + 1), not rising along a row."""
    survival = np.exp(np.minimum(log_survival_at_edges, 0.0))
    return RemainingHours(
        already_reached=1.0 - survival[:, 0],
        within=np.maximum(survival[:, :-1] - survival[:, 1:], 0.0),
        never=survival[:, -1],
    )


def from_lognormal(log_median: Floats, log_sd: Floats, survived_h: Floats | float = 0.0) -> RemainingHours:
    """Hours left of a log-normal life of which `survived_h` have been run without an end.

    P(T − h ≤ t | T > h) = 1 − S(h + t)/S(h), by the logarithm of the normal tail, so that it holds
    far beyond the median too. `log_median` and `log_sd` (P,): mean and standard deviation of ln life in h.
    What ends within the first half hour counts as already reached: the grid knows no less.

    >>> life = from_lognormal(np.log([1000.0]), np.array([0.3]))
    >>> float(np.round(life.quantile(0.5)[0]))
    1000.0
    """
    if not np.all(log_sd > 0.0):
        raise ValueError(f"standard deviation of ln life {float(np.min(log_sd))} is not above 0")
    run_h = np.broadcast_to(np.asarray(survived_h, dtype=np.float64), log_median.shape)
    if not np.all(run_h >= 0.0):
        raise ValueError(f"run hours {float(np.min(run_h))} are below 0")
    with np.errstate(divide="ignore"):
        now = log_ndtr((log_median - np.log(run_h)) / log_sd)
    later = log_ndtr((log_median[:, None] - np.log(run_h[:, None] + EDGE_H)) / log_sd[:, None])
    return from_survival(later - now[:, None])


def at_hours(hours: Floats) -> RemainingHours:
    """A known number of hours for each position (a maker's limit): 0 or less is already reached."""
    within = np.zeros((len(hours), BINS))
    inside = (hours > 0.0) & (hours <= LONGEST_H)
    bins = np.clip(np.searchsorted(EDGE_H, hours[inside], side="left") - 1, 0, BINS - 1)
    within[np.flatnonzero(inside), bins] = 1.0
    return RemainingHours((hours <= 0.0).astype(np.float64), within, (hours > LONGEST_H).astype(np.float64))
