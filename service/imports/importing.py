"""Importing a plant folder: read outside the transaction, merged inside one, all or nothing."""

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from api_schemas.imports import Change, ImportOutcome, Remark, TableCounts
from service.database import Database
from service.imports.tables import imports
from service.plant_folder import refusals
from service.plant_folder.curve_checks import remarks_on_curves
from service.plant_folder.cycle_collection import rare_cycle_collection
from service.plant_folder.fluid_checks import check_fluids
from service.plant_folder.known_now import known_now
from service.plant_folder.merging import MergeOutcome, Progress, merge_folder
from service.plant_folder.reading import Folder, read_folder
from service.plant_folder.stay_checks import check_stays
from service.plant_folder.zone_checks import check_zones

LISTED_AT_MOST = 1000


class _Undo(Exception):
    """Ends a dry run's transaction without keeping anything."""


def import_folder(
    database: Database,
    path: Path,
    *,
    name: str,
    now: datetime,
    by: str,
    dry_run: bool = False,
    separator: str = ",",
    decimal: str = ".",
    progress: Progress | None = None,
) -> ImportOutcome:
    """Read, merge and record. Raises FolderRefused with everything that is wrong; then nothing has changed."""
    read = folder_to_merge(
        *(database, path),
        name=name,
        now=now,
        by=by,
        dry_run=dry_run,
        separator=separator,
        decimal=decimal,
        progress=progress,
    )
    outcome: ImportOutcome | None = None
    with read as merge, suppress(_Undo), database.writing() as connection:
        outcome = merge(connection)
        if dry_run:
            raise _Undo
    assert outcome is not None  # noqa: S101 - the block above has set it or raised
    return outcome


@contextmanager
def folder_to_merge(
    database: Database,
    path: Path,
    *,
    name: str,
    now: datetime,
    by: str,
    dry_run: bool = False,
    separator: str = ",",
    decimal: str = ".",
    progress: Progress | None = None,
) -> Iterator[Callable[[sa.Connection], ImportOutcome]]:
    """The folder as it was read; what is given merges and records it in the caller's transaction."""
    with database.reading() as connection:
        known = known_now(connection)
    with rare_cycle_collection():
        folder = read_folder(
            path, known, separator=separator, decimal=decimal, now=now, progress=progress, shown_name=name
        )
        with closing(folder):
            yield lambda connection: merge_and_keep(
                connection, folder, name=name, now=now, by=by, dry_run=dry_run, progress=progress
            )


def next_id(connection: sa.Connection) -> int:
    """What the next import will be numbered; its rows name it as their source."""
    return (connection.scalar(sa.select(sa.func.max(imports.c.id))) or 0) + 1


def merge_and_keep(
    connection: sa.Connection,
    folder: Folder,
    *,
    name: str,
    now: datetime,
    by: str,
    dry_run: bool = False,
    keep_unchanged: bool = True,
    progress: Progress | None = None,
) -> ImportOutcome:
    """Merge in the caller's transaction, check the whole, and keep the outcome.

    Raises FolderRefused, upon which the caller undoes it all.
    """
    id_ = next_id(connection)
    merged = merge_folder(connection, folder, recorded_now=now, source=f"import {id_}", progress=progress)
    check_stays(connection, folder)
    check_fluids(connection, folder)
    check_zones(connection, merged)
    remarks = [*folder.remarks, *remarks_on_curves(connection, folder)]
    outcome = outcome_of(None if dry_run else id_, remarks, merged, now, dry_run=dry_run)
    if keep_unchanged or merged.changes_anything:
        keep_outcome(connection, id_, outcome, name=name, by=by)
    return outcome


def keep_outcome(connection: sa.Connection, id_: int, outcome: ImportOutcome, *, name: str, by: str) -> None:
    """Who brought what, as `/v1/imports/{id}` shows it."""
    values = {"id": id_, "name": name, "by": by, "recorded_at": outcome.recorded_at}
    connection.execute(sa.insert(imports).values(**values, outcome=outcome.model_dump(mode="json")))


def outcome_of(
    id_: int | None, remarks: list[refusals.Remark], merged: MergeOutcome, now: datetime, *, dry_run: bool = False
) -> ImportOutcome:
    """What a merge came to, as the wire tells it."""
    listed = merged.changes[:LISTED_AT_MOST]
    return ImportOutcome(
        id=id_,
        dry_run=dry_run,
        recorded_at=now,
        tables={table: TableCounts(**asdict(counts)) for table, counts in merged.tables.items()},
        changes=[Change(**asdict(change)) for change in listed],
        changes_left_out=merged.changes_in_all - len(listed),
        remarks=[
            Remark(file=each.file, row=each.row, column=each.column, value=each.value, says=each.says)
            for each in remarks[:LISTED_AT_MOST]
        ],
        remarks_left_out=max(len(remarks) - LISTED_AT_MOST, 0),
    )
