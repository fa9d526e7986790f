"""Dates and times of a file (ISO 8601, extended form) as moments in UTC.

Without an offset a time is the plant's; a bare date is 12:00 plant time (of parts that plants in different
zones share: 12:00 UTC) and marked. Of the hour that
daylight saving repeats the earlier is taken, and said; a time that it skips does not exist and is refused.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from service.plant_folder.nearest import did_you_mean
from service.plant_folder.refusals import CellRefused, RefusedThroughout, shown

ZONE_SLACK = timedelta(days=1)
"""How far after now a fact may be dated: the largest distance between two plants' clocks."""

_FIRST_YEAR, _LAST_YEAR = 1900, 2200  # ours: outside it a year is a slip, and UTC conversion could overflow
_NOT_A_PLACE = frozenset({"localtime", "Factory", "posixrules"})

_MOMENT = re.compile(
    r"(\d{4}-\d{2}-\d{2})"
    r"(?:[Tt ](\d{2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?) ?([Zz]|[+-]\d{2}(?::?\d{2})?)?)?",
    re.ASCII,
)
_EXPECTED = "expected ISO 8601, like 2026-03-05 or 2026-03-05T14:30 or 2026-03-05T14:30+01:00"


@dataclass(frozen=True, slots=True)
class ReadMoment:
    """A moment in UTC; `is_date` where only the day is known, `is_doubled` where the hour occurred twice."""

    at: datetime
    is_date: bool
    is_doubled: bool = False


def read_moment(text: str, zone: ZoneInfo | None) -> ReadMoment:
    """The moment that `text` names. Raises CellRefused; RefusedThroughout where a zone is needed and unknown.

    >>> read_moment("2026-07-01", ZoneInfo("Europe/Oslo")).at.isoformat()
    '2026-07-01T10:00:00+00:00'
    """
    found = _MOMENT.fullmatch(text)
    if found is None:
        raise CellRefused(f"'{shown(text)}' is not a date or time; {_EXPECTED}")
    day, clock, offset = found.groups()
    try:
        written = datetime.fromisoformat(f"{day}T{clock or '12:00'}{(offset or '').upper()}")
    except ValueError:
        raise CellRefused(f"'{text}' is not in the calendar or on the clock; {_EXPECTED}") from None
    if not _FIRST_YEAR <= written.year <= _LAST_YEAR:
        raise CellRefused(f"'{text}' is outside the years {_FIRST_YEAR} to {_LAST_YEAR}")
    if written.tzinfo is not None:
        return ReadMoment(written.astimezone(UTC), is_date=False)
    if zone is None and clock is None:
        zone = ZoneInfo("UTC")  # parts are shared by all plants: of a day the zone moves the noon, not the date
    if zone is None:
        raise RefusedThroughout(
            "no offset, and no plant says the time zone (no plant is known, or plants are in different"
            " zones); give a time with an offset, like 2026-03-05T14:30+01:00"
        )
    return _in_zone(written, zone, text, is_date=clock is None)


def _in_zone(local: datetime, zone: ZoneInfo, text: str, *, is_date: bool) -> ReadMoment:
    in_place = local.replace(tzinfo=zone)
    earlier, later = in_place.utcoffset(), in_place.replace(fold=1).utcoffset()
    if earlier is None or later is None:
        raise CellRefused(f"'{text}' has no offset in {zone.key}")
    if earlier < later:
        raise CellRefused(f"'{text}' does not exist in {zone.key}: the clocks skipped that hour")
    return ReadMoment((local - earlier).replace(tzinfo=UTC), is_date, is_doubled=earlier > later)


@cache
def time_zone_names() -> frozenset[str]:
    return frozenset(available_timezones()) - _NOT_A_PLACE


def read_time_zone(text: str) -> str:
    """An IANA time zone name. Raises CellRefused with the nearest.

    >>> read_time_zone("Europe/Oslo")
    'Europe/Oslo'
    """
    if text not in time_zone_names():
        near = did_you_mean(text, time_zone_names())
        raise CellRefused(f"'{shown(text)}' is not an IANA time zone, like Europe/Oslo{near}")
    return text


class OrdinaryMoments:
    """Moments told again and again: a file's days and times of day are few, and reading each of them once is enough.

    Only days without a change of the clocks are learnt; everything else is left to `read_moment`.
    """

    def __init__(self) -> None:
        self._days_of: dict[str, dict[str, datetime]] = {}
        self._times: dict[str, tuple[timedelta, bool]] = {}
        self._whole: dict[tuple[str, ZoneInfo | None], datetime] = {}

    def at(self, text: str, zone: ZoneInfo | None) -> datetime | None:
        """The moment that `text` names, where its day and its time of day were learnt before."""
        met = self._whole.get((text, zone))
        if met is None:
            met = self._put_together(text, zone)
            if met is not None and len(self._whole) < _MOST_WHOLE:
                self._whole[text, zone] = met
        return met

    def _put_together(self, text: str, zone: ZoneInfo | None) -> datetime | None:
        time = self._times.get(text[_DAY_LENGTH:])
        if time is None:
            return None
        since_midnight, has_offset = time
        days = self._days_of.get(_UTC_KEY if has_offset or zone is None else zone.key)
        start = None if days is None or (zone is None and not has_offset) else days.get(text[:_DAY_LENGTH])
        return None if start is None else start + since_midnight

    def learn(self, text: str, zone: ZoneInfo | None, read: ReadMoment) -> None:
        """Remember the day and the time of a `text` that was read as `read`."""
        found = _MOMENT.fullmatch(text)
        if found is None or found[2] is None:
            return
        has_offset = found[3] is not None
        local = datetime.fromisoformat(f"{found[1]}T{found[2]}")
        midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
        if has_offset:
            start, key = midnight.replace(tzinfo=UTC), _UTC_KEY
        elif zone is not None and (offset := _offset_all_day(midnight, zone)) is not None:
            start, key = (midnight - offset).replace(tzinfo=UTC), zone.key
        else:
            return
        days = self._days_of.setdefault(key, {})
        if len(days) < _MOST_LEARNT:
            days[found[1]] = start
        if len(self._times) < _MOST_LEARNT:
            self._times[text[_DAY_LENGTH:]] = (read.at - start, has_offset)


_UTC_KEY = ""
_DAY_LENGTH = len("2026-03-05")
_MOST_LEARNT = 100_000  # every second of a day, and every day of two hundred years
_MOST_WHOLE = 20_000  # positions are often read at the same times


def _offset_all_day(midnight: datetime, zone: ZoneInfo) -> timedelta | None:
    offsets = {
        moment.replace(tzinfo=zone, fold=fold).utcoffset()
        for moment in (midnight, midnight + timedelta(hours=12), midnight + timedelta(days=1))
        for fold in (0, 1)
    }
    return offsets.pop() if len(offsets) == 1 else None
