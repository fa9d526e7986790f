"""Does the stock of one part last, and what has to be ordered by when.

Reorder level, periodic review: the least s with Σ_l P(L = l) P(D(l + review) ≤ s) ≥ level (order-up-to reasoning, as
in Silver, Pyke & Thomas, Inventory and Production Management in Supply Chains, 4th ed. 2017, chapter 6; from memory).
Order-by: the last day t on which Σ_l P(L = l) P(never short by t + l) ≥ level, with what lies on the shelf and what
is on order. The order then placed lasts, at that level, through its lead time and the review after it. The level in
both is `ordering_level` of the one that is wanted. A part that
moves slowly needs no rule of its own: whether one piece is kept comes out of the same probabilities.

Inside a period, demand is looked at no more than `FINEST_D` apart, lines come before the demand of the look in which
they come, and beyond the horizon demand runs on as `future_demand` says. Errors of the joint distribution over time
are told in `stock_balance`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scheduler.statistics.arrival import Lateness, LeadTime, OnOrder
from scheduler.statistics.future_demand import FutureDemand
from scheduler.statistics.stock_balance import Balance, Shelf, balance, ever_short

Floats = npt.NDArray[np.float64]

FINEST_D = 2.0
"""Days between looks at shelf and supply. Ours: as a line comes before the demand of its look, looks a week apart
promised 1 point too much with one line out, 6 with two (stores of simulated plants, drawn anew)."""

USED_IN_TIME = 0.8
"""No more is ordered than is used with this probability before it expires. Ours."""

NEWS_SHARE = 0.5
"""Of the accepted risk of being short, what an order is placed at. Ours: that risk does not creep up, it jumps with a
reading, and past what was accepted. Ordered at all of it, stores of simulated plants were served 0.80 at a level of
0.90 from order to arrival; at half of it 0.91."""

_LOOKS_IN_REVIEW = np.array([0.0, 0.5, 1.0])


@dataclass(frozen=True, slots=True)
class OrderRule:
    """How a part is ordered.

    level: wanted probability of not being short, 0 < level < 1. review_d: days from one look at the stock to the
    next. pack: pieces in a whole pack. shelf_life_d: of what arrives, counted from arrival; infinite: it keeps.
    window_d: for the fill rate, from now; cut at the horizon.
    """

    lead: LeadTime
    level: float = 0.95
    review_d: float = 7.0
    pack: int = 1
    shelf_life_d: float = np.inf
    window_d: float = np.inf

    def __post_init__(self) -> None:
        if not 0.0 < self.level < 1.0:
            raise ValueError(f"level {self.level} is outside 0 to 1")
        if not (np.isfinite(self.review_d) and self.review_d >= 0.0):
            raise ValueError(f"review after {self.review_d} d is not finite and at least 0")
        if self.pack < 1:
            raise ValueError(f"a pack of {self.pack} is below 1")
        if not self.shelf_life_d > 0.0:
            raise ValueError(f"shelf life of {self.shelf_life_d} d is not above 0")
        if not self.window_d > 0.0:
            raise ValueError(f"window of {self.window_d} d is not above 0")

    @property
    def ordering_level(self) -> float:
        return ordering_level(self.level)


@dataclass(frozen=True, slots=True)
class Order:
    """quantity: whole packs. asked: what the level asks for, before packs and shelf life. may_expire: more than is
    used before it expires with `USED_IN_TIME`; only the first pack can be, for being short is worse than a leftover.
    is_cut: less than asked, because of the shelf life."""

    quantity: int
    asked: int
    may_expire: bool
    is_cut: bool


@dataclass(frozen=True, slots=True)
class Cover:
    """One part's stock against its demand, if nothing more is ordered, and what to order.

    run_out (W,): P(short at some time up to the end of each period). expected_short (W,): pieces owed at that time.
    fill_rate: share of the window's demand met from the shelf; 1 where none is expected. cycle_service: P(not short
    until an order placed now has come). reorder_level: for shelf and orders together, now, at the rule's ordering
    level. order_by_d: last day that keeps that level, 0 = now, None = not within the horizon. order: what to order
    then, None as `order_by_d`. is_late: `cycle_service` is below the wanted level already. is_lead_time_assumed: the
    catalogue gives none.
    """

    run_out: Floats
    expected_short: Floats
    fill_rate: float
    cycle_service: float
    reorder_level: int
    order_by_d: float | None
    order: Order | None
    is_late: bool
    is_lead_time_assumed: bool


def cover(demand: FutureDemand, shelf: Shelf, on_order: OnOrder, lateness: Lateness, rule: OrderRule) -> Cover:
    """All of it for one part."""
    look_d = _looks(demand, demand.horizon_d + float(rule.lead.day_d[-1]))
    stands = balance(demand, shelf, on_order, lateness, look_d)
    run_out = ever_short(stands, demand, shelf, on_order, lateness)
    served = _served(look_d, run_out, rule.lead, demand.horizon_d)
    ordering_d = np.flatnonzero(served >= rule.ordering_level)
    by_d = float(ordering_d[-1]) if len(ordering_d) else 0.0
    is_within = bool(served[-1] < rule.ordering_level)
    at_edge = np.searchsorted(look_d, demand.edge_d[1:])
    return Cover(
        run_out=run_out[at_edge],
        expected_short=stands.expected_short()[at_edge],
        fill_rate=_fill_rate(demand, stands, look_d, min(rule.window_d, demand.horizon_d)),
        cycle_service=float(served[0]),
        reorder_level=reorder_level(demand, rule.lead, review_d=rule.review_d, level=rule.ordering_level),
        order_by_d=by_d if is_within else None,
        order=order_at(by_d, demand, shelf, on_order, lateness, rule) if is_within else None,
        is_late=bool(served[0] < rule.level),
        is_lead_time_assumed=rule.lead.is_assumed,
    )


def ordering_level(level: float) -> float:
    """The probability of not being short at which an order is placed, so that `level` is kept from order to arrival.

    >>> ordering_level(0.9)
    0.95
    """
    return 1.0 - NEWS_SHARE * (1.0 - level)


def reorder_level(demand: FutureDemand, lead: LeadTime, *, review_d: float, level: float) -> int:
    """The least s with Σ_l P(L = l) P(D(l + review) ≤ s) ≥ level; 0 where nothing need be kept."""
    cdf = lead.share @ demand.cdf_at(lead.day_d + review_d)
    return int(np.searchsorted(cdf, level - 1e-12))


def order_at(
    day_d: float, demand: FutureDemand, shelf: Shelf, on_order: OnOrder, lateness: Lateness, rule: OrderRule
) -> Order:
    """What an order of that day must bring: enough, at the level, for each of three looks from its arrival to the end
    of the review after it. Whole packs, at least one; not more than will probably be used within the shelf life.
    """
    through_d = (day_d + rule.lead.day_d[None, :] + _LOOKS_IN_REVIEW[:, None] * rule.review_d).ravel()
    stands = balance(demand, shelf, on_order, lateness, through_d)
    share = rule.lead.share

    def is_enough(pieces: int) -> bool:
        short = stands.short_by_more(pieces).reshape(len(_LOOKS_IN_REVIEW), -1) @ share
        return bool(np.all(1.0 - short >= rule.ordering_level - 1e-12))

    asked = _least(is_enough, int(stands.owed[-1]))
    packs = max(-(-asked // rule.pack), 1)
    if not np.isfinite(rule.shelf_life_d):
        return Order(packs * rule.pack, asked, may_expire=False, is_cut=False)
    expires_d = day_d + rule.lead.mean_d + rule.shelf_life_d
    used = _probably_used(balance(demand, shelf, on_order, lateness, np.array([expires_d])))
    quantity = min(packs, max(used // rule.pack, 1)) * rule.pack
    return Order(quantity, asked, may_expire=quantity > used, is_cut=quantity < asked)


def _looks(demand: FutureDemand, until_d: float) -> Floats:
    """Days from 0 at most `FINEST_D` apart, every edge among them."""
    length_d = np.diff(demand.edge_d)
    parts = np.ceil(length_d / FINEST_D).astype(int)
    nth = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    within = np.repeat(demand.edge_d[:-1], parts) + nth * np.repeat(length_d / parts, parts)
    beyond = demand.horizon_d + FINEST_D * np.arange(int(np.ceil((until_d - demand.horizon_d) / FINEST_D)) + 1)
    return np.concatenate([within, beyond])


def _served(look_d: Floats, run_out: Floats, lead: LeadTime, horizon_d: float) -> Floats:
    """P(not short until an order of each day 0, 1, … of the horizon has come), never rising."""
    day_d = np.arange(int(horizon_d) + 1, dtype=np.float64)
    comes_d = day_d[:, None] + lead.day_d
    return np.asarray(1.0 - np.interp(comes_d, look_d, run_out) @ lead.share)


def _fill_rate(demand: FutureDemand, stands: Balance, look_d: Floats, window_d: float) -> float:
    """1 − E[demanded while short]/E[demand]: what a step's demand adds to what is owed.

    A line that comes within a step comes before or after its demand alike. Exact without lots that expire, since then
    each term needs one day's demand only.
    """
    supply = 0.5 * (stands.arrived[1:] + stands.arrived[:-1])
    after, before = (stands.after(days, supply) for days in (slice(1, None), slice(None, -1)))
    unmet = np.cumsum(np.maximum(after.expected_short() - before.expected_short(), 0.0))
    unmet = np.concatenate([[0.0], unmet])
    expected = float(np.interp(window_d, demand.edge_d, demand.mean))
    if expected <= 0.0:
        return 1.0
    return float(np.clip(1.0 - np.interp(window_d, look_d, unmet) / expected, 0.0, 1.0))


def _probably_used(stands: Balance) -> int:
    """The most pieces that are used by the day with `USED_IN_TIME`: P(that many are owed by then) is as high."""
    fewest_not = _least(lambda pieces: bool(stands.short_by_more(pieces)[0] < USED_IN_TIME), int(stands.owed[-1]))
    return max(fewest_not, 0)


def _least(holds: Callable[[int], bool], most: int) -> int:
    """The least count ≥ 0 that `holds`, which once true stays true, and is true at `most`."""
    low, high = 0, max(most, 0)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return low
