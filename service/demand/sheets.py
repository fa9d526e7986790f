"""Demand and buying lists as files: the unit of each row in its own column."""

from api_schemas.demand import BuyingList, DemandList
from service.exports.sheet import Sheet, moments, numbers, texts

_SPREAD = ("mean", "p10", "p50", "p90", "p99")

_DEMAND_COLUMNS = (
    *texts("item", "kind", "description", "unit"),
    *moments("starts_at", "ends_at"),
    *numbers(*(f"{name} [unit]" for name in _SPREAD), *(f"by_end_{name} [unit]" for name in _SPREAD), "run_out [1]"),
)
_BUYING_COLUMNS = (
    *texts("item", "kind", "description", "unit"),
    *moments("order_by"),
    *numbers("quantity [unit]", "packs [1]", "price", "cost"),
    *texts("currency"),
    *numbers("lead_time [d]", "on_hand [unit]", "on_order [unit]", "reorder_level [unit]"),
    *numbers("service [1]", "fill_rate [1]", "cost_if_wrong"),
    *texts("reason"),
)


def demand_sheet(found: DemandList) -> Sheet:
    """One row for each item and period."""
    return Sheet(
        "demand",
        _DEMAND_COLUMNS,
        [
            (
                *(item.item, item.kind, item.description, item.unit, period.starts_at, period.ends_at),
                *(getattr(spread, name) for spread in (period.within, period.by_end) for name in _SPREAD),
                period.run_out,
            )
            for item in found.items
            for period in item.periods
        ],
    )


def buying_sheet(found: BuyingList) -> Sheet:
    """One row for each line."""
    return Sheet(
        "buying",
        _BUYING_COLUMNS,
        [
            (
                *(line.item, line.kind, line.description, line.unit, line.order_by),
                *(line.quantity, line.packs, line.price, line.cost, line.currency),
                *(line.lead_time_d, line.on_hand, line.on_order, line.reorder_level),
                *(line.service, line.fill_rate, line.cost_if_wrong, line.reason),
            )
            for line in found.items
        ],
    )
