"""`elementdue oil`: the oil of each system, its level and how much is used a week."""

from typing import Annotated

import typer
from rich.text import Text

from api_schemas.oil import SystemOil
from service.cli.due_questions import write_json
from service.cli.due_table import bare_table, wide_console
from service.cli.opening import READING, DatabaseOption, open_database
from service.clock.now import now_utc
from service.oil.answering import oil_of_systems


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("oil")(oil)


def oil(
    system: Annotated[str | None, typer.Argument(help="Only this system.")] = None,
    database: DatabaseOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="As GET /v1/oil answers.")] = False,
) -> None:
    """Levels that count, and the loss by top-ups with its 80 % band."""
    opened = open_database(database)
    with opened.reading() as connection:
        found = oil_of_systems(connection, READING, now_utc(), system)
    if as_json:
        write_json(found)
        return
    table = bare_table()
    for name in ("system", "fluid", "last look", "missing", "used a week (80 %)", "risen"):
        table.add_column(name)
    for each in found.items:
        table.add_row(*(Text(cell) for cell in _cells(each)))
    wide_console().print(table)


def _cells(each: SystemOil) -> list[str]:
    look = "never" if each.last_look is None else f"{each.last_look.at:%Y-%m-%d}"
    if each.last_look is not None and not each.last_look.counts:
        look += f": does not count, {each.last_look.why_not}"
    missing = "not known" if each.missing is None else f"{each.missing.value:g} L"
    if each.poured_since.value:
        missing += f" ({each.poured_since.value:g} L poured since)"
    return [each.system, each.fluid, look, missing, *_loss(each)]


def _loss(each: SystemOil) -> tuple[str, str]:
    if each.loss is None or each.loss.rate is None:
        return "too few top-ups", ""
    rate = each.loss.rate
    told = f"{rate.p50:.1f} L ({rate.p10:.1f} to {rate.p90:.1f})"
    risen = f"{100 * each.loss.risen:.0f} %"
    if each.loss.rise is not None:
        risen += f" since {each.loss.rise.since:%Y-%m-%d}, before {each.loss.rise.before.p50:.1f} L"
    return told, risen
