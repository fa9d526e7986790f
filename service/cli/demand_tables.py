"""Demand, buying and what was learned as tables on a bare terminal."""

from collections.abc import Callable
from typing import TypeVar

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from api_schemas.demand import Asked, BuyingLine, BuyingList, DemandItem, DemandLearned, DemandList, DemandPeriod
from service.cli.due_questions import write_json
from service.cli.due_table import bare_table, wide_console

Found = TypeVar("Found", bound=BaseModel)

_NEAR = 3
"""Periods shown one by one; the rest is in the last column and in --json."""


def tell(found: Found, print_it: Callable[[Console, Found], None], *, as_json: bool) -> None:
    """As JSON, or as a table, on stdout."""
    if as_json:
        write_json(found)
    else:
        print_it(wide_console(), found)


def print_demand(console: Console, found: DemandList) -> None:
    """Each item's use in the next periods and to the end, and when its stock runs out."""
    if not found.items:
        console.print(Text("nothing is used: no position in service is known to hold anything"))
        return
    table = bare_table()
    table.add_column("item", no_wrap=True)
    table.add_column("kind", no_wrap=True)
    for period in found.items[0].periods[:_NEAR]:
        table.add_column(_heading(period, found.asked), no_wrap=True, justify="right")
    last = found.items[0].periods[-1].ends_at
    for name in (f"all to {last:%d %b %y}", "on hand", "to come"):
        table.add_column(name, no_wrap=True, justify="right")
    table.add_column("runs out", no_wrap=True)
    for item in found.items:
        table.add_row(*_demand_cells(item))
    console.print(table)
    console.print(Text("each use: mean (10 % point – 90 % point); runs out: first end of a period by which that is"))
    console.print(Text(f"likelier than the level accepts. {_asked(found.asked)}"))


def print_buying(console: Console, found: BuyingList) -> None:
    """What to order, with its reason."""
    if not found.items:
        console.print(Text(f"nothing has to be ordered. {_asked(found.asked)}"))
        return
    table = bare_table()
    for name in ("order by", "item"):
        table.add_column(name, no_wrap=True)
    for name in ("quantity", "cost"):
        table.add_column(name, no_wrap=True, justify="right")
    table.add_column("why", ratio=1)
    for line in found.items:
        table.add_row(*_buying_cells(line, found.asked))
    console.print(table)
    costs = ", ".join(f"{cost} {currency}".strip() for currency, cost in found.cost.items())
    in_all = f"in all {costs}, as far as prices are known" if costs else "no price is known of these"
    console.print(Text(f"{in_all}. {_asked(found.asked)}"))


def print_learned(console: Console, found: DemandLearned) -> None:
    """How kept forecasts fared, item by item."""
    if not found.items:
        console.print(Text("no kept forecast's period has passed yet; the first pass of each month keeps one"))
        return
    table = bare_table()
    table.add_column("item", no_wrap=True)
    for name in ("forecasts", "forecast", "used", "within 50 %", "within 90 %", "within 99 %", "in 80 % band"):
        table.add_column(name, justify="right", no_wrap=True)
    for item in [*([found.overall] if found.overall else []), *found.items]:
        shares = (item.within_p50, item.within_p90, item.within_p99, item.in_band)
        amounts = (f"{amount:.1f} {'L' if item.unit == 'L' else ''}" for amount in (item.forecast, item.used))
        table.add_row(item.item, str(item.forecasts), *amounts, *(f"{share:.0%}" for share in shares))
    console.print(table)


def _demand_cells(item: DemandItem) -> tuple[Text, ...]:
    near = [_use(period) for period in item.periods[:_NEAR]]
    last = item.periods[-1].by_end
    unit = " L" if item.unit == "L" else ""
    return (
        Text(item.item, style="bold"),
        Text(item.kind.replace("_", " ")),
        *(Text(words) for words in near),
        Text(f"{last.mean:.3g} ({last.p10:g}–{last.p90:g})"),
        Text(f"{item.on_hand:g}{unit}"),
        Text(f"{item.on_order:g}{unit}"),
        Text("-" if item.runs_out_at is None else f"{item.runs_out_at:%Y-%m-%d}"),
    )


def _heading(period: DemandPeriod, asked: Asked) -> str:
    """The month, or the day on which the week begins; of the period that runs, what is left."""
    is_rest, is_month = period.starts_at == asked.as_of, asked.period == "month"
    if is_rest:
        return f"rest of {period.starts_at:%b}" if is_month else "rest of week"
    return f"{period.starts_at:%b}" if is_month else f"from {period.starts_at:%d %b}"


def _use(period: DemandPeriod) -> str:
    return f"{period.within.mean:.2g} ({period.within.p10:g}–{period.within.p90:g})"


def _buying_cells(line: BuyingLine, asked: Asked) -> tuple[Text, ...]:
    is_now = line.order_by is not None and line.order_by <= asked.as_of
    unit = " L" if line.unit == "L" else ""
    cost = "-" if line.cost is None else f"{line.cost} {line.currency or ''}".strip()
    return (
        Text("now" if is_now else f"{line.order_by:%Y-%m-%d}", style="red" if is_now else ""),
        Text(line.item, style="bold"),
        Text(f"{line.quantity:g}{unit}"),
        Text(cost),
        Text(line.reason),
    )


def _asked(asked: Asked) -> str:
    return f"As of {asked.as_of:%Y-%m-%d %H:%M %Z}, {asked.periods} {asked.period}s, level {asked.level:.0%}."
