"""A cell's text as the value that its column holds: one parser for each column, resolved once for a file."""

import math
import re
import sys
from collections.abc import Callable
from enum import StrEnum

from scheduler.engineering.cleanliness_code import Code
from scheduler.units import atmosphere_bar, conversion
from scheduler.vocabulary import ABSOLUTE_PRESSURE_SYMBOLS, CANONICAL_UNIT
from service.plant_folder import layout
from service.plant_folder.layout import Column
from service.plant_folder.limits import LONGEST_CODE, LONGEST_TEXT, MOST_WORDS
from service.plant_folder.moments import read_moment, read_time_zone
from service.plant_folder.money import read_currency, read_money
from service.plant_folder.nearest import did_you_mean
from service.plant_folder.refusals import CellRefused, RefusedThroughout, shown
from service.plant_folder.register import RowTerms
from service.plant_folder.written_numbers import number_reader, whole_number_reader

CellParser = Callable[[str, RowTerms], object]
"""From a trimmed, non-empty cell and its row's terms to the value kept. Raises CellRefused."""

_BETWEEN_WORDS = re.compile(r"[;,|]")


def cell_parser(column: Column, symbol: str, decimal: str) -> CellParser:
    """The parser of one column of one file; `symbol` is the header's unit. Raises UnitRefused for it."""
    match column.cell:
        case layout.Quantity():
            return _quantity_parser(column.cell, symbol, decimal)
        case layout.Pieces() | layout.Number() | layout.Money():
            return _plain_number_parser(column.cell, decimal)
        case layout.Choice(options=options):
            return _choice_parser(options)
        case layout.Text():
            return _text_parser(column)
        case _:
            return _word_parser(column.cell)


def _plain_number_parser(cell: layout.Pieces | layout.Number | layout.Money, decimal: str) -> CellParser:
    match cell:
        case layout.Pieces():
            return _pieces_parser(cell, decimal)
        case layout.Number():
            return _number_parser(cell, decimal)
        case layout.Money():
            return lambda text, terms: read_money(text, terms.currency, decimal)


def _word_parser(
    cell: layout.Moment | layout.CleanlinessCode | layout.TimeZoneName | layout.WordList,
) -> CellParser:
    match cell:
        case layout.Moment():
            return lambda text, terms: read_moment(text, terms.zone)
        case layout.CleanlinessCode(sample=sample):
            return _cleanliness_parser(sample=sample)
        case layout.TimeZoneName():
            return lambda text, _terms: read_time_zone(text)
        case layout.WordList(words=words):
            return _word_list if words is None else _listed_words(words)


def _quantity_parser(cell: layout.Quantity, symbol: str, decimal: str) -> CellParser:
    found = conversion(symbol, cell.kind)
    factor, offset = found.factor, found.offset
    is_absolute = symbol in ABSOLUTE_PRESSURE_SYMBOLS
    read = number_reader(decimal)
    least = -math.inf if cell.minimum is None else cell.minimum
    most = sys.float_info.max if cell.maximum is None else cell.maximum
    above = cell.above_minimum

    def parse(text: str, terms: RowTerms) -> float:
        value = read(text) * factor
        if offset:
            value = round(value + offset, 9)  # as scheduler.units.to_canonical
        if is_absolute:
            value -= _atmosphere_bar(terms)
        if not least <= value <= most or (above and value <= least):
            raise CellRefused(_out_of_bounds(text, value, symbol, cell))
        return value + 0.0  # -0 becomes 0

    return parse


def _atmosphere_bar(terms: RowTerms) -> float:
    if terms.altitude_m is None:
        raise RefusedThroughout(
            "absolute pressures need the plant's altitude to become gauge:"
            f" give 'altitude [m]' for '{terms.plant}' in plants.csv, or gauge values"
        )
    return atmosphere_bar(terms.altitude_m)


def _out_of_bounds(text: str, value: float, symbol: str, cell: layout.Quantity) -> str:
    unit = CANONICAL_UNIT[cell.kind]
    written = f"{shown(text)} {symbol}"
    if not math.isfinite(value):
        return f"{written} is beyond any number that can be kept"
    if symbol != unit:
        written += f" is {value:.6g} {unit}, which"
    if cell.minimum is not None and value <= cell.minimum:
        return (
            f"{written} is not above {cell.minimum:g} {unit}"
            if cell.above_minimum
            else (f"{written} is below {cell.minimum:g} {unit}")
        )
    return f"{written} is above {cell.maximum:g} {unit}"


def _pieces_parser(cell: layout.Pieces, decimal: str) -> CellParser:
    read = whole_number_reader(decimal)

    def parse(text: str, _terms: RowTerms) -> int:
        pieces = read(text)
        if pieces < cell.minimum:
            raise CellRefused(f"{shown(text)} is below {cell.minimum}")
        if cell.maximum is not None and pieces > cell.maximum:
            raise CellRefused(f"{shown(text)} is above {cell.maximum}")
        return pieces

    return parse


def _number_parser(cell: layout.Number, decimal: str) -> CellParser:
    read = number_reader(decimal)

    def parse(text: str, _terms: RowTerms) -> float:
        value = read(text)
        if value < cell.minimum:
            raise CellRefused(f"{shown(text)} is below {cell.minimum:g}")
        if cell.maximum is not None and value > cell.maximum:
            raise CellRefused(f"{shown(text)} is above {cell.maximum:g}")
        return value + 0.0

    return parse


def _choice_parser(options: type[StrEnum]) -> CellParser:
    values = {option.value: option.value for option in options}

    def parse(text: str, _terms: RowTerms) -> str:
        value = values.get(text)
        if value is None:
            near = did_you_mean(text, values)
            raise CellRefused(f"'{shown(text)}' is not one of: {', '.join(values)}{near}")
        return value

    return parse


def _cleanliness_parser(*, sample: bool) -> CellParser:
    def parse(text: str, _terms: RowTerms) -> str:
        try:
            return str(Code.parse(shown(text), sample=sample))
        except ValueError as error:
            raise CellRefused(str(error)) from error

    return parse


def _word_list(text: str, _terms: RowTerms) -> list[str]:
    words = list(dict.fromkeys(word.strip() for word in _BETWEEN_WORDS.split(text) if word.strip()))
    if len(words) > MOST_WORDS or max(map(len, words), default=0) > LONGEST_CODE:
        raise CellRefused(
            f"'{shown(text)}' has {len(words)} words; at most {MOST_WORDS} of {LONGEST_CODE} characters are kept"
        )
    return words


def _listed_words(options: type[StrEnum]) -> CellParser:
    one = _choice_parser(options)
    return lambda text, terms: [str(one(word, terms)) for word in _word_list(text, terms)]


def _text_parser(column: Column) -> CellParser:
    if column.name == "currency":
        return lambda text, _terms: read_currency(text)
    longest = LONGEST_CODE if column.key or column.refers_to else LONGEST_TEXT

    def parse(text: str, _terms: RowTerms) -> str:
        if len(text) > longest:
            raise CellRefused(f"'{shown(text)}' has {len(text)} characters; at most {longest} are kept")
        return text

    return parse
