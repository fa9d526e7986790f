"""Numbers as a file writes them: one decimal mark, no thousands separators, always finite."""

import math
import re
from collections.abc import Callable

from service.plant_folder.refusals import CellRefused, RefusedThroughout, shown

NumberReader = Callable[[str], float]

MOST_PIECES = 1_000_000_000
"""Ours: beyond a thousand million pieces a cell holds something else, and a 32-bit column would overflow."""

# possessive (++), so that a hundred thousand digits and a letter take no longer than they are
_PLAIN = {
    ".": re.compile(r"[+-]?(?:\d++\.?\d*+|\.\d++)(?:[eE][+-]?\d++)?", re.ASCII),
    ",": re.compile(r"[+-]?(?:\d++,?\d*+|,\d++)(?:[eE][+-]?\d++)?", re.ASCII),
}
_WRITTEN_OTHERWISE = re.compile(r"[+-]?\d++(?:[.,'’ \u00a0\u202f]\d{3})*+[.,]?\d*+", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d+(?:\.0*)?", re.ASCII)

_OTHER_MARKS = {
    ".": "is written with a decimal comma or thousands separators; write numbers like 1234.5, or for a file"
    " with semicolons and decimal commas import with --separator ';' --decimal ','",
    ",": "is written with a decimal point or thousands separators, but --decimal ',' was given;"
    " write numbers like 1234,5",
}


def number_reader(decimal: str) -> NumberReader:
    """A function from a cell's text to a finite float, for files with this decimal mark.

    It raises RefusedThroughout for a number written with other marks, CellRefused for anything else.

    >>> number_reader(",")("2,4")
    2.4
    """
    plain = _PLAIN[decimal]

    def read(text: str) -> float:
        if plain.fullmatch(text) is None:
            raise _not_a_number(text, decimal)
        value = float(text.replace(",", ".")) if decimal == "," else float(text)
        if not math.isfinite(value):
            raise CellRefused(f"'{shown(text)}' is beyond any number that can be kept")
        return value

    return read


def whole_number_reader(decimal: str) -> Callable[[str], int]:
    """A function from a cell's text to a whole number; `12.0` is 12, `12.5` is refused."""
    read_float = number_reader(decimal)

    def read(text: str) -> int:
        if _WHOLE.fullmatch(text.replace(decimal, ".") if decimal != "." else text) is None:
            read_float(text)
            raise CellRefused(f"'{shown(text)}' is not a whole number")
        if abs(read_float(text)) > MOST_PIECES:
            raise CellRefused(f"'{shown(text)}' is above the limit of {MOST_PIECES}")
        return int(text.partition(decimal)[0])

    return read


def _not_a_number(text: str, decimal: str) -> CellRefused:
    if _WRITTEN_OTHERWISE.fullmatch(text):
        return RefusedThroughout(f"'{shown(text)}' {_OTHER_MARKS[decimal]}", whole_file=True)
    return CellRefused(f"'{shown(text)}' is not a number")
