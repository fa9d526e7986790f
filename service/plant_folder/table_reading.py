"""One table's file as canonical rows: every row read, checked and compared with the others."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from service.plant_folder.folder import FolderRow, FolderRows
from service.plant_folder.headers import BoundHeader
from service.plant_folder.layout import DATA_MISSING_NOTE, RowRule, Rule, TableLayout
from service.plant_folder.limits import MOST_ENTRIES, MOST_FACTS, MOST_REPEATS_IN_OTHER_WORDS
from service.plant_folder.lives import overlaps
from service.plant_folder.refusals import FileFindings, FileRefused, Findings, RefusedThroughout, shown
from service.plant_folder.register import FEEDING_TABLES, Register
from service.plant_folder.repeats import KeyColumns, Traces, TracesMet
from service.plant_folder.row_checks import CONCERNED_TABLES, Concern, concerns, rule_concern
from service.plant_folder.row_reading import RowReading
from service.plant_folder.sheets import Row, Sheet

Progress = Callable[[str, int, int], None]
"""Told the table, the rows done and the rows in all, as far as that is known."""

OpenRows = Callable[[], Iterator[Row]]
"""Gives the file's rows from the first again."""

_MOST_SHAPES = 1000
_ASKS_FOR_A_CELL = frozenset({RowRule.AT_LEAST_ONE, RowRule.EXACTLY_ONE})
_DIGITS = re.compile(r"[+-]?\d+", re.ASCII)


@dataclass(slots=True)
class _Throughout:
    """A refusal that many cells share: where it was met first, and how often."""

    row: int
    header: str | None
    value: str
    says: str
    cells: int = 0


