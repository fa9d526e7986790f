"""Between moments and the planner's day numbers."""

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def to_day(moment: datetime) -> float:
    """Days since 1970-01-01T00:00Z."""
    return (moment - _EPOCH) / timedelta(days=1)


def from_day(day: float) -> datetime:
    """The moment of a day number, to the second.

    >>> from_day(to_day(datetime(2026, 3, 29, 1, 30, tzinfo=UTC))).isoformat()
    '2026-03-29T01:30:00+00:00'
    """
    return _EPOCH + timedelta(seconds=round(day * 86_400.0))
