"""The pass that a tick asks for: once per slot, whoever ticks, and a missed one caught up once."""

import logging
import threading
from collections.abc import Callable
from datetime import datetime

import sqlalchemy as sa

from scheduler.timetable import Timetable, slot_of
from service.clock.turn import moment_of_turn
from service.database import Database
from service.due.planning_pass import run_pass
from service.due.tables import passes
from service.keys.answering import forget_answers
from service.webhooks.retention import FeedRetention

_log = logging.getLogger("elementdue.clock")


class PassClock:
    """Runs the planning pass on a schedule in the serving process, and gives up the feed's lines that are too old."""

    def __init__(
        self,
        database: Database,
        every_minutes: int,
        now: Callable[[], datetime],
        retention: FeedRetention | None = None,
    ) -> None:
        self._database = database
        self._now = now
        self._retention = retention
        self._one_at_a_time = threading.Lock()
        self.every_minutes = every_minutes
        self.last_error: str | None = None
        self._timetable: Timetable | None = None

    def start(self) -> None:
        """Begin to tick; the first tick comes at once and catches up what was missed."""
        self._timetable = Timetable(self.tick, self.every_minutes, self._now())
        self._timetable.start()

    def stop(self) -> None:
        """Stop after the pass that is under way."""
        if self._timetable is not None:
            self._timetable.stop()
            self._timetable = None

    @property
    def running(self) -> bool:
        return self._timetable is not None

    @property
    def next_at(self) -> datetime | None:
        return None if self._timetable is None else self._timetable.next_at

    def due_slot(self, now: datetime) -> datetime:
        return slot_of(now, self.every_minutes)

    def is_answered(self, connection: sa.Connection, slot: datetime) -> bool:
        return connection.scalar(sa.select(passes.c.id).where(passes.c.slot == slot)) is not None

    def tick(self) -> None:
        """Run the pass of the present slot unless it has run. A failure is kept for `GET /v1/clock` and logged."""
        with self._one_at_a_time:
            try:
                self._answer()
                self.last_error = None
            except Exception as error:
                self.last_error = f"{type(error).__name__}: {error}"
                _log.exception("the planning pass failed")

    def _answer(self) -> None:
        now = self._now()
        slot = self.due_slot(now)
        with self._database.reading() as connection:
            if self.is_answered(connection, slot):
                return
        with self._database.writing() as connection:
            if not self.is_answered(connection, slot):  # another process may have been faster
                turn = moment_of_turn(connection, now)
                run_pass(connection, as_of=turn, now=turn, cause="clock", by="clock", slot=slot)
                forget_answers(connection, now)
                if self._retention is not None:
                    self._retention.apply(connection, turn)
