"""What a replay found, as tables on a bare terminal."""

from datetime import datetime

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api_schemas.replays import Reliability, ReplayResult, RuleCost, TypeCosts, TypeOutcome
from service.cli.due_table import bare_table, wide_console
from service.plant_store.time import from_day

_MADE_BY = {"pressure": "ΔP", "life": "lives", "all": "all"}


def print_replay(found: ReplayResult, first: datetime, last_day: float, steps: int) -> None:
    """Forecasts, costs and diagnoses, each with what it means."""
    console = wide_console()
    span = f"{first:%Y-%m-%d} to {from_day(last_day):%Y-%m-%d}"
    console.print(Text(f"{steps} steps from {span}: {found.positions} positions, {found.lives} lives held against"))
    console.print()
    _print_outcomes(console, found)
    _print_costs(console, found)
    _print_diagnoses(console, found)
    for note in found.notes:
        console.print(Text(f"- {note}"))


def _print_outcomes(console: Console, found: ReplayResult) -> None:
    if not found.types:
        console.print(Text("no life that ended was forecast at any of these steps"))
        return
    table = _table(("type", "by"))
    for name in ("at limit", "early", "in 80 % band", "mean PIT"):
        table.add_column(name, no_wrap=True, justify="right")
    for age in found.types[0].at_ages:
        table.add_column(f"at {age.at_share:.0%}", no_wrap=True, justify="right")
    for each in found.types:
        table.add_row(*_outcome_cells(each))
    for year in found.calibration:
        name = f"{year.starts_at:%Y-%m-%d}"
        blanks = (Text("") for _ in found.types[0].at_ages)
        table.add_row(Text(f"from {name}", style="bold"), Text("all"), *_reliability(year.reliability), *blanks)
    console.print(table)
    console.print(Text("at …: median error of the hours left in shares of the life, at that share of it; + is late"))
    console.print()


def _print_costs(console: Console, found: ReplayResult) -> None:
    if not found.costs:
        return
    table = _table(("type", "per 1,000 h in"))
    for name in ("lives", "as it was", "late", "fixed interval", "late", "due dates", "late", "best fixed", "late"):
        table.add_column(name, no_wrap=True, justify="right")
    for each in found.costs:
        table.add_row(*_cost_cells(each))
    console.print(table)
    console.print(Text("best fixed: the one interval of each type that would have cost least, known only afterwards"))
    console.print()


def _print_diagnoses(console: Console, found: ReplayResult) -> None:
    if not found.diagnoses:
        return
    table = _table(("diagnosis",))
    for name in ("raised", "cleared", "stood, days", "change within 60 d", "failure within 60 d", "by chance"):
        table.add_column(name, no_wrap=True, justify="right")
    for each in found.diagnoses:
        stood = "-" if each.stood_days is None else f"{each.stood_days:.0f}"
        counts = (each.raised, each.cleared, stood, each.changed_within, each.failed_within)
        table.add_row(Text(each.code), *(Text(str(count)) for count in counts), Text(f"{each.by_chance:.2f}"))
    console.print(table)
    console.print()


def _table(names: tuple[str, ...]) -> Table:
    table = bare_table()
    for name in names:
        table.add_column(name, no_wrap=True)
    return table


def _outcome_cells(each: TypeOutcome) -> list[Text]:
    ages = [
        Text("-")
        if age.absolute_error_share is None or age.error_share is None
        else Text(f"{age.absolute_error_share:.0%} ({age.error_share:+.0%}, {age.forecasts})")
        for age in each.at_ages
    ]
    return [
        Text(each.part_number or "all", style="bold"),
        Text(_MADE_BY[each.by]),
        *_reliability(each.reliability),
        *ages,
    ]


def _reliability(found: Reliability) -> list[Text]:
    return [
        *(Text(str(count)) for count in (found.lives_at_limit, found.lives_cut_short)),
        Text("-" if found.band_share is None else f"{found.band_share:.0%}"),
        Text("-" if found.mean_pit is None else f"{found.mean_pit:.2f}"),
    ]


def _cost_cells(each: TypeCosts) -> list[Text]:
    rules: tuple[RuleCost, ...] = (each.actual, each.fixed, each.due_dates, each.best_fixed)
    cells = [
        cell
        for rule in rules
        for cell in (
            "-" if rule.per_1000_hours is None else f"{rule.per_1000_hours:,.2f}",
            f"{rule.late} of {rule.changes}",
        )
    ]
    return [
        Text(each.part_number or "all", style="bold"),
        Text(each.currency or "planned changes"),
        Text(str(each.lives)),
        *(Text(cell) for cell in cells),
    ]
