"""A body of readings as a table's header and rows, be it JSON, a JSON value on each line, or CSV.

Rows of the latter two are read as they are taken; none is held beyond its block.
"""

import io
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeVar

from api_schemas.problems import MemberProblem
from service.plant_folder import layout
from service.plant_folder.csv_files import open_csv
from service.plant_folder.headers import columns_of
from service.plant_folder.layout import Column, TableLayout
from service.plant_folder.refusals import CellRefused, FileRefused, RowFindings, shown
from service.plant_folder.sheets import ALL_READABLE, Marks, Row
from service.plant_folder.told_rows import cell_writer, header_of_unit
from service.problems import BadInput, Problem, TooLarge, WrongContentType
from service.strict_json import parse_strictly

MOST_ROWS = 50_000
"""Of one body: beyond it the answer comes late, and a repeat costs much (ours)."""

MEDIA_TYPES = ("application/json", "application/x-ndjson", "text/csv")

_ROWS_IN_BLOCK = 2000
_COMMA = ","
_Told = TypeVar("_Told")
_HEADER_ROW = 0  # rows are counted from 1, whatever stands above them


@dataclass(frozen=True, slots=True)
class Body:
    """What was sent: bytes, and the media type without its parameters."""

    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True)
class ToldRows:
    """A header and the rows under it. `separator` is None where no sign stands between cells."""

    header: Row
    rows: Iterator[Row]
    separator: str | None

    def blocks(self) -> Iterator[list[Row]]:
        """Some thousand rows at a time."""
        while block := list(islice(self.rows, _ROWS_IN_BLOCK)):
            yield block


def _limited(rows: Iterable[_Told]) -> Iterator[_Told]:
    """Raises TooLarge where there are more than one body may have."""
    for count, row in enumerate(rows, start=1):
        if count > MOST_ROWS:
            raise TooLarge(f"the body may have {MOST_ROWS:,} rows; send the others in another")
        yield row


@contextmanager
def opened(body: Body, table: TableLayout, findings: RowFindings) -> Iterator[ToldRows]:
    """The body's rows; one that is no row at all goes to the findings.

    Raises WrongContentType, Problem for what is no JSON, BadInput for another shape, FileRefused for what is no CSV.
    """
    match body.media_type:
        case "application/json":
            units, rows = _units_and_rows(parse_strictly(body.content))
            yield _Members(table, units, findings).told(_limited(enumerate(rows, start=1)))
        case "application/x-ndjson":
            lines = _values(body.content)
            _, first = next(lines, (0, None))
            units = _units_of(first, "units alone on the first line")
            yield _Members(table, units, findings).told(_limited((line - 1, value) for line, value in lines))
        case "text/csv":
            yield from _from_csv(body.content, table)
        case other:
            says = f"send readings with Content-Type {', '.join(MEDIA_TYPES)}"
            raise WrongContentType(
                f"{says}; they came with {shown(other) or 'none'}",
                [MemberProblem(member="Content-Type", value=shown(other), says=says)],
            )


def _from_csv(content: bytes, table: TableLayout) -> Iterator[ToldRows]:
    def open_bytes() -> io.BufferedReader:
        return io.BufferedReader(io.BytesIO(content))

    with open_csv(open_bytes, table, Marks()) as sheet:
        above = sheet.header[0]
        rows = _limited((line - above, cells, unreadable) for line, cells, unreadable in sheet.rows)
        yield ToldRows((_HEADER_ROW, *sheet.header[1:]), rows, _COMMA)


def _values(content: bytes) -> Iterator[tuple[int, Any]]:
    """The value of each line that is not blank, with its number. Raises Problem naming the line."""
    number = 0
    for line in io.BytesIO(content):
        if not line.strip():
            continue
        number += 1
        try:
            value = parse_strictly(line)
        except Problem as refused:
            errors = [each.model_copy(update={"member": f"line {number}: {each.member}"}) for each in refused.errors]
            raise Problem(f"line {number}: {refused.detail}", errors) from None
        yield number, value


