"""Demand and buying on the wire, a page at a time, each computed anew for the moment that its cursor holds."""

from collections.abc import Callable, Iterable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import sqlalchemy as sa

from api_schemas.demand import (
    Asked,
    BuyingLine,
    BuyingList,
    Chance,
    DemandItem,
    DemandList,
    DemandPeriod,
    Spread,
    Unit,
)
from scheduler.statistics.count_distribution import CountTable
from service.cursors import write_cursor
from service.demand.computing import Computed, Looked, Question, compute
from service.demand.store import OIL
from service.demand.wording import NEGLECTED, reason
from service.plant_folder.money import minor_digits

LONGEST_PAGE = 1000
EVERYTHING = 10**9
"""A page so long that there is one."""
_NEVER_D = 1e9
Place = tuple[Any, ...]
"""Where an item stands in its list; the last part is its code, so that no two share one."""


def demand_page(
    connection: sa.Connection,
    question: Question,
    *,
    after: Place | None = None,
    limit: int = LONGEST_PAGE,
    at_least: tuple[int, ...] = (),
    only: str | None = None,
) -> DemandList:
    """Items in order of kinds and codes; `only` one of them, `at_least` the counts whose probability is asked."""
    found = compute(connection, question, only)
    items = _page(found.items, _place, after)
    return DemandList(
        asked=_asked(found),
        neglected=list(NEGLECTED),
        items=[_item(found, item, at_least) for item in items[:limit]],
        next=(
            write_cursor("demand", question.as_of, items[limit - 1].store.kind, items[limit - 1].store.code)
            if len(items) > limit
            else None
        ),
    )


def buying_page(
    connection: sa.Connection, question: Question, *, after: Place | None = None, limit: int = LONGEST_PAGE
) -> BuyingList:
    """What has to be ordered, the most urgent first."""
    found = compute(connection, question)
    lines = _page([item for item in found.items if item.buying.cover.order is not None], _urgency, None)
    every = [(_urgency(item), _line(found, item)) for item in lines]
    cost: dict[str, Decimal] = {}
    for _, line in every:
        if line.cost is not None:
            cost[line.currency or ""] = cost.get(line.currency or "", Decimal(0)) + line.cost
    rest = [(urgency, line) for urgency, line in every if after is None or urgency > after]
    return BuyingList(
        asked=_asked(found),
        neglected=list(NEGLECTED),
        cost=cost,
        items=[line for _, line in rest[:limit]],
        next=write_cursor("buying", question.as_of, *rest[limit - 1][0]) if len(rest) > limit else None,
    )


def _page(items: Iterable[Looked], place: Callable[[Looked], Place], after: Place | None) -> list[Looked]:
    return sorted((item for item in items if after is None or place(item) > after), key=place)


def _place(item: Looked) -> Place:
    return place_in_demand(item.store.kind, item.store.code)


def place_in_demand(kind: str, code: str) -> Place:
    """Where an item stands: oil last."""
    return kind == OIL, kind, code


def _urgency(item: Looked) -> tuple[float, float, str]:
    cover = item.buying.cover
    order_by_d = _NEVER_D if cover.order_by_d is None else cover.order_by_d
    return float(order_by_d), float(cover.cycle_service), item.store.code


def _asked(found: Computed) -> Asked:
    question = found.question
    return Asked(
        as_of=question.as_of.astimezone(found.periods.zone),
        period=question.period.value,
        periods=question.ahead,
        time_zone=found.periods.zone.key,
        level=question.level,
        lead_time_d=question.lead_time_d,
        review_d=question.review_d,
    )


def _item(found: Computed, item: Looked, at_least: tuple[int, ...]) -> DemandItem:
    cover, demand, edges = item.buying.cover, item.demand.demand, found.periods.edge_at
    within, by_end = (_spreads(table, item.demand.step) for table in (demand.within, demand.by_end))
    chances = [_chances(item, count) for count in at_least]
    runs_out = [at for at, share in enumerate(cover.run_out) if share > 1.0 - found.question.level]
    return DemandItem(
        item=item.store.code,
        kind=item.store.kind,
        description=item.store.description,
        unit=_unit(item),
        positions=len(item.demand.users),
        on_hand=_on_hand(item),
        reserved=item.store.reserved,
        on_order=_on_order(item),
        runs_out_at=edges[runs_out[0] + 1] if runs_out else None,
        periods=[
            DemandPeriod(
                starts_at=edges[at],
                ends_at=edges[at + 1],
                within=within[at],
                by_end=by_end[at],
                run_out=_share(cover.run_out[at]),
                chances=[each[at] for each in chances],
            )
            for at in range(len(edges) - 1)
        ],
    )


def _line(found: Computed, item: Looked) -> BuyingLine:
    cover, step = item.buying.cover, item.demand.step
    packs = item.buying.packs
    quantity = packs * item.store.pack
    order_by = None if cover.order_by_d is None else found.periods.edge_at[0] + timedelta(days=cover.order_by_d)
    return BuyingLine(
        item=item.store.code,
        kind=item.store.kind,
        description=item.store.description,
        unit=_unit(item),
        order_by=order_by,
        quantity=quantity,
        packs=packs,
        pack=item.store.pack,
        price=item.store.price,
        cost=None if item.store.price is None else _money(float(item.store.price) * quantity, item.store.currency),
        currency=item.store.currency,
        lead_time_d=round(item.buying.lead.mean_d, 1),
        lead_time_is_assumed=item.buying.lead.is_assumed,
        on_hand=_on_hand(item),
        on_order=_on_order(item),
        reorder_level=cover.reorder_level * step,
        service=_share(cover.cycle_service),
        fill_rate=_share(cover.fill_rate),
        expected_short=round(float(cover.expected_short[-1]) * step, 3),
        level_by_cost=None if item.buying.level_by_cost is None else _share(item.buying.level_by_cost),
        cost_if_wrong=_money(item.buying.cost_if_wrong, item.store.currency),
        alternates=list(item.stands_in),
        reason=reason(found, item, order_by),
    )


def _spreads(table: CountTable, step: float) -> list[Spread]:
    mean = table.mean() * step
    points = [table.quantile(level) * step for level in (0.1, 0.5, 0.9, 0.99)]
    return [
        Spread(
            mean=round(float(mean[at]), 4),
            p10=float(points[0][at]),
            p50=float(points[1][at]),
            p90=float(points[2][at]),
            p99=float(points[3][at]),
        )
        for at in range(len(mean))
    ]


def _chances(item: Looked, count: int) -> list[Chance]:
    steps = max(int(-(-count // item.demand.step)), 0)
    demand = item.demand.demand
    return [
        Chance(at_least=count, within=_share(within), by_end=_share(by_end))
        for within, by_end in zip(demand.within.at_least(steps), demand.by_end.at_least(steps), strict=True)
    ]


def _unit(item: Looked) -> Unit:
    return "L" if item.demand.is_fluid else "pieces"


def _on_hand(item: Looked) -> float:
    return round(sum(held.quantity for held in item.store.held if held.expires_d > 0.0), 4)


def _on_order(item: Looked) -> float:
    return sum(line.quantity for line in item.store.expected)


def _share(value: float) -> float:
    return round(min(max(float(value), 0.0), 1.0), 6)


def _money(amount: float | None, currency: str | None) -> Decimal | None:
    if amount is None:
        return None
    return Decimal(str(amount)).quantize(Decimal(1).scaleb(-minor_digits(currency or "")))
