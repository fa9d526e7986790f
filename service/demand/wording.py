"""What a buying line says, in numbers, and what the numbers leave out."""

from datetime import datetime

import numpy as np

from scheduler.statistics.stock_cover import ordering_level
from service.demand.computing import Computed, Looked

NEGLECTED = (
    "All positions share the plant's load, in three cases; that all lives of a type turn out longer or shorter than "
    "thought is not shared between its positions.",
    "A change that falls into a period counts as lying anywhere in it, and the lives after it run at the average "
    "rate of the year ahead: standstills count on their days for the first change only.",
    "The oil of a system that never had a top-up recorded, or fewer than two oil changes, is left out.",
    "Of stock on two days only each day's own distribution is exact; lots that expire join them by an approximation.",
)


def reason(found: Computed, item: Looked, order_by: datetime | None) -> str:
    """Why to order that much by then."""
    cover, level = item.buying.cover, found.question.level
    ordered_at = ordering_level(level)
    lead_d = f"(lead time {item.buying.lead.mean_d:.0f} d)"
    if cover.cycle_service < ordered_at:
        served = f"{100 * cover.cycle_service:.0f} % probability; {100 * level:g} % is asked."
        lasts = f"That lasts until an order placed now comes {lead_d} with {served}"
    else:
        comes = "now" if cover.order_by_d == 0.0 or order_by is None else f"by {order_by:%Y-%m-%d}"
        lasts = f"That lasts with {100 * ordered_at:g} % probability until an order placed {comes} comes {lead_d}."
    words = [_has(item), lasts, _used_in_lead_time(found, item)]
    if cover.order is not None and cover.order.is_cut:
        words.append("Less than the level asks for is ordered: more would probably expire before it is used.")
    if cover.order is not None and cover.order.may_expire:
        words.append("Some of the pack will probably expire before it is used.")
    if item.buying.lead.is_assumed:
        words.append("The catalogue gives no lead time; this one is assumed.")
    return " ".join(words)


def _has(item: Looked) -> str:
    on_hand = sum(held.quantity for held in item.store.held if held.expires_d > 0.0)
    expired = sum(held.quantity for held in item.store.held if held.expires_d <= 0.0)
    words = f"On hand {_amount(item, on_hand)}"
    if expired:
        words += f" ({expired:g} more have expired)"
    words += "".join(
        f", {_amount(item, quantity)} of {code} that may stand in" for code, quantity in item.stands_in.items()
    )
    coming = sum(line.quantity for line in item.store.expected)
    return f"{words}, {coming:g} on order." if coming else f"{words}, nothing on order."


def _used_in_lead_time(found: Computed, item: Looked) -> str:
    table, edge_d = item.demand.demand.by_end, found.periods.edge_d()
    means = np.concatenate([[0.0], table.mean()]) * item.demand.step
    lead_d = item.buying.lead.mean_d
    used = float(f"{np.interp(lead_d, edge_d, means):.2g}")
    share = float(np.interp(lead_d, edge_d, np.concatenate([[0.0], table.at_least(1)])))
    return f"Use in a lead time from now: {_amount(item, used)} on average, any at all with {100 * share:.0f} %."


def _amount(item: Looked, amount: float) -> str:
    unit = "L" if item.demand.is_fluid else "piece" if amount == 1.0 else "pieces"
    return f"{amount:.10g} {unit}"
