"""`elementdue lives`: how long elements last, by type and by position."""

from typing import Annotated

import typer
from rich.text import Text

from api_schemas.lives import Early, LifeItem, LifeList, Median
from service.cli.due_questions import write_json
from service.cli.due_table import bare_table, wide_console
from service.cli.opening import DatabaseOption, local_caller, open_database
from service.clock.now import now_utc
from service.lives.answering import Only, lives_page

_SHORT_FROM = 0.1
"""Chances below it are marked: as likely as an end outside one side of an 80 % band."""


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("lives")(lives)


def lives(
    plant: Annotated[str | None, typer.Option(metavar="CODE", help="Only this plant.")] = None,
    system: Annotated[str | None, typer.Option(metavar="CODE", help="Only this system.")] = None,
    part: Annotated[str | None, typer.Option(metavar="PART", help="Only this element type.")] = None,
    position: Annotated[str | None, typer.Option(metavar="CODE", help="Only this position.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As GET /v1/lives answers.")] = False,
    database: DatabaseOption = None,
) -> None:
    """How many lives, how they ended, how long they last, what is short, and what early changes threw away."""
    opened = open_database(database)
    with opened.reading() as connection:
        found = lives_page(connection, local_caller(), now_utc(), Only(plant, system, part, position))
    if as_json:
        write_json(found)
    else:
        _print(found)


def _print(found: LifeList) -> None:
    console = wide_console()
    if not found.items:
        console.print(Text("no life with known hours yet"))
        return
    table = bare_table()
    table.add_column("type / position", no_wrap=True)
    for name in ("lives", "to limit", "running", "median h (80 %)", "model", "of type (80 %)", "chance"):
        table.add_column(name, no_wrap=True, justify="right")
    table.add_column("ended by", ratio=1)
    table.add_column("early changes threw away", no_wrap=True)
    for item in found.items:
        table.add_row(*_cells(item))
    console.print(table)
    console.print(
        Text("of type: the position's lives over its type's, and the chance that they are no shorter; ! below")
    )
    console.print(
        Text(f"{_SHORT_FROM:.0%}. Changes before the limit and what still runs count by how long they lasted.")
    )


def _cells(item: LifeItem) -> tuple[Text, ...]:
    short = item.shorter
    is_short = short is not None and short.chance < _SHORT_FROM
    return (
        Text(item.part_number, style="bold") if item.position is None else Text(f"  {item.position}"),
        *(Text(str(count)) for count in (item.lives, item.at_limit, item.running)),
        Text(_median(item.median)),
        Text(_hours(item.median.model)),
        Text("" if short is None else f"{short.ratio:.2f} ({short.low:.2f} – {short.high:.2f})"),
        Text(
            "" if short is None else f"{'! ' if is_short else ''}{short.chance:.0%}", style="red" if is_short else ""
        ),
        Text(", ".join(f"{count} {reason}" for reason, count in item.reasons.items())),
        Text(_thrown_away(item.early)),
    )


def _median(median: Median) -> str:
    if median.hours is None:
        return "-"
    return f"{_hours(median.hours)} ({_hours(median.low)} – {'?' if median.high is None else _hours(median.high)})"


def _hours(hours: float | None) -> str:
    return "-" if hours is None else f"{hours:,.0f}"


def _thrown_away(early: Early) -> str:
    if early.thrown_away is None:
        return ""
    worth = ", ".join(f"{each.amount:,.0f} {each.currency}" for each in early.cost)
    return f"{early.thrown_away:.0%} of {early.changes} lives" + (f", {worth}" if worth else "")
