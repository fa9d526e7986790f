"""The day that a bare date said, found again from the noon that is kept of it.

Parts are shared by all plants: their bare dates are noon of the zone that the plants had in common when they were
read, so a plant added later may have moved the noon, never the day.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, tzinfo

NOON = time(12)


def days_at_noon(at: datetime, zones: Iterable[tzinfo]) -> frozenset[date]:
    """The days whose noon `at` is, in UTC or in one of `zones`; empty where it is no noon there.

    >>> sorted(days_at_noon(datetime(2026, 7, 1, 12, tzinfo=UTC), []))
    [datetime.date(2026, 7, 1)]
    """
    local = [at.astimezone(zone) for zone in (UTC, *zones)]
    return frozenset(there.date() for there in local if there.time() == NOON)
