"""Reading a plant folder: CSV tables in a directory or .zip, or a workbook, become canonical rows or are refused.

No file is changed, no database is asked: what the database holds comes in as `Known`. Every file is read as a
stream, and rows beyond some thousand wait on disk.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from service.plant_folder.folder import Folder, FolderRow, FolderRows
from service.plant_folder.headers import bind_header
from service.plant_folder.known import Known
from service.plant_folder.layout import TABLES, TableLayout
from service.plant_folder.refusals import FileFindings, FileRefused, Findings
from service.plant_folder.register import Register
from service.plant_folder.sheets import Marks, Row, TableFile
from service.plant_folder.source import open_folder
from service.plant_folder.table_reading import Progress, TableReading

__all__ = ["Folder", "FolderRow", "FolderRows", "Progress", "read_folder"]


def read_folder(
    path: Path,
    known: Known,
    *,
    separator: str = ",",
    decimal: str = ".",
    now: datetime,
    progress: Progress | None = None,
    shown_name: str | None = None,
) -> Folder:
    """Every table of the folder at `path`, in the order of the layout.

    `now` (with an offset) only serves to refuse facts dated after it; `shown_name` stands for the name of `path` in
    what is told. Close the folder when its rows have been used.
    Raises FolderRefused with everything that is wrong; ValueError for marks that cannot be told apart.
    """
    if len(separator) != 1 or decimal not in {".", ","} or separator == decimal:
        raise ValueError(f"separator {separator!r} and decimal mark {decimal!r} cannot be told apart")
    if now.tzinfo is None:
        raise ValueError("now needs an offset")
    findings = Findings()
    register = Register(known)
    tables: dict[str, FolderRows] = {}
    with open_folder(path, shown_name or path.name, findings) as files:
        for table in files.misnamed:
            register.give_up(table)
        for layout in TABLES:
            file = files.tables.get(layout.name)
            if file is not None:
                reading = _Reading(layout, register, findings.in_file(file.name), now, Marks(separator, decimal))
                tables[layout.name] = reading.read(file, progress)
    folder = Folder(tables, findings.remarks)
    if findings.refused:
        folder.close()
    findings.raise_if_refused()
    return folder


@dataclass(frozen=True, slots=True)
class _Reading:
    """What the reading of one table needs besides its file."""

    layout: TableLayout
    register: Register
    findings: FileFindings
    now: datetime
    marks: Marks

    def read(self, file: TableFile, progress: Progress | None) -> FolderRows:
        try:
            return self._rows(file, progress)
        except OSError as error:
            self.findings.refuse(None, None, None, f"cannot be read: {error.strerror or error}")
        except FileRefused as refused:
            self.findings.refuse(refused.row, None, refused.value, str(refused))
        self.register.give_up(self.layout.name)
        return FolderRows()

    def _rows(self, file: TableFile, progress: Progress | None) -> FolderRows:
        def again() -> Iterator[Row]:
            with file.open(self.layout, self.marks) as sheet:
                yield from sheet.rows

        with file.open(self.layout, self.marks) as sheet:
            header = bind_header(sheet.header, self.layout, self.marks.decimal, self.findings)
            if any(column.required and header.named(column.name) is None for column in self.layout.key):
                self.register.give_up(self.layout.name)
            reading = TableReading(self.layout, header, self.register, self.findings, self.now)
            return reading.read(sheet, again, progress)
