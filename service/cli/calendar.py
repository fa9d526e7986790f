"""`elementdue calendar`: stops and work as a file that calendar programs take in."""

from pathlib import Path
from typing import Annotated

import typer

from service.cli.answers import ServerOption
from service.cli.asking import Asker
from service.cli.opening import DatabaseOption
from service.cli.written import write_whole


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("calendar")(calendar)


def calendar(
    write: Annotated[
        Path, typer.Option("--write", metavar="FILE", dir_okay=False, help="Where it goes, like work.ics.")
    ],
    plant: Annotated[str | None, typer.Option(help="Only this plant's.")] = None,
    system: Annotated[str | None, typer.Option(help="Only this system's, with its plant's stops.")] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """Stops and open work as a calendar; a program that subscribes asks `/v1/calendar` of a server instead."""
    asked = {"plant": plant, "system": system}
    write_whole(write, Asker(server, database).ask("GET", "/v1/calendar", query=asked))
