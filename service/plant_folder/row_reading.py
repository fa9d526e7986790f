"""One row's cells as a canonical row, quickly where cells say what earlier ones said.

A file's cells repeat each other: the same positions, days, states and readings come again and again. Each column
remembers what a text meant, so that only new texts are parsed, looked up and checked.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from operator import itemgetter
from zoneinfo import ZoneInfo

from scheduler.vocabulary import ABSOLUTE_PRESSURE_SYMBOLS
from service.plant_folder import layout
from service.plant_folder.control_characters import refuse_control
from service.plant_folder.folder import FolderRow
from service.plant_folder.headers import BoundColumn, BoundHeader, unit_of_header
from service.plant_folder.layout import TableLayout
from service.plant_folder.moments import ZONE_SLACK, OrdinaryMoments, ReadMoment
from service.plant_folder.references import unknown_code
from service.plant_folder.refusals import CellRefused, FileFindings, RefusedThroughout
from service.plant_folder.register import FEEDING_TABLES, Register, RowTerms
from service.plant_folder.sheets import Row

CountThroughout = Callable[[int, str, str, RefusedThroughout], None]

_MAY_LIE_AHEAD = frozenset({"expires_at", "expected_at", "starts_at", "ends_at"})
_PLACES = frozenset({"positions", "systems", "plants"})
_MOST_REMEMBERED = 20_000
_LONGEST_REMEMBERED = 40


class _Told:
    """A column while its file is read; `meant` is None where a text's meaning depends on more than itself."""

    __slots__ = (
        "field",
        "header",
        "index",
        "is_date",
        "is_moment",
        "may_lie_ahead",
        "meant",
        "parse",
        "refers_to",
        "required",
    )

    def __init__(self, bound: BoundColumn) -> None:
        column = bound.column
        self.index = bound.index
        self.field = bound.field
        self.header = bound.header
        self.parse = bound.parse
        self.required = column.required
        self.refers_to = column.refers_to
        self.is_moment = isinstance(column.cell, layout.Moment)
        self.is_date = f"{column.name}_is_date"
        self.may_lie_ahead = column.name in _MAY_LIE_AHEAD
        depends = isinstance(column.cell, layout.Money | layout.Moment | layout.WordList) or (
            unit_of_header(bound.header) in ABSOLUTE_PRESSURE_SYMBOLS
        )
        self.meant: dict[str, object] | None = None if depends else {}


def _nowhere(_cells: list[str]) -> str:
    return ""


