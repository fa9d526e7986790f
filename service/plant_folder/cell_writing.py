"""A kept value as the text of its cell, so that the reader makes the same value of it again.

Numbers are written in the canonical unit with every digit that they have, moments with their offset.
"""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.vocabulary import CANONICAL_UNIT
from service.plant_folder import layout
from service.plant_folder.bare_dates import NOON, days_at_noon
from service.plant_folder.layout import Column
from service.plant_folder.money import minor_digits
from service.plant_folder.register import RowTerms

CellWriter = Callable[[Any, bool, RowTerms], str]
"""From a value, whether it is a bare date, and what the row's plant decides, to the cell."""

_BETWEEN_WORDS = "; "


def header_of(column: Column) -> str:
    """The column's header, with its canonical unit in square brackets where it has one."""
    match column.cell:
        case layout.Quantity(kind=kind):
            return f"{column.name} [{CANONICAL_UNIT[kind]}]"
        case _:
            return column.name


def cell_writer(column: Column, plant_zones: Sequence[ZoneInfo]) -> CellWriter:
    """The writer of one column; `plant_zones` are those of all plants, in which bare dates may have been read."""
    match column.cell:
        case layout.Quantity() | layout.Number():
            return lambda value, _is_date, _terms: repr(float(value))
        case layout.Money():
            return lambda value, _is_date, terms: amount(value, terms.currency)
        case layout.WordList():
            return lambda value, _is_date, _terms: _BETWEEN_WORDS.join(value)
        case layout.Moment():
            return lambda value, is_date, terms: (
                _bare_date(value, terms.zone, plant_zones, is_key=column.key)
                if is_date
                else in_zone(value, terms.zone)
            )
        case _:
            return lambda value, _is_date, _terms: str(value)


def amount(minor: int, currency: str) -> str:
    """Minor units as a decimal amount with the digits of the currency (ISO 4217).

    >>> amount(1250, "EUR"), amount(5, "EUR"), amount(1250, "JPY"), amount(1250, "KWD")
    ('12.50', '0.05', '1250', '1.250')
    """
    digits = minor_digits(currency)
    if digits == 0:
        return str(minor)
    whole, fraction = divmod(minor, 10**digits)
    return f"{whole}.{fraction:0{digits}}"


def in_zone(at: datetime, zone: ZoneInfo | None) -> str:
    """ISO 8601 with the offset of `zone`, or of UTC where there is none.

    >>> in_zone(datetime(2026, 7, 1, 10, 30, tzinfo=UTC), ZoneInfo("Europe/Oslo"))
    '2026-07-01T12:30:00+02:00'
    """
    local = at.astimezone(zone or UTC)
    offset = local.utcoffset() or timedelta(0)
    # local mean times of a hundred years ago have offsets with seconds, which ISO 8601 does not know
    return (local if offset % timedelta(minutes=1) == timedelta(0) else at.astimezone(UTC)).isoformat()


def in_utc(at: datetime) -> str:
    """ISO 8601 in UTC, with Z."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _bare_date(at: datetime, zone: ZoneInfo | None, plant_zones: Sequence[ZoneInfo], *, is_key: bool) -> str:
    """The day; of a key whose noon is no longer that of its zone the moment, since a key is found by it."""
    here = at.astimezone(zone or UTC)
    if here.time() == NOON:
        return here.date().isoformat()
    days = frozenset() if is_key else days_at_noon(at, plant_zones)
    return min(days).isoformat() if days else in_zone(at, zone)