@dataclass(frozen=True, slots=True)
class _OtherWords:
    """A row whose key an earlier row may have too, though it is written otherwise."""

    row: FolderRow
    cells: list[str]
    earlier_line: int


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
        self._reading = RowReading(layout, header, register, findings, now, self._count_throughout)
        self._key = KeyColumns(layout, header)
        self._met = TracesMet()
        self._in_other_words: list[_OtherWords] = []
        self._throughout: dict[tuple[str | None, str], _Throughout] = {}
        self._rules: list[Rule] = []
        self._broken_by_shape: dict[tuple[bool, ...], list[Concern]] = {}
        self._separator: str | None = ","
        self._has_checks = bool(layout.rules) or layout.name in CONCERNED_TABLES
        self._feeds = layout.name in FEEDING_TABLES
        self._code_field = layout.key[0].field
        self._most_rows = MOST_FACTS if layout.is_fact and layout.name != "installations" else MOST_ENTRIES

    def read(self, sheet: Sheet, again: OpenRows, progress: Progress | None) -> FolderRows:
        """The rows that say something new; whatever is wrong with them goes to the findings.

        Raises FileRefused or OSError where the file cannot be read to its end.
        """
        self._separator = sheet.separator
        self._rules = self._rules_that_can_hold(sheet.header[0])
        rows = FolderRows()
        done = 0
        for block in sheet.blocks():
            if progress:
                progress(self._layout.name, done, max(sheet.expected_rows, done))
            done += len(block)
            if done > self._most_rows:
                raise FileRefused(f"has more than {self._most_rows} rows; send them in several folders")
            self._take(block, rows)
            rows.end_block()
        if progress:
            progress(self._layout.name, done, done)
        self._compare_other_words(rows, again)
        if self._layout.name == "installations":
            self._check_lives(rows, again)
        self._tell_throughout()
        return rows

    def _rules_that_can_hold(self, line: int) -> list[Rule]:
        """The layout's rules but those whose columns are all missing, which are refused once for the file."""
        present = {bound.column.name for bound in self._header.columns}
        for rule in self._layout.rules:
            if rule.holds in _ASKS_FOR_A_CELL and not present & set(rule.columns):
                how_many = rule.holds.replace("_", " ")
                says = f"{how_many} of the columns {', '.join(rule.columns)} is required; none is there"
                self._findings.refuse(line, ", ".join(rule.columns), None, says)
        return [rule for rule in self._layout.rules if present & set(rule.columns)]

    def _take(self, block: list[Row], rows: FolderRows) -> None:
        """Read a block; a row whose key was met before is a repeat, or is compared with it at the end."""
        keyed: list[tuple[FolderRow, list[str]]] = []
        traces = Traces()
        for line, written, unreadable in block:
            cells = self._fitted_to_header(line, written)
            if cells is None:
                continue
            row = self._reading.read((line, cells, unreadable))
            if self._has_checks:
                self._check_row(row, cells)
            key = self._key.of(row, cells)
            if key is None:
                rows.append(row)
            else:
                keyed.append((row, cells))
                traces.add(key, cells, line)
        earlier = self._met.meet(traces)
        if not earlier and not self._feeds:
            rows.extend(row for row, _ in keyed)
            return
        for index, (row, cells) in enumerate(keyed):
            first = earlier.get(index) if earlier else None
            if first is None:
                self._keep(row, rows)
            elif first.cells == traces.cells[index]:
                self._tell_repeat(row, cells, first.line)
            else:
                self._set_aside(_OtherWords(row, cells, first.line))

    def _keep(self, row: FolderRow, rows: FolderRows) -> None:
        rows.append(row)
        if self._feeds:
            code = row.values.get(self._code_field)
            if isinstance(code, str):
                self._register.add(self._layout.name, code, row.values)

    def _fitted_to_header(self, line: int, cells: list[str]) -> list[str] | None:
        """As many cells as the header names; None, and refused, where there are more."""
        width = self._header.width
        if len(cells) == width:
            return cells
        if len(cells) < width:
            return cells + [""] * (width - len(cells))
        surplus = next((cell for cell in cells[width:] if cell), None)
        if surplus is None:
            return cells[:width]
        says = f"the row has more cells than the header: '{shown(surplus)}' is beyond its {width} columns"
        if self._separator == "," and any(_DIGITS.fullmatch(a) and _DIGITS.fullmatch(b) for a, b in pairwise(cells)):
            says += (
                "; if numbers have decimal commas, write them like 1234.5, or save the file with semicolons"
                " and import it with --separator ';' --decimal ','"
            )
            self._count_throughout(line, None, surplus, RefusedThroughout(says, whole_file=True))
        else:
            self._findings.refuse(line, None, surplus, says)
        return None

    def _check_row(self, row: FolderRow, cells: list[str]) -> None:
        if self._rules:
            for broken in self._broken_rules(cells):
                if DATA_MISSING_NOTE not in row.notes:
                    columns, value = self._headers_and_cells(broken.columns, cells)
                    self._findings.refuse(row.line, columns, value, broken.says)
        if self._layout.name in CONCERNED_TABLES:
            for concern in concerns(self._layout.name, row.values, self._register):
                columns, value = self._headers_and_cells(concern.columns, cells)
                tell = self._findings.remark if concern.is_remark else self._findings.refuse
                tell(row.line, columns, value, concern.says)

    def _broken_rules(self, cells: list[str]) -> list[Concern]:
        """A rule asks only which cells are filled, and few patterns of that occur in a file."""
        shape = tuple(map(bool, cells))
        broken = self._broken_by_shape.get(shape)
        if broken is None:
            filled = {bound.column.name for bound in self._header.columns if cells[bound.index]}
            broken = [concern for rule in self._rules if (concern := rule_concern(rule, filled))]
            if len(self._broken_by_shape) < _MOST_SHAPES:
                self._broken_by_shape[shape] = broken
        return broken

    def _headers_and_cells(self, names: tuple[str, ...], cells: list[str]) -> tuple[str, str]:
        found = [(name, self._header.named(name)) for name in names]
        headers = (name if bound is None else bound.header for name, bound in found)
        values = (cells[bound.index] for _, bound in found if bound is not None)
        return ", ".join(headers), ", ".join(value for value in values if value)

    def _tell_repeat(self, row: FolderRow, cells: list[str], earlier_line: int) -> None:
        says = f"the row repeats row {earlier_line} and is taken once"
        self._findings.remark(row.line, self._key.names, self._key.shown_value(cells), says)

    def _set_aside(self, other: _OtherWords) -> None:
        self._in_other_words.append(other)
        if len(self._in_other_words) > MOST_REPEATS_IN_OTHER_WORDS:
            raise FileRefused(
                f"has more than {MOST_REPEATS_IN_OTHER_WORDS} rows with the key of an earlier row, written otherwise;"
                " keep one row of each key",
                row=other.row.line,
            )

    def _compare_other_words(self, rows: FolderRows, again: OpenRows) -> None:
        """Read once more the rows that others were set aside for, and tell repeats from contradictions."""
        if not self._in_other_words:
            return
        told_before = FileFindings(Findings(), self._findings.file)
        silent = RowReading(self._layout, self._header, self._register, told_before, self._now, lambda *_: None)
        first_cells = self._cells_of_lines({other.earlier_line for other in self._in_other_words}, again)
        for other in self._in_other_words:
            cells = first_cells[other.earlier_line]
            first = silent.read((other.earlier_line, cells, {}))
            if self._key.of(first, cells) != self._key.of(other.row, other.cells):
                self._keep(other.row, rows)  # only the hashes of their keys are the same
                continue
            difference = self._key.difference(other.row, other.cells, first, cells)
            if not difference:
                self._tell_repeat(other.row, other.cells, other.earlier_line)
                continue
            value = self._key.shown_value(other.cells)
            says = f"rows {other.earlier_line} and {other.row.line} have the same key ({value}), but {difference}"
            self._findings.refuse(other.row.line, self._key.names, value, says)

    def _cells_of_lines(self, lines: set[int], again: OpenRows) -> dict[int, list[str]]:
        last = max(lines)
        found: dict[int, list[str]] = {}
        width = self._header.width
        for line, cells, _ in again():
            if line in lines:
                found[line] = (cells + [""] * width)[:width]
            if line >= last:
                break
        return found

    def _check_lives(self, rows: FolderRows, again: OpenRows) -> None:
        found = list(overlaps(rows))
        if not found:
            return
        removed = self._header.named("removed_at")
        cells_of = self._cells_of_lines({overlap.line for overlap in found}, again)
        for overlap in found:
            value = "" if removed is None else cells_of[overlap.line][removed.index]
            header = removed.header if removed is not None else "removed_at"
            self._findings.refuse(overlap.line, header, value, overlap.says)

    def _count_throughout(self, line: int, header: str | None, text: str, refused: RefusedThroughout) -> None:
        key = (None, "") if refused.whole_file else (header, str(refused))
        met = self._throughout.setdefault(key, _Throughout(line, header, text, str(refused)))
        met.cells += 1

    def _tell_throughout(self) -> None:
        for met in self._throughout.values():
            others = f" ({met.cells} cells of this kind)" if met.cells > 1 else ""
            self._findings.refuse(met.row, met.header, met.value, met.says + others)