def _units_and_rows(told: Any) -> tuple[Mapping[str, str], list[Any]]:
    units = _units_of({"units": told.get("units", {})} if isinstance(told, dict) else told, "units and rows")
    rows = told.get("rows")
    if not isinstance(rows, list):
        raise _misshapen("rows", rows, "expected a list of rows")
    unknown = sorted(set(told) - {"units", "rows"})
    if unknown:
        raise _misshapen(unknown[0], told[unknown[0]], "unknown member; expected units and rows")
    return units, rows


def _units_of(told: Any, expected: str) -> Mapping[str, str]:
    if not isinstance(told, dict) or set(told) != {"units"}:
        raise _misshapen("body", told, f'expected an object with {expected}, like {{"units": {{"dp": "bar"}}}}')
    units = told["units"]
    if not isinstance(units, dict) or not all(isinstance(unit, str) for unit in units.values()):
        raise _misshapen("units", units, 'expected an object like {"dp": "bar"}')
    return units


def _misshapen(member: str, value: Any, says: str) -> BadInput:
    return BadInput(f"{member}: {says}", [MemberProblem(member=member, value=shown(repr(value)), says=says)])


class _Members:
    """Rows told by members, under a header made of the units that were declared."""

    def __init__(self, table: TableLayout, units: Mapping[str, str], findings: RowFindings) -> None:
        self._table = table
        self._findings = findings
        columns = columns_of(table)
        for name in units:
            if name not in columns or not isinstance(columns[name].cell, layout.Quantity):
                quantities = ", ".join(each.name for each in columns.values() if _takes_unit(each))
                raise _misshapen(
                    f"units.{name}", units[name], f"no quantity of {table.name}; those are: {quantities}"
                )
        named = [column for column in columns.values() if not _takes_unit(column) or column.name in units]
        self._needs_unit = {column.name for column in columns.values()} - {column.name for column in named}
        for column in named:
            if _takes_unit(column) and not units[column.name].strip():
                raise _misshapen(f"units.{column.name}", "", "expected a unit")
        for name in sorted(self._needs_unit):
            if columns[name].required:
                raise _misshapen(f"units.{name}", None, f"say the unit of {name}, which every row has")
        self._at = {column.name: (index, cell_writer(column)) for index, column in enumerate(named)}
        self._header = [
            header_of_unit(column.name, units[column.name]) if _takes_unit(column) else column.name
            for column in named
        ]

    def told(self, rows: Iterator[tuple[int, Any]]) -> ToldRows:
        header: Row = (_HEADER_ROW, self._header, ALL_READABLE)
        return ToldRows(header, (row for each in rows if (row := self._row(*each))), None)

    def _row(self, number: int, told: Any) -> Row | None:
        """Its cells; those that cannot be are left empty and refused. None where it has none."""
        if not isinstance(told, dict):
            self._refuse(number, None, told, "expected an object with the members of one reading")
            return None
        cells = [""] * len(self._header)
        for name, value in told.items():
            found = self._at.get(name)
            if found is None:
                self._refuse(number, name, value, self._why_unknown(name))
                continue
            index, written = found
            try:
                cells[index] = written(value)
            except CellRefused as refused:
                self._refuse(number, name, value, str(refused))
        return number, cells, ALL_READABLE

    def _why_unknown(self, name: str) -> str:
        if name in self._needs_unit:
            return f"the unit of {name} is not said in units"
        return f"unknown member; {self._table.name} has: {', '.join(columns_of(self._table))}"

    def _refuse(self, number: int, member: str | None, value: Any, says: str) -> None:
        self._findings.refuse(
            self._table.name, number, member, value if isinstance(value, str) else repr(value), says
        )


def _takes_unit(column: Column) -> bool:
    return isinstance(column.cell, layout.Quantity)


def as_problem(refused: FileRefused) -> BadInput:
    """A body that is no table, as the API tells it."""
    member = f"line {refused.row}" if refused.row else "body"
    value = None if refused.value is None else shown(refused.value)
    return BadInput(f"{member}: {refused}", [MemberProblem(member=member, value=value, says=str(refused))])
