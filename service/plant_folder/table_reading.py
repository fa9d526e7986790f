"""One table's file as canonical rows: every cell parsed, every reference looked up, every row compared."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from service.plant_folder.folder import FolderRow
from service.plant_folder.headers import BoundColumn, BoundHeader
from service.plant_folder.layout import DATA_MISSING_NOTE, RowRule, Rule, TableLayout
from service.plant_folder.lives import overlaps
from service.plant_folder.moments import ZONE_SLACK, ReadMoment
from service.plant_folder.references import unknown_code
from service.plant_folder.refusals import CellRefused, FileFindings, RefusedThroughout, shown
from service.plant_folder.register import Register, RowTerms
from service.plant_folder.repeats import Keys
from service.plant_folder.row_checks import concerns, rule_concern
from service.plant_folder.sheets import CONTROL_CHARACTER, Row, Sheet

Progress = Callable[[str, int, int], None]
"""Told the table, the rows done and the rows in all."""

_ROWS_BETWEEN_REPORTS = 2000
_MAY_LIE_AHEAD = frozenset({"expires_at", "expected_at", "starts_at", "ends_at"})
_PLACES = frozenset({"positions", "systems", "plants"})
_DIGITS = re.compile(r"[+-]?\d+", re.ASCII)


@dataclass(slots=True)
class _Throughout:
    """A refusal that many cells share: where it was met first, and how often."""

    row: int
    header: str | None
    value: str
    says: str
    cells: int = 0


class TableReading:
    """The reading of one file; lives as long as that."""

    def __init__(
        self,
        layout: TableLayout,
        header: BoundHeader,
        register: Register,
        findings: FileFindings,
        now: datetime,
    ) -> None:
        self._layout = layout
        self._header = header
        self._register = register
        self._findings = findings
        self._now = now
        self._latest = now + ZONE_SLACK
        self._keys = Keys(layout, header)
        self._throughout: dict[tuple[str | None, str], _Throughout] = {}
        self._may_hold_control = False
        self._separator = ","
        self._locating = [bound for bound in header.columns if bound.column.refers_to in _PLACES]
        self._currency = header.named("currency")
        self._code_field = layout.key[0].field

    def read(self, sheet: Sheet, progress: Progress | None) -> list[FolderRow]:
        """The rows that say something new; whatever is wrong with them goes to the findings."""
        self._may_hold_control = sheet.may_hold_control
        self._separator = sheet.separator
        rules = self._rules_that_can_hold(sheet.header[0])
        rows: list[FolderRow] = []
        for done, (line, written) in enumerate(sheet.rows):
            if progress and done % _ROWS_BETWEEN_REPORTS == 0:
                progress(self._layout.name, done, len(sheet.rows))
            cells = self._fitted_to_header(line, written)
            if cells is None:
                continue
            row = self._read_row(line, cells)
            self._check_row(row, cells, rules)
            if self._says_something_new(row, cells):
                rows.append(row)
        if progress:
            progress(self._layout.name, len(sheet.rows), len(sheet.rows))
        self._check_lives(rows, sheet.rows)
        self._tell_throughout()
        return rows

    def _rules_that_can_hold(self, line: int) -> list[Rule]:
        """The layout's rules but those whose columns are all missing, which are refused once for the file."""
        present = {bound.column.name for bound in self._header.columns}
        for rule in self._layout.rules:
            if rule.holds is not RowRule.TOGETHER and not present & set(rule.columns):
                how_many = rule.holds.replace("_", " ")
                says = f"{how_many} of the columns {', '.join(rule.columns)} is required; none is there"
                self._findings.refuse(line, ", ".join(rule.columns), None, says)
        return [rule for rule in self._layout.rules if present & set(rule.columns)]

    def _fitted_to_header(self, line: int, cells: list[str]) -> list[str] | None:
        """As many cells as the header names; None, and refused, where there are more."""
        width = self._header.width
        if len(cells) < width:
            return cells + [""] * (width - len(cells))
        surplus = [cell for cell in cells[width:] if cell]
        if not surplus:
            return cells
        says = f"the row has more cells than the header: '{shown(surplus[0])}' is beyond its {width} columns"
        if self._separator == "," and any(_DIGITS.fullmatch(a) and _DIGITS.fullmatch(b) for a, b in pairwise(cells)):
            says += (
                "; if numbers have decimal commas, write them like 1234.5, or save the file with semicolons"
                " and import it with --separator ';' --decimal ','"
            )
            self._count_throughout(line, None, surplus[0], RefusedThroughout(says, whole_file=True))
        else:
            self._findings.refuse(line, None, surplus[0], says)
        return None

    def _read_row(self, line: int, cells: list[str]) -> FolderRow:
        terms = self._terms(cells)
        values: dict[str, object] = {}
        for bound in self._header.columns:
            text = cells[bound.index]
            if not text:
                if bound.column.required:
                    self._findings.refuse(line, bound.header, "", "must not be empty")
                continue
            if bound.parse is None:
                continue
            try:
                self._refuse_control(text)
                self._take(line, bound, text, bound.parse(text, terms), values)
            except RefusedThroughout as refused:
                self._count_throughout(line, bound.header, text, refused)
            except CellRefused as refused:
                self._findings.refuse(line, bound.header, text, str(refused))
        row = FolderRow(line, values, self._notes(line, cells))
        reference, recorded_at = values.pop("external_ref", None), values.pop("recorded_at", None)
        values.pop("recorded_at_is_date", None)
        row.external_ref = reference if isinstance(reference, str) else None
        row.recorded_at = recorded_at if isinstance(recorded_at, datetime) else None
        return row

    def _terms(self, cells: list[str]) -> RowTerms:
        terms = self._register.terms({bound.column.name: cells[bound.index] for bound in self._locating})
        if self._currency is not None and cells[self._currency.index]:
            return terms._replace(currency=cells[self._currency.index])
        return terms

    def _take(self, line: int, bound: BoundColumn, text: str, value: object, values: dict[str, object]) -> None:
        name = bound.column.name
        if isinstance(value, ReadMoment):
            values[name] = value.at
            values[f"{name}_is_date"] = value.is_date
            if value.at > self._latest and name not in _MAY_LIE_AHEAD:
                raise CellRefused(f"'{text}' lies in the future: now is {self._now:%Y-%m-%dT%H:%M%z}")
            if value.is_doubled:
                says = f"'{text}' occurred twice that night; the earlier, {value.at:%Y-%m-%dT%H:%M}Z, is taken"
                self._findings.remark(line, bound.header, text, says)
            return
        values[bound.field] = value
        if bound.column.refers_to is not None:
            suggest = self._findings.whole.has_room
            unknown = unknown_code(str(value), bound.column.refers_to, self._register, suggest=suggest)
            if unknown is not None:
                raise CellRefused(unknown)

    def _notes(self, line: int, cells: list[str]) -> dict[str, str]:
        notes = {}
        for index, header in self._header.note_headers:
            if cells[index]:
                try:
                    self._refuse_control(cells[index])
                except CellRefused as refused:
                    self._findings.refuse(line, header, cells[index], str(refused))
                notes[header] = cells[index]
        return notes

    def _refuse_control(self, text: str) -> None:
        if self._may_hold_control and (found := CONTROL_CHARACTER.search(text)):
            named = {"\n": "a line break", "\r": "a line break", "\t": "a tab"}
            what = named.get(found[0], f"the control character U+{ord(found[0]):04X}")
            raise CellRefused(f"'{shown(text)}' holds {what}; write the cell without it")

    def _check_row(self, row: FolderRow, cells: list[str], rules: list[Rule]) -> None:
        if rules:
            filled = {bound.column.name for bound in self._header.columns if cells[bound.index]}
            for rule in rules:
                broken = rule_concern(rule, filled)
                if broken and DATA_MISSING_NOTE not in row.notes:
                    columns, value = self._headers_and_cells(broken.columns, cells)
                    self._findings.refuse(row.line, columns, value, broken.says)
        for concern in concerns(self._layout.name, row.values, self._register):
            columns, value = self._headers_and_cells(concern.columns, cells)
            tell = self._findings.remark if concern.is_remark else self._findings.refuse
            tell(row.line, columns, value, concern.says)

    def _headers_and_cells(self, names: tuple[str, ...], cells: list[str]) -> tuple[str, str]:
        found = [(name, self._header.named(name)) for name in names]
        headers = (name if bound is None else bound.header for name, bound in found)
        values = (cells[bound.index] for _, bound in found if bound is not None)
        return ", ".join(headers), ", ".join(value for value in values if value)

    def _says_something_new(self, row: FolderRow, cells: list[str]) -> bool:
        earlier = self._keys.earlier(row, cells)
        if earlier is None:
            code = row.values.get(self._code_field)
            if isinstance(code, str):
                self._register.add(self._layout.name, code, row.values)
            return True
        difference = self._keys.difference(row, cells, *earlier)
        columns, value = self._keys.columns, self._keys.value(cells)
        if difference:
            says = f"rows {earlier[0].line} and {row.line} have the same key ({value}), but {difference}"
            self._findings.refuse(row.line, columns, value, says)
        else:
            says = f"the row repeats row {earlier[0].line} and is taken once"
            self._findings.remark(row.line, columns, value, says)
        return False

    def _check_lives(self, rows: list[FolderRow], written: list[Row]) -> None:
        if self._layout.name != "installations":
            return
        cells_of = dict(written)
        removed = self._header.named("removed_at")
        for overlap in overlaps(rows):
            cells = cells_of[overlap.row.line]
            value = cells[removed.index] if removed is not None and removed.index < len(cells) else ""
            header = removed.header if removed is not None else "removed_at"
            self._findings.refuse(overlap.row.line, header, value, overlap.says)

    def _count_throughout(self, line: int, header: str | None, text: str, refused: RefusedThroughout) -> None:
        key = (None, "") if refused.whole_file else (header, str(refused))
        met = self._throughout.setdefault(key, _Throughout(line, header, text, str(refused)))
        met.cells += 1

    def _tell_throughout(self) -> None:
        for met in self._throughout.values():
            others = f" ({met.cells} cells of this kind)" if met.cells > 1 else ""
            self._findings.refuse(met.row, met.header, met.value, met.says + others)
