"""What a worksheet's cell says, as the text that the same cell of a CSV file would be.

A cell that a spreadsheet shows in one way and keeps in another is not guessed at: a duration is no number of
hours, a code that was taken for a date is no code any more.
"""

import math
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import NamedTuple

from scheduler.vocabulary import Answer, YesNo
from service.plant_folder import layout
from service.plant_folder.headers import column_of_header
from service.plant_folder.layout import TableLayout
from service.plant_folder.refusals import shown
from service.plant_folder.workbook import Shown, Workbook, unescaped


class RawCell(NamedTuple):
    """A cell's type, style and value as the part has them (ECMA-376 part 1, 18.3.1.4 and 18.18.11)."""

    kind: str
    style: str
    text: str | None


class CellUnreadable(ValueError):
    """The cell has no text that its column could take; `shown` is what stands in it."""

    def __init__(self, shown_value: str, says: str) -> None:
        super().__init__(says)
        self.shown = shown_value


AsText = Callable[[RawCell], str]

_EXACT_WHOLE = 10**15
"""Spreadsheets keep 15 digits: of a longer code the rest is lost."""

_SERIALS_1900 = (datetime(1899, 12, 30), 61, 2_958_465)  # noqa: DTZ001 - a cell has no zone
_SERIALS_1904 = (datetime(1904, 1, 1), 0, 2_957_003)  # noqa: DTZ001
"""Day 0 and the first and last serial number of both systems (ECMA-376 part 1, 18.17.4).

Before 1 March 1900 the older system counts a 29 February that never was, so it is read from there on.
"""

_MILLISECOND = timedelta(milliseconds=1)


def as_plain_text(workbook: Workbook, decimal: str) -> AsText:
    """The reader of a cell of which only its text matters: a header, a note of the plant's own."""
    return lambda cell: _read(cell, workbook, decimal, _Takes(is_text=True, is_moment=True, truth=("TRUE", "FALSE")))


def cell_readers(header: list[str], table: TableLayout, workbook: Workbook, decimal: str) -> list[AsText]:
    """One reader for each column of `header`, knowing what the column holds."""
    readers: list[AsText] = []
    for name in header:
        column = column_of_header(name, table)
        if column is None:
            readers.append(as_plain_text(workbook, decimal))
        else:
            readers.append(_reader(workbook, decimal, _takes(column.cell)))
    return readers


class _Takes(NamedTuple):
    """What a column can make of a cell that is no text; `truth` are its words for TRUE and FALSE.

    A share is a plain number, which may be shown as a percentage of one; a quantity in per cent may not.
    """

    is_text: bool = False
    is_moment: bool = False
    is_share: bool = False
    truth: tuple[str, str] | None = None


def _takes(cell: layout.Cell) -> _Takes:
    match cell:
        case layout.Moment():
            return _Takes(is_moment=True)
        case layout.Choice(options=options) if options in {YesNo, Answer}:
            return _Takes(is_text=True, truth=("yes", "no"))
        case layout.Number():
            return _Takes(is_share=True)
        case layout.Quantity() | layout.Pieces() | layout.Money():
            return _Takes()
        case _:
            return _Takes(is_text=True)


def _reader(workbook: Workbook, decimal: str, takes: _Takes) -> AsText:
    return lambda cell: _read(cell, workbook, decimal, takes)


def _read(cell: RawCell, workbook: Workbook, decimal: str, takes: _Takes) -> str:
    if cell.text is None:
        raise CellUnreadable("=…", "holds a formula without its value; open the workbook, let it calculate, save it")
    match cell.kind:
        case "s":
            return _shared(cell.text, workbook).strip()
        case "inlineStr":
            return cell.text.strip()
        case "str" | "d":
            return unescaped(cell.text).strip()
        case "b":
            return _truth(cell.text, takes)
        case "e":
            raise CellUnreadable(cell.text, f"holds the error {shown(cell.text)}; put in a value or empty the cell")
        case _:
            return _number(cell.text, _format_of(cell, workbook), workbook.is_1904, decimal, takes)


def _shared(text: str, workbook: Workbook) -> str:
    index = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1
    if not 0 <= index < len(workbook.shared_strings):
        raise CellUnreadable(text, "refers to a text that the workbook does not hold; save it again")
    return workbook.shared_strings[index]


def _truth(text: str, takes: _Takes) -> str:
    is_true = text.strip() in {"1", "true"}
    if takes.truth is None:
        word = "TRUE" if is_true else "FALSE"
        raise CellUnreadable(word, f"is {word}, which this column does not take; write the value as text or number")
    return takes.truth[0 if is_true else 1]


def _format_of(cell: RawCell, workbook: Workbook) -> Shown:
    index = int(cell.style) if cell.style.isascii() and cell.style.isdigit() and len(cell.style) < 10 else 0
    return workbook.formats[index] if index < len(workbook.formats) else Shown.NUMBER


def _number(text: str, shown_as: Shown, is_1904: bool, decimal: str, takes: _Takes) -> str:
    if not text.strip():
        return ""
    number = _finite(text)
    if shown_as is Shown.PERCENTAGE and not takes.is_share:
        says = f"'{shown(text)}' is shown as {number * 100:g} %; format the cell as a plain number and type it again"
        raise CellUnreadable(text, says)
    if shown_as not in {Shown.NUMBER, Shown.PERCENTAGE}:
        return _moment(number, text, shown_as, is_1904, takes)
    if not number.is_integer():
        return repr(number).replace(".", decimal)
    if abs(number) >= _EXACT_WHOLE and takes.is_text:
        says = f"'{shown(text)}' is kept as a number of 15 digits at most; format the cell as text and type it again"
        raise CellUnreadable(text, says)
    return str(int(number)) if abs(number) < _EXACT_WHOLE else repr(number).replace(".", decimal)


def _finite(text: str) -> float:
    try:
        number = math.nan if "_" in text else float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise CellUnreadable(text, f"'{shown(text)}' is kept as a number and is none that can be kept; type it again")
    return number


def _moment(serial: float, text: str, shown_as: Shown, is_1904: bool, takes: _Takes) -> str:
    if not takes.is_moment or shown_as in {Shown.TIME, Shown.DURATION}:
        wanted = "a day, or a day and a time" if takes.is_moment else "a plain number or text"
        says = f"'{shown(text)}' is formatted as a {shown_as.value}; this column takes {wanted}"
        raise CellUnreadable(text, says)
    epoch, first, last = _SERIALS_1904 if is_1904 else _SERIALS_1900
    if not first <= serial < last + 1:
        raise CellUnreadable(text, f"'{shown(text)}' is formatted as a date and is none between 1900 and 9999")
    days = math.floor(serial)
    time_of_day = round(timedelta(days=serial - days) / _MILLISECOND) * _MILLISECOND  # a serial's own precision
    at = epoch + timedelta(days=days) + min(time_of_day, timedelta(days=1) - _MILLISECOND)
    if shown_as is Shown.DATE and not time_of_day:
        return at.date().isoformat()
    return at.isoformat(timespec="milliseconds" if at.microsecond else "minutes" if not at.second else "seconds")
