"""Which tables a plant folder holds, be it a directory or a zip, and how to get their bytes."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePosixPath

from service.plant_folder.archive import MOST_BYTES, inspect, open_archive, read_member
from service.plant_folder.layout import TABLE
from service.plant_folder.nearest import nearest
from service.plant_folder.refusals import FileRefused, Findings

_WORKBOOKS = frozenset({".xlsx", ".xlsm", ".xls", ".ods"})
_RESOURCE_FORK = "__MACOSX"


@dataclass(frozen=True, slots=True)
class TableFile:
    """One table's file. `read` gives its bytes or raises FileRefused."""

    name: str
    read: Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class FolderFiles:
    """The files by table name, and the tables that a refused file was probably meant to be."""

    tables: dict[str, TableFile] = field(default_factory=dict)
    misnamed: set[str] = field(default_factory=set)


@contextmanager
def open_folder(path: Path, findings: Findings) -> Iterator[FolderFiles]:
    """The folder's files; what is no table is refused or remarked. Nothing of a refused archive is given."""
    if path.is_dir():
        yield _tables_among(_in_directory(path, findings), path.name, findings)
        return
    if path.suffix.lower() in _WORKBOOKS or not path.is_file():
        says = (
            "does not exist as a folder or .zip of CSV tables"
            if not path.exists()
            else "is not a folder or .zip of CSV tables; save each sheet of a workbook as a .csv file"
        )
        findings.refuse(path.name, None, None, None, says)
        yield FolderFiles()
        return
    try:
        archive = open_archive(path)
    except FileRefused as refused:
        findings.refuse(path.name, None, None, None, str(refused))
        yield FolderFiles()
        return
    with archive:
        members: _Found = [
            (name, partial(read_member, archive, member)) for name, member in inspect(archive, path.name, findings)
        ]
        yield FolderFiles() if findings.refused else _tables_among(_without_top(members), path.name, findings)


_Found = list[tuple[str, Callable[[], bytes]]]


def _in_directory(path: Path, findings: Findings) -> _Found:
    entries = sorted(path.iterdir())
    total = sum(entry.stat().st_size for entry in entries if entry.is_file())
    if total > MOST_BYTES:
        says = f"holds {total} bytes, above the limit of {MOST_BYTES}: send the readings in several folders"
        findings.refuse(path.name, None, None, None, says)
        return []
    return [(entry.name if entry.is_file() else f"{entry.name}/", entry.read_bytes) for entry in entries]


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
    for name, read in found:
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
            files.tables[path.stem] = TableFile(name, read)
    if not files.tables and not findings.refused:
        says = f"holds no table; expected at least one of: {', '.join(f'{table}.csv' for table in TABLE)}"
        findings.refuse(folder, None, None, None, says)
    return files
