"""The plant folder written back: what holds now, as the tables that `reading` takes, in CSV files or a workbook.

Importing what was written changes nothing, and an empty database that takes it in writes the same bytes again.
Cells are text as it is kept, also where it begins like a formula: guarding against spreadsheets that run it
would change the text of the next import. A workbook's texts are never run.
"""

import csv
import io
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, closing, contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from service.plant_folder.known_now import known_now
from service.plant_folder.layout import TABLES
from service.plant_folder.register import Register
from service.plant_folder.table_reading import Progress
from service.plant_folder.table_writing import TableWriting
from service.plant_folder.workbook_writing import CellKind, DoesNotFit, TakeRow, WorkbookWriting

_ROWS_BETWEEN_REPORTS = 2000
_NO_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can say: the same rows give the same bytes

OpenTable = Callable[[str, Sequence[CellKind]], AbstractContextManager[TakeRow]]
"""Given a table's name and what the cells of its columns are, what takes its header and rows."""


class TargetRefused(ValueError):
    """The folder cannot be written there; the text says why."""


def write_folder(connection: sa.Connection, target: Path, progress: Progress | None = None) -> dict[str, int]:
    """Write every table that has rows to the new or empty folder `target`, to a zip or a workbook; the rows of each.

    A `target` that ends in `.zip` or `.xlsx` is replaced as a whole once everything is written. Raises TargetRefused.
    """
    kind = target.suffix.lower()
    is_file = kind in {".zip", ".xlsx"}
    _refuse_what_is_there(target, is_file=is_file)
    folder = target.parent if is_file else target
    folder.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=folder, prefix=".unfinished-") as unfinished:
        if is_file:
            whole = Path(unfinished) / target.name
            with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
                write = _write_workbook if kind == ".xlsx" else _write_zip
                written = write(connection, archive, progress)
            whole.replace(target)
        else:
            written = _write_tables(connection, partial(_file, Path(unfinished)), progress)
            for path in sorted(Path(unfinished).iterdir()):
                path.replace(target / path.name)
    return written


def _refuse_what_is_there(target: Path, *, is_file: bool) -> None:
    named = "name a new or empty folder, or a file that ends in .zip or .xlsx"
    if is_file and target.is_dir():
        kind = "workbook" if target.suffix.lower() == ".xlsx" else "zip"
        raise TargetRefused(f"{target} is a folder, but its name asks for a {kind}")
    if not is_file and target.exists() and not target.is_dir():
        raise TargetRefused(f"{target} is a file; {named}")
    if not is_file and target.is_dir() and any(target.iterdir()):
        raise TargetRefused(f"{target} is not empty; {named}")


def _write_zip(connection: sa.Connection, archive: zipfile.ZipFile, progress: Progress | None) -> dict[str, int]:
    return _write_tables(connection, partial(_member, archive), progress)


def _write_workbook(connection: sa.Connection, archive: zipfile.ZipFile, progress: Progress | None) -> dict[str, int]:
    workbook = WorkbookWriting(archive)
    try:
        written = _write_tables(connection, workbook.sheet, progress)
    except DoesNotFit as error:
        raise TargetRefused(str(error)) from None
    if not written:
        raise TargetRefused("there is nothing to export, and a workbook needs a sheet")
    workbook.finish()
    return written


@contextmanager
def _file(folder: Path, table: str, _kinds: Sequence[CellKind]) -> Iterator[TakeRow]:
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as text:
        yield csv.writer(text, lineterminator="\n").writerow


@contextmanager
def _member(archive: zipfile.ZipFile, table: str, _kinds: Sequence[CellKind]) -> Iterator[TakeRow]:
    info = zipfile.ZipInfo(f"{table}.csv", date_time=_NO_TIME)
    info.compress_type = zipfile.ZIP_DEFLATED
    with (
        archive.open(info, "w", force_zip64=True) as raw,
        io.TextIOWrapper(raw, encoding="utf-8", newline="") as text,
    ):
        yield csv.writer(text, lineterminator="\n").writerow


def _write_tables(connection: sa.Connection, open_table: OpenTable, progress: Progress | None) -> dict[str, int]:
    known = known_now(connection)
    zones = [ZoneInfo(name) for name in sorted({terms.time_zone for terms in known.plants.values()})]
    register = Register(known)
    written: dict[str, int] = {}
    for layout in TABLES:
        table = TableWriting(connection, layout, register, zones)
        if not table.row_count:
            continue
        with open_table(layout.name, table.kinds) as take, closing(table.rows()) as rows:
            take(table.header)
            for done, row in enumerate(rows):
                if progress and done % _ROWS_BETWEEN_REPORTS == 0:
                    progress(layout.name, done, table.row_count)
                take(row)
        written[layout.name] = table.row_count
        if progress:
            progress(layout.name, table.row_count, table.row_count)
    return written
