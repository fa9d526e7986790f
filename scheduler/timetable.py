"""The clock's ticks: the only file that knows APScheduler. It takes callables and knows nothing of what they do.

A tick that could not run in time runs once when it can (`coalesce`), and never beside itself (`max_instances`).
Which pass a tick answers is decided by whoever takes it, so a double tick is harmless.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

_TICK = "tick"


class Timetable:
    """Ticks at whole multiples of `every_minutes` since 1970-01-01T00:00Z, and once at the start."""

    def __init__(self, tick: Callable[[], None], every_minutes: float, now: datetime) -> None:
        self._scheduler = BackgroundScheduler(
            timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
        )
        self._scheduler.add_job(tick, _WholeSlots(every_minutes), id=_TICK, next_run_time=now)

    def start(self) -> None:
        """Begin ticking in a thread of its own."""
        self._scheduler.start()

    def stop(self) -> None:
        """Stop, after a tick that is under way has ended."""
        self._scheduler.shutdown(wait=True)

    @property
    def next_at(self) -> datetime | None:
        """When the next tick comes."""
        job = self._scheduler.get_job(_TICK)
        return None if job is None else job.next_run_time


class _WholeSlots(BaseTrigger):  # type: ignore[misc] # the library ships no types
    """The library's own interval would count on from the tick at the start, beside the slots."""

    def __init__(self, every_minutes: float) -> None:
        self._every_minutes = every_minutes

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:
        return slot_of(previous_fire_time or now, self._every_minutes) + timedelta(minutes=self._every_minutes)


def slot_of(now: datetime, every_minutes: float) -> datetime:
    """The latest scheduled tick at `now`: the slot that a pass answers.

    >>> slot_of(datetime(2026, 10, 25, 1, 59, tzinfo=UTC), 60).isoformat()  # summer time ends: UTC does not care
    '2026-10-25T01:00:00+00:00'
    """
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    every = timedelta(minutes=every_minutes)
    return epoch + every * ((now - epoch) // every)
