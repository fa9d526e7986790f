"""Opening the database that a command works beside, migrated, and reading the times that a person types."""

import getpass
from datetime import datetime, time
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import sqlalchemy as sa
import typer
from sqlalchemy.exc import ArgumentError, OperationalError

from api_schemas.moments import EARLIEST, LATEST
from scheduler.vocabulary import Scope
from service.database import Database
from service.keys.keeping import Caller
from service.migrating import migrate
from service.plant_folder import tables as t
from service.settings import Settings

DatabaseOption = Annotated[
    str | None,
    typer.Option(
        "--database", metavar="URL", help="The database; by default ELEMENTDUE_DATABASE, else a file in .data."
    ),
]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        "--as-of", metavar="TIME", help="ISO 8601 with an offset, or a date: the end of that day in each plant."
    ),
]


class CannotBeOpened(ValueError):
    """The database's address is well formed, and nothing of ours answers there."""


def open_database(url: str | None) -> Database:
    """The database at `url` (or by the settings), brought to the present schema."""
    chosen = url or Settings().database_url
    try:
        made = sa.engine.make_url(chosen)
        if url is not None and (made.password is not None or "password" in made.query):
            raise typer.BadParameter(
                "a password belongs into ELEMENTDUE_DATABASE or a file, not into the command line"
            )
        if made.get_backend_name() == "sqlite" and made.database:
            Path(made.database).parent.mkdir(parents=True, exist_ok=True)
        database = Database(made)
    except ModuleNotFoundError as missing:
        raise typer.BadParameter(
            f"the driver {missing.name} for this address is not installed; "
            "PostgreSQL's comes with `pip install 'elementdue[postgresql]'`"
        ) from None
    except (ArgumentError, ValueError):  # its text would show the address, and a password in it
        raise typer.BadParameter(
            "the database's address cannot be used; like sqlite:////srv/elementdue/plant.sqlite"
        ) from None
    except OSError as error:
        raise typer.BadParameter(f"the database's folder cannot be made: {error}") from None
    try:
        migrate(database)
    except OperationalError as error:
        words = " ".join(str(error.orig).split())  # the driver's, which hold no password
        raise CannotBeOpened(f"the database cannot be opened: {words}") from None
    return database


READING = Caller("command line", frozenset({Scope.READ}))
"""Whoever has the database in hand and only reads: no record names him."""


def local_caller() -> Caller:
    """Whoever has the database in hand may do everything; the record names the account."""
    return Caller(f"command line of {getpass.getuser()}", frozenset({Scope.ADMINISTER}))


def moments_of(text: str, database: Database) -> dict[str, datetime]:
    """For each plant, the moment that `--as-of` means. A bare date is the end of that day in the plant's zone."""
    with database.reading() as connection:
        rows = connection.execute(sa.select(t.plants.c.plant, t.plants.c.time_zone))
        zones: dict[str, str] = {row.plant: row.time_zone for row in rows}
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"'{text}' is neither a date nor a time; like 2026-03-05 or 2026-03-05T14:30+01:00"
        ) from None
    if not EARLIEST.year < told.year < LATEST.year:
        raise typer.BadParameter(f"'{text}' is not between {EARLIEST.year} and {LATEST.year}")
    if len(text) == len("2026-03-05"):
        return {plant: datetime.combine(told, time.max, ZoneInfo(zone)) for plant, zone in zones.items()}
    if told.tzinfo is None:
        raise typer.BadParameter(f"'{text}' has no offset; write it like 2026-03-05T14:30+01:00")
    return dict.fromkeys(zones, told)
