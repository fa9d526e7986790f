"""A simulated store of one part: pieces on the shelf, orders that come sooner or later than told, and what it owes.

A change that finds the shelf empty waits for the next arrival; it is owed. Orders are decided once a week by a
`Planner`, before the day's changes; what arrives on a day serves the day's changes.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]

LEAD_D, LEAD_SD_D, SHORTEST_LEAD_D = 28.0, 7.0, 1
REVIEW_D = 7


@dataclass(frozen=True, slots=True)
class Line:
    """One order: how many, and its days. An order that has not come is known by `expected_d` only."""

    quantity: int
    expected_d: float
    arrives_d: int


@dataclass(slots=True)
class Shop:
    """The store at a moment: `on_hand` below 0 is owed."""

    on_hand: int
    open: list[Line] = field(default_factory=list)
    late_d: list[float] = field(default_factory=list)

    @property
    def position(self) -> int:
        return self.on_hand + sum(line.quantity for line in self.open)


Planner = Callable[[int, Shop], tuple[int, float]]
"""Of the number of the week and the store: how many to order now, and P(never short until an order of now has come),
NaN where the planner says nothing."""


@dataclass(frozen=True, slots=True)
class Review:
    """One look at the store: whether it ordered, what it promised, and whether nothing was owed until an order of
    that day had come."""

    day: int
    is_order: bool
    promised: float
    served: bool


@dataclass(frozen=True, slots=True)
class Run:
    """What became of a store: the reviews whose order would have come within the run, and sums over days."""

    reviews: list[Review]
    used: int
    waited: int
    days: int
    piece_days: int
    days_short: int


def run_store(used: Ints, first: int, planner: Planner, rng: np.random.Generator) -> Run:
    """The store over the days of `used` (D,), beginning with `first` pieces."""
    shop, looks, waited = Shop(first), list[tuple[int, int, bool, float]](), 0
    left = np.zeros(len(used), dtype=np.int64)  # in the evening
    for day, pieces in enumerate(used.tolist()):
        for line in [each for each in shop.open if each.arrives_d <= day]:
            shop.open.remove(line)
            shop.on_hand += line.quantity
            shop.late_d.append(line.arrives_d - line.expected_d)
        if day % REVIEW_D == 0:
            quantity, promised = planner(day // REVIEW_D, shop)
            arrives_d = day + max(round(LEAD_D + LEAD_SD_D * rng.standard_normal()), SHORTEST_LEAD_D)
            looks.append((day, arrives_d, quantity > 0, promised))
            if quantity > 0:
                shop.open.append(Line(quantity, day + LEAD_D, arrives_d))
        waited += min(max(pieces - max(shop.on_hand, 0), 0), pieces)
        shop.on_hand -= pieces
        left[day] = shop.on_hand
    reviews = [
        Review(day, is_order, promised, bool(left[day:until].min() >= 0))
        for day, until, is_order, promised in looks
        if until <= len(used)
    ]
    return Run(reviews, int(used.sum()), waited, len(used), int(np.maximum(left, 0).sum()), int((left < 0).sum()))
