"""Demand and buying, computed from what is known at a moment; nothing is kept by asking."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import sqlalchemy as sa

from scheduler.planning.buying import Buying, OrderingHabit, Stock, plan_buying
from scheduler.planning.demand import ItemDemand
from scheduler.planning.pipeline import plan
from scheduler.statistics.arrival import learn_lateness
from service.demand.periods import USUAL_AHEAD, PeriodKind, Periods, periods_from, planners_zone
from service.demand.store import Held, Store, StoreItem, load_store
from service.due.planning_pass import load_known
from service.problems import InTheWay

USUAL_LEVEL = 0.95
"""Service level where nobody says; ours."""

USUAL_REVIEW_D = 30.0
"""A store orders an item at most once a month where nobody says; ours."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked; `lead_time_d` None: each item's own. What `is_past` is learned from what was known then."""

    as_of: datetime
    is_past: bool = False
    period: PeriodKind = PeriodKind.MONTH
    ahead: int = USUAL_AHEAD[PeriodKind.MONTH]
    level: float = USUAL_LEVEL
    lead_time_d: float | None = None
    review_d: float = USUAL_REVIEW_D


@dataclass(frozen=True, slots=True)
class Looked:
    """One item with its demand, what the store has of it and what to buy.

    `stands_in`: what is on hand of alternates that nothing else asks for; it counts as the item's own.
    """

    demand: ItemDemand
    store: StoreItem
    buying: Buying
    stands_in: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Computed:
    question: Question
    periods: Periods
    items: tuple[Looked, ...]


def compute(connection: sa.Connection, question: Question, only: str | None = None) -> Computed:
    """Everything at once, or `only` one item. Raises InTheWay where no plant is known."""
    zone = planners_zone(connection)
    if zone is None:
        raise InTheWay("no plant is known; import a plant folder first")
    periods = periods_from(question.as_of, zone, question.period, question.ahead)
    known = load_known(connection, question.as_of, learns=question.is_past)
    known = replace(known, demand_edge_d=periods.edge_d())
    demands = plan(known).demand
    store = load_store(connection, question.as_of, known.columns.alternates)
    lateness = learn_lateness(np.array(store.late_d))
    habit = OrderingHabit(question.level, question.review_d)
    spare = _Spare(store, demands)
    items = []
    for demand in demands:
        item = (store.fluids if demand.is_fluid else store.parts)[demand.code]
        stands_in = spare.of(demand)
        if only not in (None, demand.code):
            continue
        stock = _stock(item, spare.held(stands_in), question.lead_time_d)
        buying = plan_buying(known.columns, demand, periods.edge_d(), stock, lateness, habit)
        items.append(Looked(demand, item, buying, stands_in))
    return Computed(question, periods, tuple(items))


class _Spare:
    """Alternates' stock, each piece for one item only: the first, by code, that it may stand in for."""

    def __init__(self, store: Store, demands: tuple[ItemDemand, ...]) -> None:
        self._parts = store.parts
        self._asked_for = {demand.code for demand in demands if not demand.is_fluid}
        self._given: set[str] = set()

    def of(self, demand: ItemDemand) -> dict[str, float]:
        """What may stand in for an item that nothing else asks for, with how much of it has not expired."""
        if demand.is_fluid:
            return {}
        found = {}
        for code in self._parts[demand.code].alternates:
            usable = sum(held.quantity for held in self._parts[code].held if held.expires_d > 0.0)
            if code not in self._asked_for and code not in self._given and usable > 0.0:
                self._given.add(code)
                found[code] = usable
        return found

    def held(self, stands_in: Mapping[str, float]) -> list[Held]:
        return [held for code in stands_in for held in self._parts[code].held]


def _stock(item: StoreItem, spare: list[Held], lead_time_d: float | None) -> Stock:
    held = [*item.held, *spare]
    return Stock(
        lot=np.array([each.quantity for each in held]),
        lot_expires_d=np.array([each.expires_d for each in held]),
        ordered=np.array([each.quantity for each in item.expected]),
        ordered_for_d=np.array([each.expected_d for each in item.expected]),
        pack=item.pack,
        lead_time_d=item.lead_time_d if lead_time_d is None else lead_time_d,
        shelf_life_d=item.shelf_life_d,
        price=None if item.price is None else float(item.price),
    )