class RowReading:
    """Makes rows of one file; what is wrong with a cell goes to the findings, and its value is left out."""

    def __init__(
        self,
        table: TableLayout,
        header: BoundHeader,
        register: Register,
        findings: FileFindings,
        now: datetime,
        count_throughout: CountThroughout,
    ) -> None:
        self._register = register
        self._findings = findings
        self._now = now
        self._latest = now + ZONE_SLACK
        self._count_throughout = count_throughout
        told = [_Told(bound) for bound in header.columns]
        self._cells = [(each.index, each.field, each.meant, each) for each in told]
        self._note_headers = header.note_headers
        self._headers = {b.index: b.header for b in header.columns} | dict(header.note_headers)
        locating = [bound for bound in header.columns if bound.column.refers_to in _PLACES]
        self._locating = [(bound.column.name, bound.index) for bound in locating]
        self._where = itemgetter(*(bound.index for bound in locating)) if locating else _nowhere
        self._currency = header.named("currency")
        self._terms_met: dict[object, RowTerms] | None = None if table.name in FEEDING_TABLES else {}
        self._moments = OrdinaryMoments()

    def read(self, row: Row) -> FolderRow:
        """The row with those of its cells that can be read."""
        line, cells, unreadable = row
        if unreadable:
            cells = self._without(line, cells, unreadable)
        terms = self._terms(cells)
        values: dict[str, object] = {}
        for index, field, meant, column in self._cells:
            text = cells[index]
            if not text:
                if column.required and index not in unreadable:
                    self._findings.refuse(line, column.header, "", "must not be empty")
            elif meant is None:
                self._take_by_itself(line, column, text, terms, values)
            else:
                value = meant.get(text)
                if value is None:
                    value = self._understood(line, column, text, terms)
                if value is not None:
                    values[field] = value
        reference = recorded_at = None
        if "external_ref" in values:
            reference = str(values.pop("external_ref"))
        if "recorded_at" in values:
            recorded_at = values.pop("recorded_at")
            del values["recorded_at_is_date"]
        notes = self._notes(line, cells) if self._note_headers else {}
        return FolderRow(line, values, notes, reference, recorded_at if isinstance(recorded_at, datetime) else None)

    def _without(self, line: int, cells: list[str], unreadable: Mapping[int, str]) -> list[str]:
        readable = list(cells)
        for index, says in unreadable.items():
            self._findings.refuse(line, self._headers.get(index), cells[index], says)
            readable[index] = ""
        return readable

    def _terms(self, cells: list[str]) -> RowTerms:
        where = self._where(cells)
        terms = None if self._terms_met is None else self._terms_met.get(where)
        if terms is None:
            terms = self._register.terms({name: cells[index] for name, index in self._locating})
            if self._terms_met is not None and len(self._terms_met) < _MOST_REMEMBERED:
                self._terms_met[where] = terms
        if self._currency is not None and cells[self._currency.index]:
            return terms._replace(currency=cells[self._currency.index])
        return terms

    def _take_by_itself(
        self, line: int, column: _Told, text: str, terms: RowTerms, values: dict[str, object]
    ) -> None:
        if column.is_moment:
            self._take_moment(line, column, text, terms, values)
        elif (value := self._understood(line, column, text, terms)) is not None:
            values[column.field] = value

    def _understood(self, line: int, column: _Told, text: str, terms: RowTerms) -> object | None:
        """What a cell means that is new to its column; None where it is refused."""
        value = self._parsed(line, column, text, terms)
        if value is None or self._refused_as_unknown(line, column, text, value):
            return value
        meant = column.meant
        if meant is not None and len(text) <= _LONGEST_REMEMBERED and len(meant) < _MOST_REMEMBERED:
            meant[text] = value
        return value

    def _parsed(self, line: int, column: _Told, text: str, terms: RowTerms) -> object | None:
        if column.parse is None:
            return None
        try:
            refuse_control(text)
            return column.parse(text, terms)
        except RefusedThroughout as refused:
            self._count_throughout(line, column.header, text, refused)
        except CellRefused as refused:
            self._findings.refuse(line, column.header, text, str(refused))
        return None

    def _refused_as_unknown(self, line: int, column: _Told, text: str, value: object) -> bool:
        if column.refers_to is None:
            return False
        suggest = self._findings.whole.has_room
        unknown = unknown_code(str(value), column.refers_to, self._register, suggest=suggest)
        if unknown is not None:
            self._findings.refuse(line, column.header, text, unknown)
        return unknown is not None

    def _take_moment(self, line: int, column: _Told, text: str, terms: RowTerms, values: dict[str, object]) -> None:
        at, is_date = self._moments.at(text, terms.zone), False
        if at is None:
            read = self._parsed(line, column, text, terms)
            if not isinstance(read, ReadMoment):
                return
            at, is_date = read.at, read.is_date
            self._learn(line, column, text, terms.zone, read)
        values[column.field] = at
        values[column.is_date] = is_date
        if at > self._latest and not column.may_lie_ahead:
            says = f"'{text}' lies in the future: now is {self._now:%Y-%m-%dT%H:%M%z}"
            self._findings.refuse(line, column.header, text, says)

    def _learn(self, line: int, column: _Told, text: str, zone: ZoneInfo | None, read: ReadMoment) -> None:
        if read.is_doubled:
            says = f"'{text}' occurred twice that night; the earlier, {read.at:%Y-%m-%dT%H:%M}Z, is taken"
            self._findings.remark(line, column.header, text, says)
        else:
            self._moments.learn(text, zone, read)

    def _notes(self, line: int, cells: list[str]) -> dict[str, str]:
        notes = {}
        for index, header in self._note_headers:
            if cells[index]:
                try:
                    refuse_control(cells[index])
                except CellRefused as refused:
                    self._findings.refuse(line, header, cells[index], str(refused))
                notes[header] = cells[index]
        return notes
