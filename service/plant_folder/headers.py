"""A file's header row bound to the columns of its table: which cell is what, in which unit."""

import re
from dataclasses import dataclass

from scheduler.units import UnitRefused
from service.plant_folder import layout
from service.plant_folder.cells import CellParser, cell_parser
from service.plant_folder.layout import COMMON_COLUMNS, RECORDED_AT, Column, TableLayout
from service.plant_folder.nearest import did_you_mean, nearest
from service.plant_folder.refusals import FileFindings, FileRefused, shown
from service.plant_folder.sheets import Row

_HEADER = re.compile(r"(?P<name>[^\[\]]*?)\s*(?P<bracket>\[\s*(?P<unit>[^\[\]]*?)\s*\])?")
_BRACKET = re.compile(r"[\[(]")
_LONGEST_HEADER = 250  # no column's name comes near it, and the pattern's time grows with the square


@dataclass(frozen=True, slots=True)
class BoundColumn:
    """`parse` is None where the header's unit was refused: the cells then only count as being there."""

    index: int
    column: Column
    header: str
    field: str
    parse: CellParser | None


@dataclass(frozen=True, slots=True)
class BoundHeader:
    """Columns in the file's order and the `x_` columns; `width` counts the cells up to the last name."""

    columns: tuple[BoundColumn, ...]
    note_headers: tuple[tuple[int, str], ...]
    width: int

    def named(self, name: str) -> BoundColumn | None:
        return next((bound for bound in self.columns if bound.column.name == name), None)


def columns_of(table: TableLayout) -> dict[str, Column]:
    """Every column that a table's file may have, by name."""
    common = (*COMMON_COLUMNS, RECORDED_AT) if table.is_fact else COMMON_COLUMNS
    return {column.name: column for column in (*table.columns, *common)}


def column_of_header(header: str, table: TableLayout) -> Column | None:
    """The column that a header cell names, its unit in square brackets apart; None where it names none."""
    found = _match(header)
    return columns_of(table).get(found["name"] if found else header)


def _match(header: str) -> re.Match[str] | None:
    return _HEADER.fullmatch(header) if len(header) <= _LONGEST_HEADER else None


def bind_header(row: Row, table: TableLayout, decimal: str, findings: FileFindings) -> BoundHeader:
    """Refuses unknown, doubled and missing columns and wrong units; what remains is bound.

    Raises FileRefused where the row is no header at all: its rows would only repeat that.
    """
    line, cells, _ = row
    known = columns_of(table)
    bound: dict[str, BoundColumn] = {}
    notes: dict[str, int] = {}
    width = max(index for index, cell in enumerate(cells) if cell) + 1
    _refuse_what_is_no_header(line, [cell for cell in cells if cell], table)
    for index, header in enumerate(cells[:width]):
        found = _match(header)
        name = found["name"] if found else header
        stem = _BRACKET.split(name, maxsplit=1)[0].strip()
        is_note = name.startswith("x_")
        if header in notes or name in bound:
            findings.refuse(line, header, None, f"the column '{shown(name)}' is in the header twice")
        elif is_note:
            notes[header] = index
        elif not header:
            findings.refuse(line, None, None, f"column {index + 1} has no name")
        elif name not in known:
            near = did_you_mean(stem, known) or f"; {table.name} has: {', '.join(known)}"
            says = f"unknown column '{shown(name)}'{near} (columns of your own begin with x_)"
            findings.refuse(line, header, None, says)
        else:
            parse = _parser(line, header, known[name], decimal, findings)
            bound[name] = BoundColumn(index, known[name], header, known[name].field, parse)
    _refuse_missing(line, table, set(bound), findings)
    return BoundHeader(tuple(bound.values()), tuple((at, name) for name, at in notes.items()), width)


def _refuse_what_is_no_header(line: int, cells: list[str], table: TableLayout) -> None:
    if any(column_of_header(cell, table) for cell in cells):
        return
    names = columns_of(table)
    if not any(nearest(_BRACKET.split(cell, maxsplit=1)[0].strip(), names) for cell in cells):
        says = (
            f"has none of the columns of {table.name}: {', '.join(names)};"
            " the first row that is not empty must be the header, with nothing above it"
        )
        raise FileRefused(says, row=line, value=cells[0])


def unit_of_header(header: str) -> str | None:
    """What stands in the header's square brackets; None where it has none."""
    found = _match(header)
    return found["unit"] if found and found["bracket"] else None


def _parser(line: int, header: str, column: Column, decimal: str, findings: FileFindings) -> CellParser | None:
    unit = unit_of_header(header)
    if not isinstance(column.cell, layout.Quantity) and unit is not None:
        says = f"'{column.name}' takes no unit; write the header as '{column.name}'"
        findings.refuse(line, header, unit, says)
        unit = None
    try:
        return cell_parser(column, unit or "", decimal)
    except UnitRefused as refused:
        findings.refuse(line, header, unit, str(refused))
        return None


def _refuse_missing(line: int, table: TableLayout, present: set[str], findings: FileFindings) -> None:
    for column in table.columns:
        if column.required and column.name not in present:
            has_unit = isinstance(column.cell, layout.Quantity)
            unit = "; it is written with its unit in square brackets" if has_unit else ""
            says = f"the required column '{column.name}' is missing{unit}"
            findings.refuse(line, column.name, None, says)
