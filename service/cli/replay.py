"""`elementdue replay`: the past gone through as it was known then, and held against what came."""

import os
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from service.cli.due_questions import write_json
from service.cli.opening import DatabaseOption, moments_of, open_database
from service.cli.progress import shown_progress
from service.cli.replay_tables import print_replay
from service.cli.written import kind_of, write_sheets
from service.clock.now import now_utc
from service.database import Database
from service.plant_store.history import load_history
from service.replay.assembling import assemble
from service.replay.keeping import checked_steps
from service.replay.sheets import steps_sheet
from service.replay.stepping import blocks_of, go_through, moments_of_steps, seen_of

_MOST_PROCESSES = 2
_WORTH_PROCESSES = 12
"""Blocks from which on the seconds that a further process takes to start are made up for."""


def add_to(app: typer.Typer) -> None:
    """Give `app` this command."""
    app.command("replay")(replay)


def replay(
    first: Annotated[str, typer.Option("--from", metavar="DATE", help="The first step: the end of that day.")],
    last: Annotated[str, typer.Option("--to", metavar="DATE", help="No step after the end of that day.")],
    step: Annotated[float, typer.Option(metavar="DAYS", min=1.0, max=92.0, help="From one step to the next.")] = 7.0,
    plant: Annotated[str | None, typer.Option(metavar="CODE", help="Tell of this one only.")] = None,
    write: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Every step too, into a file that ends in .csv or .xlsx.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As the result of GET /v1/replays/{id}.")] = False,
    database: DatabaseOption = None,
) -> None:
    """What would have been due and found on past days, from what was known then, against what came. Keeps nothing."""
    if write is not None:
        kind_of(write)
    opened = open_database(database)
    now = now_utc()
    begins, ends = (_moment(told, opened, plant, now) for told in (first, last))
    total = checked_steps(begins, ends, step, now)
    with opened.reading() as connection:
        history = load_history(connection, now)
    blocks, kept = blocks_of(moments_of_steps(begins, ends, step), step), []
    processes = min(_MOST_PROCESSES, os.cpu_count() or 1) if len(blocks) >= _WORTH_PROCESSES else 1
    with shown_progress() as progress:
        progress("steps", 0, total)
        for block in go_through(history, blocks, processes):
            kept += block
            progress("steps", len(kept), total)
    columns, steps = history.cut(now), [seen_of(each) for each in kept]
    result = assemble(columns, steps, plant)
    if write is not None:
        write_sheets(write, [steps_sheet(columns, steps, plant)])
    if as_json:
        write_json(result)
    else:
        print_replay(result, begins, steps[-1].as_of_day, total)


def _moment(told: str, opened: Database, plant: str | None, now: datetime) -> datetime:
    """A bare date is the end of that day in the plant, today's as far as it is."""
    by_plant = moments_of(told, opened)
    if plant is not None and plant not in by_plant:
        raise typer.BadParameter(f"there is no plant '{plant}'")
    found = by_plant[plant] if plant is not None else max(by_plant.values(), default=now)
    is_date = len(told) == len("2026-03-05")
    return min(found, now) if is_date and found.date() == now.astimezone(found.tzinfo).date() else found
