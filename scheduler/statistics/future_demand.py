"""Demand for one part on any day to come, from its distribution at the ends of periods.

Between two edges the distributions of the neighbours are mixed linearly in time: the mean runs straight, and what
is needed on one certain day of the period comes out as needed on an even day of it. Before the first edge the
neighbour is "nothing needed yet". Beyond the last edge demand runs on as Poisson at the mean rate of the last
quarter of a year of the horizon (ours): the lives behind it are not known there.

Demand is counted in pieces, or in steps of a lattice (litres of oil); of litres, which come many at once, Poisson
demand beyond the horizon is too narrow.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, xlogy

Floats = npt.NDArray[np.float64]

QUARTER_D = 91.0
_TOLERANCE = 1e-6
"""By so much a row's probabilities may miss 1; the row is then set right."""
_ROUNDED = 1e-4
"""By so much P(at most k) may rise to a later edge, as long convolutions round it; it is then set right."""

_NEVER = 1e-12


@dataclass(frozen=True, slots=True)
class FutureDemand:
    """Demand of one part from now on.

    edge_d (W + 1,): days from now, rising from 0. by_end (W, n + 1): P(exactly k needed from now to the end of each
    period), rows sum to 1, and never less by a later end. Raises ValueError for what is otherwise.
    """

    edge_d: Floats
    by_end: Floats
    cdf: Floats = field(init=False, repr=False)
    """(W + 1, N + 1) P(at most k needed by each edge), N ≤ n: counts of less than 1e-12 at the end are left out."""
    mean: Floats = field(init=False, repr=False)
    """(W + 1,) expected demand by each edge."""

    def __post_init__(self) -> None:
        edge_d, by_end = self.edge_d, self.by_end
        if by_end.ndim != 2 or edge_d.shape != (len(by_end) + 1,) or not len(by_end):
            raise ValueError(f"demand {by_end.shape} with edges {edge_d.shape}")
        if edge_d[0] != 0.0 or not np.all(np.diff(edge_d) > 0.0) or not np.isfinite(edge_d[-1]):
            raise ValueError(f"edges from {edge_d[0]} to {edge_d[-1]} d do not rise from 0")
        total = by_end.sum(axis=1)
        if not (np.min(by_end) >= -1e-12 and np.all(np.abs(total - 1.0) < _TOLERANCE)):
            raise ValueError(f"probabilities from {np.min(by_end)}, sums {np.min(total)} to {np.max(total)}")
        cdf = np.ones((len(edge_d), by_end.shape[1]))
        np.cumsum(by_end, axis=1, out=cdf[1:])
        cdf[1:] = np.minimum(cdf[1:] / total[:, None], 1.0)
        if np.any(np.diff(cdf, axis=0) > _ROUNDED):
            raise ValueError("demand by a later day is less than by an earlier one")
        np.minimum.accumulate(cdf, axis=0, out=cdf)
        cdf = cdf[:, : np.searchsorted(cdf[-1], 1.0 - _NEVER) + 1].copy()
        cdf[:, -1] = 1.0
        object.__setattr__(self, "cdf", cdf)
        object.__setattr__(self, "mean", np.sum(1.0 - cdf, axis=1))

    @property
    def horizon_d(self) -> float:
        return float(self.edge_d[-1])

    def rate_beyond_per_d(self) -> float:
        """Mean demand per day in the last quarter of the horizon, or in all of a shorter one."""
        window_d = min(QUARTER_D, self.horizon_d)
        before = np.interp(self.horizon_d - window_d, self.edge_d, self.mean)
        return max(float(self.mean[-1] - before), 0.0) / window_d

    def cdf_at(self, day_d: Floats) -> Floats:
        """P(at most k needed by each day), (m, c); `day_d` (m,) ≥ 0, also beyond the horizon.

        Raises ValueError for a negative day.
        """
        if len(day_d) and not np.min(day_d) >= 0.0:
            raise ValueError(f"day {float(np.min(day_d))} lies before now")
        inside_d = np.minimum(day_d, self.horizon_d)
        right = np.clip(np.searchsorted(self.edge_d, inside_d), 1, len(self.edge_d) - 1)
        left_d = self.edge_d[right - 1]
        along = ((inside_d - left_d) / (self.edge_d[right] - left_d))[:, None]
        cdf = self.cdf[right - 1] * (1.0 - along) + self.cdf[right] * along
        beyond = np.flatnonzero(day_d > self.horizon_d)
        rate_per_d = self.rate_beyond_per_d()
        if len(beyond) and rate_per_d > 0.0:
            cdf = self._run_on(cdf, beyond, rate_per_d * (day_d[beyond] - self.horizon_d))
        return np.asarray(cdf)

    def _run_on(self, cdf: Floats, beyond: npt.NDArray[np.intp], mean: Floats) -> Floats:
        """The rows `beyond` with Poisson demand of `mean` added, all rows on a longer lattice."""
        further = poisson_pmf(mean, int(np.max(mean) + 8.0 * np.sqrt(np.max(mean)) + 10.0))
        last = np.diff(self.cdf[-1], prepend=0.0)
        longer = np.ones((len(cdf), cdf.shape[1] + further.shape[1] - 1))
        longer[:, : cdf.shape[1]] = cdf
        together = np.cumsum([np.convolve(row, last) for row in further], axis=1)
        longer[beyond] = np.minimum(together / together[:, -1:], 1.0)
        return longer


def poisson_pmf(mean: Floats, most: int) -> Floats:
    """P(N = k) for k = 0 … most, (m, most + 1).

    >>> poisson_pmf(np.array([10.0]), 20)[0, 10].round(4)  # tables: 0.1251
    np.float64(0.1251)
    """
    count = np.arange(most + 1)
    return np.asarray(np.exp(xlogy(count, mean[:, None]) - mean[:, None] - gammaln(count + 1.0)))
