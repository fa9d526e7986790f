"""`elementdue calibration`: whether the ΔP forecasts were right, by element type."""

from typing import Annotated

import typer
from rich.text import Text

from api_schemas.calibration import CalibrationList, TypeCalibration
from service.calibration.listing import calibration_of_types
from service.cli.due_questions import write_json
from service.cli.due_table import bare_table, wide_console
from service.cli.opening import DatabaseOption, open_database


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("calibration")(calibration)


def calibration(
    database: DatabaseOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="As GET /v1/calibration answers.")] = False,
) -> None:
    """Whether the forecasts of finished lives were right, by element type, from the last pass of the whole."""
    opened = open_database(database)
    with opened.reading() as connection:
        found = calibration_of_types(connection)
        while found.next is not None:
            more = calibration_of_types(connection, cursor=found.next)
            found = CalibrationList(items=[*found.items, *more.items], next=more.next)
    if as_json:
        write_json(found)
    else:
        _print(found)


def _print(found: CalibrationList) -> None:
    console = wide_console()
    if not found.items:
        console.print(Text("no finished life with ΔP readings could be forecast yet"))
        return
    table = bare_table()
    table.add_column("type", no_wrap=True)
    for name in ("to limit", "early", "forecasts", "mean PIT", "in 80 % band", "a", "b"):
        table.add_column(name, no_wrap=True, justify="right")
    table.add_column("what is done", ratio=1)
    for item in found.items:
        table.add_row(*_cells(item))
    console.print(table)
    console.print(
        Text(f"as of {found.items[0].as_of:%Y-%m-%d %H:%M %Z}; a mean PIT below 0.5: ends came earlier than forecast")
    )


def _cells(item: TypeCalibration) -> tuple[Text, ...]:
    return (
        Text(item.part_number, style="bold"),
        *(Text(str(count)) for count in (item.lives_at_limit, item.lives_early, item.forecasts)),
        Text("-" if item.mean_pit is None else f"{item.mean_pit:.2f}"),
        Text("-" if item.band_share is None else f"{item.band_share:.0%}"),
        *(Text(f"{value:.2f}") for value in (item.a, item.b)),
        Text(item.says.partition(". ")[2]),
    )
