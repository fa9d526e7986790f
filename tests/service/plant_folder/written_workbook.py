"""Workbooks for tests: by XlsxWriter where a spreadsheet could have written them, by hand where none would."""

import csv
import io
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from tests.service.plant_folder.invented_plant import TABLES

Fill = Callable[[xlsxwriter.Workbook, Worksheet], object]

_SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"

DP_HEADER = ("position", "at", "dp [bar]")


def write_workbook(path: Path, fills: Mapping[str, Fill | None], *, is_1904: bool = False) -> Path:
    """The invented plant as text cells, with other contents for some sheets; None leaves a sheet out."""
    with xlsxwriter.Workbook(path, {"date_1904": is_1904}) as book:
        for name in (*TABLES, *(name for name in fills if name not in TABLES)):
            fill = fills.get(name, lambda _book, sheet, name=name: _fill_with_texts(sheet, TABLES[name]))
            if fill is not None:
                fill(book, book.add_worksheet(name))
    return path


def _fill_with_texts(sheet: Worksheet, text: str) -> None:
    for at, row in enumerate(csv.reader(io.StringIO(text))):
        for column, cell in enumerate(row):
            sheet.write_string(at, column, cell)


def rows(*table: tuple[Any, ...]) -> Fill:
    """A sheet of these rows, each cell as XlsxWriter writes a value of its type."""

    def fill(_book: xlsxwriter.Workbook, sheet: Worksheet) -> None:
        for at, row in enumerate(table):
            sheet.write_row(at, 0, row)

    return fill


def dp_rows(*table: tuple[Any, ...]) -> Fill:
    return rows(DP_HEADER, *table)


def write_parts(path: Path, sheet: str, *, name: str = "dp_readings", parts: Mapping[str, str] | None = None) -> Path:
    """A workbook of one sheet with this XML inside its `worksheet`, and other `parts` as they are given."""
    whole = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"/>',
        "_rels/.rels": _related("officeDocument", "xl/workbook.xml"),
        "xl/workbook.xml": f'<workbook xmlns="{_SHEET}" xmlns:r="{_OFFICE}"><sheets><sheet name="{name}" sheetId="1"'
        ' r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": _related("worksheet", "worksheets/sheet1.xml"),
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{_SHEET}">{sheet}</worksheet>',
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, text in (whole | dict(parts or {})).items():
            archive.writestr(part, text)
    return path


def _related(kind: str, target: str) -> str:
    return (
        f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" Type="{_OFFICE}/{kind}"'
        f' Target="{target}"/></Relationships>'
    )


def inline(reference: str, text: str) -> str:
    """A cell with a text of its own."""
    return f'<c r="{reference}" t="inlineStr"><is><t>{text}</t></is></c>'


HEADER_ROW = f'<row r="1">{inline("A1", "position")}{inline("B1", "at")}{inline("C1", "dp [bar]")}</row>'
