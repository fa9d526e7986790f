"""`import`, `export`, `plan` and `due`."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from api_schemas.due import DueItem, DueList
from api_schemas.imports import ImportOutcome
from service.cli.due_questions import show_changes, show_explanation, write_json
from service.cli.due_table import print_due
from service.cli.opening import READING, AsOfOption, DatabaseOption, local_caller, moments_of, open_database
from service.cli.progress import shown_progress
from service.cli.written import WriteOption, kind_of, write_sheets
from service.clock.now import now_utc
from service.due.listing import due_at_moment, due_from_last_pass
from service.due.planning_pass import run_pass
from service.exports.due_sheet import due_sheet
from service.imports.importing import import_folder
from service.plant_folder.cycle_collection import rare_cycle_collection
from service.plant_folder.writing import write_folder

_LISTED = 20


def add_to(app: typer.Typer) -> None:
    """Give `app` these commands."""
    app.command("import")(import_)
    app.command("export")(export)
    app.command("plan")(plan)
    app.command("due")(due)


def import_(
    path: Annotated[Path, typer.Argument(exists=True, help="A plant folder, a .zip of one, or an .xlsx workbook.")],
    database: DatabaseOption = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Tell what would change, and change nothing.")] = False,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="TIME", help="The time that counts as now, for what is in the future."),
    ] = None,
    separator: Annotated[str, typer.Option(help="Between cells.")] = ",",
    decimal: Annotated[str, typer.Option(help="The decimal mark.")] = ".",
    as_json: Annotated[bool, typer.Option("--json", help="The whole outcome on stdout.")] = False,
) -> None:
    """Import a plant folder: all or nothing, and again changes nothing."""
    opened = open_database(database)
    now = now_utc()
    if as_of is not None:
        told = moments_of(as_of, opened)
        now = min([*told.values(), now])
    with shown_progress() as progress:
        outcome = import_folder(
            opened,
            path,
            name=path.name,
            now=now,
            by=local_caller().name,
            dry_run=dry_run,
            separator=separator,
            decimal=decimal,
            progress=progress,
        )
    if as_json:
        sys.stdout.write(outcome.model_dump_json(indent=2) + "\n")
    else:
        _tell(outcome)


def export(
    path: Annotated[Path, typer.Argument(help="A new folder, or a file ending in .zip or .xlsx.")],
    database: DatabaseOption = None,
) -> None:
    """Write everything back as a plant folder."""
    opened = open_database(database)
    with shown_progress() as progress, rare_cycle_collection(), opened.reading() as connection:
        counts = write_folder(connection, path, progress)
    for table, count in counts.items():
        typer.echo(f"{table:16} {count:>9,}", err=True)


def plan(database: DatabaseOption = None, as_of: AsOfOption = None) -> None:
    """Run a planning pass: due dates, diagnoses, drafts, picks."""
    opened = open_database(database)
    now = now_utc()
    moment = now if as_of is None else max(moments_of(as_of, opened).values(), default=now)
    with opened.writing() as connection:
        done = run_pass(connection, as_of=moment, now=now, cause="asked for", by=local_caller().name)
    typer.echo(
        f"pass {done.id}: {done.positions} positions in {done.took_s:.1f} s, as of {moment:%Y-%m-%d %H:%M %Z}",
        err=True,
    )


def due(
    database: DatabaseOption = None,
    as_of: AsOfOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="As GET /v1/due answers.")] = False,
    plant_code: Annotated[str | None, typer.Option("--plant", help="Only this plant.")] = None,
    system: Annotated[str | None, typer.Option("--system", help="Only this system.")] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="In the table, also what is due beyond the horizon.")
    ] = False,
    explain: Annotated[
        str | None, typer.Option("--explain", metavar="POSITION", help="Everything behind one position's date.")
    ] = None,
    since: Annotated[
        str | None,
        typer.Option(
            "--since",
            metavar="WHEN",
            help="What is new, earlier, later, done since last-pass, last-week, a TIME or the start of a DATE.",
        ),
    ] = None,
    write: WriteOption = None,
) -> None:
    """What is due, by date, and why: from the last pass, or computed afresh with --as-of."""
    if sum(each is not None for each in (as_of, explain, since)) > 1:
        raise typer.BadParameter("take one of --as-of, --explain and --since")
    if write is not None:
        kind_of(write)
        if explain is not None or since is not None:
            raise typer.BadParameter("--write takes the list, with or without --as-of")
    opened = open_database(database)
    if explain is not None:
        show_explanation(opened, explain, now_utc(), as_json=as_json)
        return
    if since is not None:
        show_changes(opened, since, plant_code, system, as_json=as_json)
        return
    with opened.reading() as connection:
        if as_of is None:
            found = due_from_last_pass(connection, READING, plant=plant_code, system=system)
        else:
            moments = {
                plant: moment for plant, moment in moments_of(as_of, opened).items() if plant_code in (None, plant)
            }
            lists = [
                due_at_moment(connection, READING, moment, plant=plant, system=system)
                for plant, moment in moments.items()
            ]
            found = _joined(lists)
    if write is not None:
        write_sheets(write, [due_sheet(found)])
    elif as_json:
        write_json(found)
    else:
        print_due(found, everything=everything)


def _joined(lists: list[DueList]) -> DueList:
    """The plants' lists as one: a bare date ends at another moment in each plant."""
    if not lists:
        raise ValueError("no plant is known; import a plant folder first")
    items = [item for each in lists for item in each.items]

    def order(item: DueItem) -> tuple[bool, float, str]:
        return (item.due_at is None, item.due_at.timestamp() if item.due_at else 0.0, item.position)

    return DueList(planned=lists[0].planned, items=sorted(items, key=order), next=None)


def _tell(outcome: ImportOutcome) -> None:
    head = "a dry run; nothing was changed" if outcome.dry_run else f"import {outcome.id}"
    typer.echo(
        f"{head}\n{'table':16} {'new':>9} {'updated':>9} {'corrected':>9} {'completed':>9} {'as before':>9}", err=True
    )
    for table, counts in outcome.tables.items():
        numbers = (counts.added, counts.updated, counts.corrected, counts.completed, counts.unchanged)
        typer.echo(f"{table:16} " + " ".join(f"{number:>9,}" for number in numbers), err=True)
    for change in outcome.changes[:_LISTED]:
        kind = "correction" if change.is_correction else "change"
        earlier = change.earlier or "(empty)"
        typer.echo(f"{kind}: {change.table} {change.key}: {change.column} {earlier} → {change.new}", err=True)
    more = len(outcome.changes) + outcome.changes_left_out - _LISTED
    if more > 0:
        typer.echo(f"… and {more:,} more; --json lists them", err=True)
    for remark in outcome.remarks[:_LISTED]:
        row = "" if remark.row is None else f", row {remark.row}"
        typer.echo(f"look at {remark.file}{row}: {remark.says}", err=True)
    more = len(outcome.remarks) + outcome.remarks_left_out - _LISTED
    if more > 0:
        typer.echo(f"… and {more:,} more to look at; --json lists them", err=True)
