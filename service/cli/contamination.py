"""`elementdue contamination`: how clean the oil of a system is, what cleans it, and what the cause of dirt may be."""

from collections.abc import Iterator
from typing import Annotated

import typer
from rich.text import Text

from api_schemas.contamination import CauseTold, FilterShare, OilBalance, SystemContamination, WaterTold
from service.cli.due_questions import write_json
from service.cli.due_table import bare_table, wide_console
from service.cli.opening import DatabaseOption, open_database
from service.clock.now import now_utc
from service.contamination.answering import contamination_of
from service.due.contamination_wording import CAUSE_WORDS, what_is_missing

_NEWEST = 6


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("contamination")(contamination)


def contamination(
    system: Annotated[str, typer.Argument(help="The system's code.")],
    database: DatabaseOption = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="As GET /v1/systems/{system}/contamination answers.")
    ] = False,
) -> None:
    """Target and verdict, samples, the balance of the filters, the likeliest causes, clean-up and water."""
    opened = open_database(database)
    with opened.reading() as connection:
        found = contamination_of(connection, system, now_utc())
    if as_json:
        write_json(found)
        return
    console = wide_console()
    for line in _lines(found):
        console.print(Text(line))
    if found.balance is not None:
        table = bare_table()
        for name in ("filter", "place", "flow", "β", "cleans", "share", "collected (80 %)", "capacity"):
            table.add_column(name)
        for each in found.balance.filters:
            table.add_row(*(Text(cell) for cell in _cells(each)))
        console.print(table)


def _lines(found: SystemContamination) -> Iterator[str]:
    target = "no target" if found.target is None else f"target {found.target.code} ({found.target.source})"
    sure = "" if found.probability is None else f", limit passed with {_percent(found.probability)}"
    yield f"{found.system}: {target}, {found.verdict.replace('_', ' ')}{sure}"
    newest = [f"{each.at:%Y-%m-%d} {each.code}" for each in found.samples[:_NEWEST]]
    yield f"samples, newest first: {'; '.join(newest) or 'none'}"
    for trend in found.trends:
        a_year = "" if trend.times_a_year is None else f", × {trend.times_a_year:g} a year"
        rising = "" if trend.rising is None else f" (rising {_percent(trend.rising)})"
        band = f"{trend.level_p10.value:g} to {trend.level_p90.value:g}"
        yield f"≥{trend.size_um_c} µm(c): {trend.level.value:g} per mL ({band}){a_year}{rising}"
    if found.change is not None:
        change = found.change
        yield (
            f"the newest {change.samples} against those before {change.since:%Y-%m-%d}: × {change.times:g} "
            f"({change.times_p10:g} to {change.times_p90:g}), risen {_percent(change.risen)}"
        )
    if found.causes is not None:
        yield _cause(found.causes)
    if found.balance is not None:
        yield _balance(found.balance)
    if found.clean_up is not None:
        yield found.clean_up.says
    if found.water is not None:
        yield _water(found.water)


def _cause(causes: CauseTold) -> str:
    likely = sorted(causes.probability.items(), key=lambda each: -each[1])
    told = ", ".join(f"{CAUSE_WORDS[name]} {_percent(chance)}" for name, chance in likely)
    missing = f"; not known: {what_is_missing(causes.missing)}" if causes.missing else ""
    return f"cause, by {causes.position}: {told}{missing}"


def _balance(balance: OilBalance) -> str:
    parts = [f"{balance.cleaned.value:g} L/min are cleaned at {balance.size_um_c} µm(c)"]
    if balance.time_constant_hours is not None:
        parts.append(f"time constant {balance.time_constant_hours:g} h")
    if balance.steady is not None:
        parts.append(f"tends to {balance.steady.value:g} per mL")
    if balance.ingression is not None:
        came = balance.ingression
        parts.append(f"{came.p50:.2g} particles a minute come in ({came.p10:.2g} to {came.p90:.2g})")
    return "balance: " + ", ".join(parts)


def _water(water: WaterTold) -> str:
    rise = "" if water.times_a_year is None else f", × {water.times_a_year:g} a year"
    return (
        f"water: {water.level.value:g} % of saturation on {water.at:%Y-%m-%d} (limit from {water.limit_from}){rise}"
    )


def _cells(each: FilterShare) -> list[str]:
    collected = each.collected
    return [
        *(each.position, each.place),
        "not known" if each.flow is None else f"{each.flow.value:g} L/min",
        "not known" if each.beta is None else f"{each.beta:g}",
        "not known" if each.cleaned is None else f"{each.cleaned.value:g} L/min",
        "" if each.share is None else _percent(each.share),
        ""
        if collected is None
        else f"{collected.p50.value:g} g ({collected.p10.value:g} to {collected.p90.value:g})",
        _capacity(each),
    ]


def _capacity(each: FilterShare) -> str:
    if each.capacity is None:
        return ""
    doubt = ": flow, β or counts are not as told" if each.more_than_it_holds else ""
    return f"{each.capacity.value:g} g{doubt}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"
