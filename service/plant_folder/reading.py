"""Reading a plant folder: a directory or a .zip of CSV tables becomes canonical rows, or is refused in full.

No file is changed, no database is asked: what the database holds comes in as `Known`.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from service.plant_folder.folder import Folder, FolderRow
from service.plant_folder.headers import bind_header
from service.plant_folder.known import Known
from service.plant_folder.layout import TABLES, TableLayout
from service.plant_folder.refusals import FileFindings, FileRefused, Findings
from service.plant_folder.register import Register
from service.plant_folder.sheets import read_sheet
from service.plant_folder.source import TableFile, open_folder
from service.plant_folder.table_reading import Progress, TableReading

__all__ = ["Folder", "FolderRow", "Progress", "read_folder"]


def read_folder(
    path: Path,
    known: Known,
    *,
    separator: str = ",",
    decimal: str = ".",
    now: datetime,
    progress: Progress | None = None,
) -> Folder:
    """Every table of the folder at `path`, in the order of the layout.

    `now` (with an offset) only serves to refuse facts dated after it.
    Raises FolderRefused with everything that is wrong; ValueError for marks that cannot be told apart.
    """
    if len(separator) != 1 or decimal not in {".", ","} or separator == decimal:
        raise ValueError(f"separator {separator!r} and decimal mark {decimal!r} cannot be told apart")
    if now.tzinfo is None:
        raise ValueError("now needs an offset")
    findings = Findings()
    register = Register(known)
    tables: dict[str, list[FolderRow]] = {}
    with open_folder(path, findings) as files:
        for table in files.misnamed:
            register.give_up(table)
        for layout in TABLES:
            file = files.tables.get(layout.name)
            if file is not None:
                reading = _Reading(layout, register, findings.in_file(file.name), now)
                tables[layout.name] = reading.read(file, separator, decimal, progress)
    findings.raise_if_refused()
    return Folder(tables, findings.remarks)


@dataclass(frozen=True, slots=True)
class _Reading:
    """What the reading of one table needs besides its file."""

    layout: TableLayout
    register: Register
    findings: FileFindings
    now: datetime

    def read(self, file: TableFile, separator: str, decimal: str, progress: Progress | None) -> list[FolderRow]:
        try:
            sheet = read_sheet(file.read(), self.layout, separator)
        except OSError as error:
            self.findings.refuse(None, None, None, f"cannot be read: {error.strerror or error}")
            self.register.give_up(self.layout.name)
            return []
        except FileRefused as refused:
            self.findings.refuse(refused.row, None, refused.value, str(refused))
            self.register.give_up(self.layout.name)
            return []
        header = bind_header(sheet.header, self.layout, decimal, self.findings)
        if any(column.required and header.named(column.name) is None for column in self.layout.key):
            self.register.give_up(self.layout.name)
        rows = TableReading(self.layout, header, self.register, self.findings, self.now)
        return rows.read(sheet, progress)
