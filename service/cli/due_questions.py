"""`due --explain` and `due --since`: asked of the last pass, answered as text or as JSON on stdout."""

import json
import sys
from datetime import datetime

import typer
from pydantic import BaseModel

from service.cli.changes_table import print_changes
from service.cli.explanation import print_explanation
from service.cli.opening import READING
from service.database import Database
from service.due.explaining import explain
from service.due.history import changes_since
from service.due.since import read_since
from service.problems import BadInput


def show_explanation(database: Database, position: str, now: datetime, *, as_json: bool) -> None:
    """Everything behind one position's due date."""
    with database.reading() as connection:
        found = explain(connection, position, now)
    if as_json:
        write_json(found)
    else:
        print_explanation(found)


def show_changes(database: Database, since: str, plant: str | None, system: str | None, *, as_json: bool) -> None:
    """What became of the dates since then."""
    try:
        asked = read_since(since)
    except BadInput as error:
        raise typer.BadParameter(str(error)) from None
    with database.reading() as connection:
        found = changes_since(connection, READING, asked, plant=plant, system=system)
    if as_json:
        write_json(found)
    else:
        print_changes(found)


def write_json(found: BaseModel) -> None:
    """On stdout, as the API answers it."""
    told = found.model_dump(mode="json", by_alias=True)
    sys.stdout.write(json.dumps(told, ensure_ascii=False, indent=2) + "\n")
