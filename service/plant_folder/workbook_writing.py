"""An .xlsx workbook written as a stream (ECMA-376 part 1, 18.3, and part 2): texts are texts, numbers are numbers.

Every text is an inline string, so no code loses a leading zero and nothing is ever taken for a formula; a number has
all the digits of its double. A sheet goes straight into its zip member and is never held.
"""

import re
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from enum import Enum
from typing import IO
from xml.sax.saxutils import escape, quoteattr

from service.plant_folder.limits import LAST_ROW

TakeRow = Callable[[Sequence[str]], object]

MOST_TEXT_IN_CELL = 32_767
"""Characters; a spreadsheet cuts off or refuses what is longer."""

_SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_DECLARATION = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_NO_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can say: the same rows give the same bytes
_BUFFERED_ROWS = 500
_DAY_0 = datetime(1899, 12, 30)  # noqa: DTZ001 - a cell has no zone

_MUST_BE_ESCAPED = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\r\ufffe\uffff\ud800-\udfff]|_(?=x[0-9A-Fa-f]{4}_)")


class DoesNotFit(ValueError):
    """The table does not fit into a worksheet; the text says why."""


class CellKind(Enum):
    """What the cells of a column are; by its value, how a cell of it begins and ends after its reference."""

    TEXT = (' t="inlineStr"><is><t xml:space="preserve">', "</t></is></c>")
    NUMBER = ("><v>", "</v></c>")
    MOMENT = (' s="1"><v>', "</v></c>")


def serial_of(local: datetime) -> str:
    """The number that a date cell shows as the clock time of `local`, whatever its zone (ECMA-376 part 1, 18.17.4).

    >>> serial_of(datetime(2026, 3, 5, 12, 0)), serial_of(datetime(1900, 3, 1))
    ('46086.5', '61.0')
    """
    return repr(round((local.replace(tzinfo=None) - _DAY_0) / timedelta(days=1), 9))


class WorkbookWriting:
    """Writes one sheet after the other into `archive`; `finish` adds what names them."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self._names: list[str] = []

    @contextmanager
    def sheet(self, name: str, kinds: Sequence[CellKind]) -> Iterator[TakeRow]:
        """Takes the header first, then rows; `kinds` says of each column what its cells are."""
        self._names.append(name)
        with self._member(f"xl/worksheets/sheet{len(self._names)}.xml") as part:
            part.write(f'{_DECLARATION}<worksheet xmlns="{_SHEET}"><sheetData>'.encode())
            rows = _SheetRows(part, name, kinds)
            yield rows.take
            rows.flush()
            part.write(b"</sheetData></worksheet>")

    def finish(self) -> None:
        """Write the parts that name the sheets."""
        numbers = range(1, len(self._names) + 1)
        sheets = "".join(
            f'<sheet name={quoteattr(name)} sheetId="{number}" r:id="rId{number}"/>'
            for number, name in zip(numbers, self._names, strict=True)
        )
        related = "".join(_relationship(number, "worksheet", f"worksheets/sheet{number}.xml") for number in numbers)
        typed = "".join(_override(f"/xl/worksheets/sheet{number}.xml", "worksheet") for number in numbers)
        styles_id = len(self._names) + 1
        parts = {
            "xl/workbook.xml": f'<workbook xmlns="{_SHEET}" xmlns:r="{_OFFICE}"><sheets>{sheets}</sheets></workbook>',
            "xl/_rels/workbook.xml.rels": _relationships(related + _relationship(styles_id, "styles", "styles.xml")),
            "xl/styles.xml": _STYLES,
            "_rels/.rels": _relationships(_relationship(1, "officeDocument", "xl/workbook.xml")),
            "[Content_Types].xml": (
                f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels"'
                ' ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
                f"{_override('/xl/workbook.xml', 'sheet.main')}{_override('/xl/styles.xml', 'styles')}{typed}</Types>"
            ),
        }
        for name, text in parts.items():
            with self._member(name) as part:
                part.write((_DECLARATION + text).encode())

    @contextmanager
    def _member(self, name: str) -> Iterator[IO[bytes]]:
        info = zipfile.ZipInfo(name, date_time=_NO_TIME)
        info.compress_type = zipfile.ZIP_DEFLATED
        with self._archive.open(info, "w", force_zip64=True) as part:
            yield part


class _SheetRows:
    """The rows of one sheet on their way into its part."""

    def __init__(self, part: IO[bytes], name: str, kinds: Sequence[CellKind]) -> None:
        self._part = part
        self._name = name
        self._columns = [(_letters(at), kind) for at, kind in enumerate(kinds)]
        self._number = 0
        self._waiting: list[str] = []

    def take(self, cells: Sequence[str]) -> None:
        self._number += 1
        if self._number > LAST_ROW:
            raise DoesNotFit(f"{self._name} has more rows than a worksheet's {LAST_ROW}; export a folder or a .zip")
        number = self._number
        written = [
            self._written(f"{letters}{number}", CellKind.TEXT if number == 1 else kind, cell)
            for (letters, kind), cell in zip(self._columns, cells, strict=True)
            if cell
        ]
        self._waiting.append(f'<row r="{number}">{"".join(written)}</row>')
        if len(self._waiting) == _BUFFERED_ROWS:
            self.flush()

    def _written(self, reference: str, kind: CellKind, cell: str) -> str:
        begins, ends = kind.value
        return f'<c r="{reference}"{begins}{self._text(cell) if kind is CellKind.TEXT else cell}{ends}'

    def flush(self) -> None:
        self._part.write("".join(self._waiting).encode())
        self._waiting = []

    def _text(self, cell: str) -> str:
        if len(cell) > MOST_TEXT_IN_CELL:
            says = f"row {self._number} of {self._name} has a text of more than {MOST_TEXT_IN_CELL} characters"
            raise DoesNotFit(f"{says}; export a folder or a .zip")
        if cell.isalnum() or (cell.isascii() and cell.isprintable() and "_x" not in cell):
            return escape(cell)
        return escape(_MUST_BE_ESCAPED.sub(lambda found: f"_x{ord(found[0]):04X}_", cell))


_STYLES = (
    f'<styleSheet xmlns="{_SHEET}"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd\\ hh:mm"/>'
    '</numFmts><fonts count="1"><font/></fonts><fills count="1"><fill/></fills>'
    '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
    '<cellXfs count="2"><xf xfId="0"/><xf numFmtId="164" xfId="0" applyNumberFormat="1"/></cellXfs></styleSheet>'
)


def _letters(index: int) -> str:
    """The name of a column, A being 0.

    >>> _letters(0), _letters(25), _letters(26), _letters(701), _letters(702)
    ('A', 'Z', 'AA', 'ZZ', 'AAA')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _override(part: str, kind: str) -> str:
    return f'<Override PartName="{part}" ContentType="{_TYPES}.{kind}+xml"/>'


def _relationship(number: int, kind: str, target: str) -> str:
    return f'<Relationship Id="rId{number}" Type="{_OFFICE}/{kind}" Target="{target}"/>'


def _relationships(inside: str) -> str:
    return f'<Relationships xmlns="{_PACKAGE}/relationships">{inside}</Relationships>'
