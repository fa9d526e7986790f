"""Which tables a plant folder holds, be it a directory, a zip or a workbook, and how to open each.

What a file is, its content says and not its name.
"""

import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePosixPath

from service.plant_folder.archive import inspect, open_archive, open_member
from service.plant_folder.csv_files import OpenBytes, open_csv
from service.plant_folder.layout import TABLE
from service.plant_folder.limits import MOST_BYTES
from service.plant_folder.nearest import nearest
from service.plant_folder.refusals import FileRefused, Findings
from service.plant_folder.sheets import TableFile
from service.plant_folder.workbook import is_workbook, open_workbook
from service.plant_folder.worksheet import open_worksheet

_RESOURCE_FORK = "__MACOSX"
_COMPOUND_FILE = bytes.fromhex("D0CF11E0A1B11AE1")  # [MS-CFB] 2.2: a workbook of before 2007, or an encrypted one


@dataclass(frozen=True, slots=True)
class FolderFiles:
    """The files by table name, and the tables that a refused file was probably meant to be."""

    tables: dict[str, TableFile] = field(default_factory=dict)
    misnamed: set[str] = field(default_factory=set)


@contextmanager
def open_folder(path: Path, shown_name: str, findings: Findings) -> Iterator[FolderFiles]:
    """The folder's files; what is no table is refused or remarked. Nothing of a refused archive is given."""
    if path.is_dir():
        yield _tables_among(_in_directory(path, findings), shown_name, findings)
        return
    try:
        archive = _opened(path)
    except FileRefused as refused:
        findings.refuse(shown_name, None, None, None, str(refused))
        yield FolderFiles()
        return
    with archive:
        members = inspect(archive, shown_name, findings)
        if findings.refused:
            yield FolderFiles()
        elif is_workbook(archive):
            yield _tables_of_workbook(archive, shown_name, findings)
        else:
            found: _Found = [(name, partial(open_member, archive, member)) for name, member in members]
            yield _tables_among(_without_top(found), shown_name, findings)


_Found = list[tuple[str, OpenBytes]]


def _opened(path: Path) -> zipfile.ZipFile:
    if not path.is_file():
        kind = "is not" if path.exists() else "does not exist as"
        raise FileRefused(f"{kind} a folder or .zip of CSV tables, nor an .xlsx workbook")
    try:
        with path.open("rb") as file:
            start = file.read(len(_COMPOUND_FILE))
    except OSError as error:
        raise FileRefused(f"cannot be read: {error.strerror or error}") from error
    if start == _COMPOUND_FILE:
        raise FileRefused("is a workbook in an old format or with a password; save it as .xlsx without a password")
    return open_archive(path)


def _in_directory(path: Path, findings: Findings) -> _Found:
    entries = sorted(path.iterdir())
    total = sum(entry.stat().st_size for entry in entries if entry.is_file())
    if total > MOST_BYTES:
        says = f"holds {total} bytes, above the limit of {MOST_BYTES}: send the readings in several folders"
        findings.refuse(path.name, None, None, None, says)
        return []
    return [(entry.name if entry.is_file() else f"{entry.name}/", partial(_open_file, entry)) for entry in entries]


def _open_file(path: Path) -> io.BufferedReader:
    return path.open("rb")


def _is_ignored(name: str) -> bool:
    parts = PurePosixPath(name).parts
    return any(part.startswith(".") or part == _RESOURCE_FORK for part in parts)


def _without_top(members: _Found) -> _Found:
    """The members without the one folder that they all lie in, if there is such a folder."""
    wanted = [(name, read) for name, read in members if not _is_ignored(name)]
    tops = {name.split("/", 1)[0] for name, _ in wanted}
    if len(tops) == 1 and all("/" in name for name, _ in wanted):
        return [(name.split("/", 1)[1], read) for name, read in wanted]
    return wanted


def _tables_among(found: _Found, folder: str, findings: Findings) -> FolderFiles:
    files = FolderFiles()
    for name, open_bytes in found:
        if _is_ignored(name):
            continue
        path = PurePosixPath(name)
        if "/" in name:
            findings.remark(name.rstrip("/"), None, None, None, "was not read: it is not at the folder's top")
        elif path.suffix.lower() != ".csv":
            findings.remark(name, None, None, None, "was not read: only .csv tables are")
        elif path.stem not in TABLE:
            near = nearest(path.stem, TABLE)
            meant = f"; did you mean '{near}.csv'?" if near else f"; the tables are: {', '.join(TABLE)}"
            files.misnamed.update([near] if near else [])
            findings.refuse(name, None, None, None, f"is no table of a plant folder{meant}")
        elif path.stem in files.tables:
            findings.refuse(name, None, None, None, f"the table {path.stem} is in the folder twice")
        else:
            files.tables[path.stem] = TableFile(name, partial(open_csv, open_bytes))
    if not files.tables and not findings.refused:
        says = f"holds no table; expected at least one of: {', '.join(f'{table}.csv' for table in TABLE)}"
        findings.refuse(folder, None, None, None, says)
    return files


def _tables_of_workbook(archive: zipfile.ZipFile, shown_name: str, findings: Findings) -> FolderFiles:
    files = FolderFiles()
    try:
        workbook = open_workbook(archive)
    except FileRefused as refused:
        findings.refuse(shown_name, None, None, None, str(refused))
        return files
    for sheet in workbook.sheets:
        name = f"{shown_name}, sheet {sheet.name}"
        table = sheet.name.strip()
        if table.startswith("x_"):
            findings.remark(name, None, None, None, "was not read: a sheet whose name begins with x_ is your own")
        elif table not in TABLE:
            near = nearest(table, TABLE)
            meant = f"; did you mean '{near}'?" if near else f"; the tables are: {', '.join(TABLE)}"
            files.misnamed.update([near] if near else [])
            says = f"is no table of a plant folder{meant} (sheets of your own begin with x_)"
            findings.refuse(name, None, None, None, says)
        elif sheet.member is None:
            findings.refuse(name, None, None, None, "is a chart or a macro sheet; keep the table on a worksheet")
        elif table in files.tables:
            findings.refuse(name, None, None, None, f"the table {table} is in the workbook twice")
        else:
            open_sheet = partial(open_worksheet, workbook, partial(open_member, archive, sheet.member))
            files.tables[table] = TableFile(name, open_sheet)
    if not files.tables and not findings.refused:
        says = f"holds no table; expected at least one sheet named: {', '.join(TABLE)}"
        findings.refuse(shown_name, None, None, None, says)
    return files
