"""When does supply come: lines on order, learned lateness, and the lead time of an order not placed yet.

Lateness = received day − expected day, early is negative. Taken as normal around a pooled mean: conjugate normal
with a prior worth a few lines, used through its predictive mean and spread (Gelman et al., Bayesian Data Analysis,
3rd ed. 2013, section 3.3; from memory; normal instead of Student's t, ours). A line that has not come yet is
conditioned on that: its day is the normal cut off at now. So an overdue line is not "never"; and where it is
overdue by more than the spread, its own lateness takes the place of the spread (ours): a normal would promise a
line forgotten for three months for tomorrow. All of a line comes at once, and lines come independently.

Days count from now; an overdue line has a negative expected day.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr, ndtri

Floats = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]

ASSUMED_LEAD_TIME_D = 14.0
"""Where the catalogue gives none. Ours; `LeadTime.is_assumed` says that it was taken."""

_BIN_EDGE = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95, 0.98, 1.0])
"""Bins of the lead time's probability, finer in the tails, where service levels are decided. Ours."""


@dataclass(frozen=True, slots=True)
class LatenessPrior:
    """Lateness before any line was received, as it would be predicted: 0 ± 7 d, worth four lines. Ours."""

    mean_d: float = 0.0
    sd_d: float = 7.0
    worth_lines: float = 4.0


@dataclass(frozen=True, slots=True)
class Lateness:
    """Days by which the next line will come after its expected day: normal, mean and predictive spread."""

    mean_d: float
    sd_d: float
    lines_seen: int

    def __post_init__(self) -> None:
        if not (np.isfinite(self.mean_d) and np.isfinite(self.sd_d) and self.sd_d > 0.0):
            raise ValueError(f"lateness of {self.mean_d} ± {self.sd_d} d: the spread must be finite and above 0")


@dataclass(frozen=True, slots=True)
class OnOrder:
    """Lines that are on order and have not come: pieces or lattice steps (k,), expected days from now (k,)."""

    quantity: Counts
    expected_d: Floats

    def __post_init__(self) -> None:
        if self.quantity.shape != self.expected_d.shape or self.quantity.ndim != 1:
            raise ValueError(f"{self.quantity.shape} quantities on order with {self.expected_d.shape} expected days")
        if np.any(self.quantity < 0):
            raise ValueError(f"a quantity on order of {int(np.min(self.quantity))} is below 0")
        if not np.all(np.isfinite(self.expected_d)):
            raise ValueError("an expected day is not finite")

    def __len__(self) -> int:
        return len(self.quantity)


NOTHING_ON_ORDER = OnOrder(np.zeros(0, dtype=np.int64), np.zeros(0))


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Days from an order to its arrival: `day_d` (L,) rising, each with its `share` (L,), shares sum to 1.

    is_assumed: the catalogue gave none, `ASSUMED_LEAD_TIME_D` was taken.
    """

    day_d: Floats
    share: Floats
    is_assumed: bool = False

    def __post_init__(self) -> None:
        if self.day_d.shape != self.share.shape or not len(self.day_d):
            raise ValueError(f"{self.day_d.shape} lead times with {self.share.shape} shares")
        if not np.all((self.day_d >= 0.0) & np.isfinite(self.day_d)):
            raise ValueError(f"a lead time of {float(np.min(self.day_d))} d is not finite and at least 0")
        if np.any(self.share < 0.0) or abs(float(self.share.sum()) - 1.0) > 1e-9:
            raise ValueError(f"shares of the lead times sum to {float(self.share.sum())}, not to 1")

    @property
    def mean_d(self) -> float:
        return float(self.day_d @ self.share)


def learn_lateness(late_d: Floats, prior: LatenessPrior | None = None) -> Lateness:
    """Lateness of the next line from the lines received so far, `late_d` (n,) = received − expected day.

    >>> learn_lateness(np.zeros(0)).sd_d
    7.0

    Raises ValueError for lateness that is not finite.
    """
    prior = prior or LatenessPrior()
    if not np.all(np.isfinite(late_d)):
        raise ValueError("lateness of a received line is not finite")
    n, worth = len(late_d), prior.worth_lines
    seen_mean_d = float(np.mean(late_d)) if n else 0.0
    mean_d = (worth * prior.mean_d + n * seen_mean_d) / (worth + n)
    squares = worth * prior.sd_d**2 / (1.0 + 1.0 / worth)  # so that the prior alone predicts its own spread
    squares += float(np.sum((late_d - seen_mean_d) ** 2))
    squares += worth * n / (worth + n) * (seen_mean_d - prior.mean_d) ** 2
    variance = squares / (worth + n) * (1.0 + 1.0 / (worth + n))
    return Lateness(mean_d, float(np.sqrt(variance)), n)


def arrived_by(expected_d: Floats, day_d: Floats, lateness: Lateness) -> Floats:
    """P(line has come by each day | it has not come by now), (k, m) for k lines and m days ≥ 0 from now.

    Raises ValueError for a negative day.
    """
    if np.any(day_d < 0.0):
        raise ValueError(f"day {float(np.min(day_d))} lies before now")
    mean_d = (expected_d + lateness.mean_d)[:, None]
    sd_d = np.maximum(lateness.sd_d, -mean_d)
    still_out = log_ndtr((mean_d - day_d[None, :]) / sd_d) - log_ndtr(mean_d / sd_d)
    return np.asarray(-np.expm1(still_out))


def pieces_arrived(quantity: Counts, arrived: Floats) -> Floats:
    """P(exactly a pieces have come), (m, A + 1), A = all that is on order; `arrived` (k, m) as of `arrived_by`.

    By convolution over the independent lines.

    >>> pieces_arrived(np.array([2, 3]), np.array([[0.5], [0.5]]))
    array([[0.25, 0.  , 0.25, 0.25, 0.  , 0.25]])
    """
    amount = np.zeros((arrived.shape[1], int(quantity.sum()) + 1))
    amount[:, 0] = 1.0
    for pieces, come in zip(quantity.tolist(), arrived, strict=True):
        moved = amount * come[:, None]
        amount -= moved
        amount[:, pieces:] += moved[:, : amount.shape[1] - pieces]
    return amount


def lead_time(lead_time_d: float | None, lateness: Lateness) -> LeadTime:
    """Lead time of an order placed on a day: the catalogue's, late like other lines, not before its own day.

    Bins of probability, each by its mean, so that the mean is exact. None: `ASSUMED_LEAD_TIME_D`, and said so.
    Raises ValueError for a lead time below 0 or not finite.
    """
    if lead_time_d is not None and not (np.isfinite(lead_time_d) and lead_time_d >= 0.0):
        raise ValueError(f"lead time {lead_time_d} d is not finite and at least 0")
    told_d = ASSUMED_LEAD_TIME_D if lead_time_d is None else lead_time_d
    mean_d, sd_d = told_d + lateness.mean_d, max(lateness.sd_d, -(told_d + lateness.mean_d))
    lost = float(ndtr(-mean_d / sd_d))  # the share that would come before it was ordered
    edge = ndtri(lost + (1.0 - lost) * _BIN_EDGE)
    share = np.diff(_BIN_EDGE)
    density = np.exp(-0.5 * edge**2) / np.sqrt(2.0 * np.pi)
    day_d = mean_d - sd_d * np.diff(density) / ((1.0 - lost) * share)
    return LeadTime(np.maximum(day_d, 0.0), share, is_assumed=lead_time_d is None)
