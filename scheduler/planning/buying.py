"""Whether the stock of an item lasts, what to order by when, and what it costs to be wrong.

An item that is short when a change is due costs what a late change costs where it is used, the mean of the systems
that tell it; a piece left over costs its holding until the next ordering.
"""

from dataclasses import dataclass

import numpy as np

from scheduler.planning.demand import ItemDemand
from scheduler.planning.plant_columns import Floats, Ints, PlantColumns
from scheduler.statistics.arrival import Lateness, LeadTime, OnOrder, lead_time
from scheduler.statistics.future_demand import FutureDemand
from scheduler.statistics.newsvendor import expected_cost, service_level
from scheduler.statistics.stock_balance import Shelf
from scheduler.statistics.stock_cover import Cover, OrderRule, cover

HOLDING_SHARE_PER_YEAR = 0.25
"""Of its price, what a piece costs that lies on the shelf for a year; common practice, no source."""

_YEAR_D = 365.25


@dataclass(frozen=True, slots=True)
class Stock:
    """What the store has of one item and how it buys it, in the item's own unit: pieces, or litres.

    lot, lot_expires_d (k,): on hand, with days from now, infinite where it keeps. ordered, ordered_for_d: to come.
    pack: the smallest quantity that is bought. lead_time_d, shelf_life_d, price: None where the catalogue is silent.
    """

    lot: Floats
    lot_expires_d: Floats
    ordered: Floats
    ordered_for_d: Floats
    pack: float
    lead_time_d: float | None
    shelf_life_d: float | None
    price: float | None


@dataclass(frozen=True, slots=True)
class OrderingHabit:
    """level: wanted probability of not being short. review_d: days from one ordering to the next."""

    level: float
    review_d: float


@dataclass(frozen=True, slots=True)
class Buying:
    """One item's stock against its demand; counts of `cover` are in the item's steps.

    packs: whole packs to buy, 0 without an order; they bring what is asked for, also where a pack is no whole number
    of steps. level_by_cost: the service level that the costs imply; cost_if_wrong: what is to be expected of being
    short and of leftovers until the ordering after this one. None where the costs are not known.
    """

    cover: Cover
    lead: LeadTime
    packs: int
    level_by_cost: float | None
    cost_if_wrong: float | None


def plan_buying(
    columns: PlantColumns, item: ItemDemand, edge_d: Floats, stock: Stock, lateness: Lateness, habit: OrderingHabit
) -> Buying:
    """Decide for one item."""
    demand = FutureDemand(edge_d, item.demand.by_end.probability)
    lead = lead_time(stock.lead_time_d, lateness)
    shelf = Shelf(_steps(stock.lot, item.step), stock.lot_expires_d)
    found = cover(
        demand,
        shelf,
        OnOrder(_steps(stock.ordered, item.step), stock.ordered_for_d),
        lateness,
        OrderRule(
            lead=lead,
            level=habit.level,
            review_d=habit.review_d,
            pack=max(int(_steps(stock.pack, item.step)), 1),
            shelf_life_d=np.inf if stock.shelf_life_d is None else stock.shelf_life_d,
        ),
    )
    packs = 0 if found.order is None else _packs(found.order.quantity, stock.pack, item.step)
    short, left = _late_cost(columns, item), _left_cost(stock, item, habit)
    if short is None or left is None:
        return Buying(found, lead, packs, None, None)
    has = shelf.usable + int(_steps(stock.ordered, item.step).sum())
    quantity = np.array([has + (found.order.quantity if found.order else 0)])
    lasts_d = (found.order_by_d or 0.0) + lead.mean_d + habit.review_d
    until_then = np.diff(demand.cdf_at(np.array([lasts_d]))[0], prepend=0.0)
    wrong = expected_cost(until_then, quantity, cost_short=short, cost_left=left)
    return Buying(found, lead, packs, service_level(short, left), float(wrong[0]))


def _steps(amount: Floats | float, step: float) -> Ints:
    """Amounts in whole steps; what is less than a step is not counted on."""
    return np.floor(np.asarray(amount) / step + 1e-9).astype(np.int64)


def _packs(steps: int, pack: float, step: float) -> int:
    """Packs that bring so many steps; of a pack larger than a step its whole steps count, as they were ordered by."""
    in_a_pack = int(_steps(pack, step))
    return steps // in_a_pack if in_a_pack else int(np.ceil(steps * step / pack - 1e-9))


def _late_cost(columns: PlantColumns, item: ItemDemand) -> float | None:
    """Of one change without the item; of oil nothing is said, since a change does not wait for all of it."""
    if item.is_fluid or not item.users:
        return None
    told = columns.systems.late_cost[columns.positions.system[list(item.users)]]
    told = told[~np.isnan(told) & (told > 0.0)]
    return float(told.mean()) if len(told) else None


def _left_cost(stock: Stock, item: ItemDemand, habit: OrderingHabit) -> float | None:
    """Of a step that lies on the shelf until the next ordering."""
    if stock.price is None or stock.price <= 0.0:
        return None
    lies_d = max(habit.review_d, 1.0)
    return stock.price * item.step * HOLDING_SHARE_PER_YEAR * lies_d / _YEAR_D
