"""Members and their values, as JSON has them, as the header and the cells of a table: one set of rules for both.

A quantity's unit stands in its header, so a row that is told with units of its own is a table of one row.
"""

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from api_schemas.problems import MemberProblem
from scheduler.vocabulary import CANONICAL_UNIT
from service.plant_folder import layout
from service.plant_folder.cell_writing import amount
from service.plant_folder.folder import Folder
from service.plant_folder.headers import bind_header, columns_of
from service.plant_folder.layout import Column, TableLayout
from service.plant_folder.refusals import CellRefused, FileRefused, Findings, FolderRefused, Refusal, shown
from service.plant_folder.register import Register, RowTerms
from service.plant_folder.sheets import ALL_READABLE, Consumed, Row, Sheet
from service.plant_folder.table_reading import TableReading

NOTES = "notes"
"""The member that holds the columns of the plant's own, whose names begin with x_."""

_UNIT = re.compile(r" ?\[[^\]]*\]")
_BETWEEN_WORDS = re.compile(r"[;,|]")
_WHOLE_BELOW = 10**15  # exact in a double, and written without an exponent


def header_of_unit(name: str, unit: str) -> str:
    """The column `name` in `unit`."""
    return f"{name} [{unit}]"


def cell_of(column: Column, value: Any) -> str:
    """The cell that says `value`, '' for None. Raises CellRefused where JSON has another kind of value for it."""
    return cell_writer(column)(value)


def cell_writer(column: Column) -> Callable[[Any], str]:
    """`cell_of` for many values of one column."""
    match column.cell:
        case layout.Quantity() | layout.Number() | layout.Pieces() | layout.Money():
            return _number
        case layout.WordList():
            return _words
        case _:
            return _text


def _number(value: Any) -> str:
    if type(value) is float:
        is_whole = value.is_integer() and abs(value) < _WHOLE_BELOW
        return str(int(value)) if is_whole else repr(value)
    if type(value) is int:
        return str(value)
    if value is None:
        return ""
    raise CellRefused(f"expected a number, not {shown(repr(value))}")


def _text(value: Any) -> str:
    if type(value) is str:
        return value.strip()
    if value is None:
        return ""
    raise CellRefused(f"expected a text, not {shown(repr(value))}")


def _words(value: Any) -> str:
    if value is None:
        return ""
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise CellRefused(f"expected a list of texts, not {shown(repr(value))}")
    for word in value:
        if _BETWEEN_WORDS.search(word):
            raise CellRefused(f"'{shown(word)}' holds a sign that stands between words: ';', ',' or '|'")
    return "; ".join(value)


def folder_of_one(table: TableLayout, told: Mapping[str, Any], register: Register, now: datetime) -> Folder:
    """The folder that would say `told`: members by column, quantities as value and unit.

    Raises FolderRefused with everything that is wrong with it.
    """
    findings = Findings()
    in_body = findings.in_file(table.name)
    columns = columns_of(table)
    named: dict[str, str] = dict(told.get(NOTES) or {})
    for name, value in told.items():
        if name == NOTES:
            continue
        try:
            header, inner = (
                (header_of_unit(name, value["unit"]), value["value"]) if isinstance(value, dict) else (name, value)
            )
            named[header] = cell_of(columns[name], inner)
        except CellRefused as refused:
            in_body.refuse(None, name, repr(value), str(refused))
    header_row: Row = (1, list(named), ALL_READABLE)
    row: Row = (2, list(named.values()), ALL_READABLE)
    findings.raise_if_refused()
    try:
        reading = TableReading(table, bind_header(header_row, table, ".", in_body), register, in_body, now)
        rows = reading.read(Sheet(header_row, iter([row]), None, 1, Consumed()), lambda: iter([row]), None)
    except FileRefused as refused:
        in_body.refuse(None, None, refused.value, str(refused))
    findings.raise_if_refused()
    return Folder({table.name: rows}, findings.remarks)


def member_of(header: str | None) -> str:
    """The members that a header, or several, names: `dp [bar], flow [gpm]` is `dp, flow`."""
    return _UNIT.sub("", header or "") or "body"


def problem_of(refusal: Refusal) -> MemberProblem:
    """A refusal as the API tells it."""
    return MemberProblem(member=member_of(refusal.column), value=refusal.value, says=refusal.says)


def problems_of(refused: FolderRefused) -> list[MemberProblem]:
    """All that were told in full."""
    return [problem_of(refusal) for refusal in refused.refusals]


def wire_value(column: Column, value: Any, terms: RowTerms) -> Any:
    """A kept value as JSON tells it: quantities in their canonical unit, money in the row's currency."""
    match column.cell:
        case _ if value is None:
            return None
        case layout.Quantity(kind=kind):
            return {"value": value, "unit": CANONICAL_UNIT[kind]}
        case layout.Money():
            return float(amount(value, terms.currency))
        case layout.Moment():
            return value.isoformat()
        case _:
            return value
