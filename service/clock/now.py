"""The only reading of the clock: once per request or cycle, at the edge."""

from datetime import UTC, datetime


def now_utc() -> datetime:
    """This moment, in UTC."""
    return datetime.now(UTC)
