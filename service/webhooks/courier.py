"""The thread of a serving process that sends what is due to webhooks."""

import logging
import random
import threading
import uuid
from collections.abc import Callable
from datetime import datetime

from service.database import Database
from service.webhooks.outbox import claim, mark, ready
from service.webhooks.sending import Sender

_log = logging.getLogger("elementdue.webhooks")

_LOOKS_EVERY_S = 1.0
"""Ours: the most that a line waits before the first attempt."""


class Courier:
    """Sends one line after the other; several processes may each have one."""

    def __init__(
        self,
        database: Database,
        sender: Sender,
        now: Callable[[], datetime],
        source: str,
        jitter: Callable[[], float] = random.random,
    ) -> None:
        self._database, self._sender, self._now, self._source, self._jitter = database, sender, now, source, jitter
        self._name = uuid.uuid4().hex
        self._ends = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to look for work."""
        self._ends.clear()
        self._thread = threading.Thread(target=self._run, name="webhooks", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End after the attempt that is under way."""
        self._ends.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def turn(self) -> int:
        """One attempt for each webhook that has something to be sent; how many there were."""
        with self._database.reading() as connection:
            found = ready(connection, self._now())
        made = 0
        for webhook in found:
            if self._ends.is_set():
                break
            with self._database.writing() as connection:
                job = claim(connection, webhook, self._name, self._now(), self._source)
            if job is None:
                continue
            outcome = self._sender.send(job, self._now())
            with self._database.writing() as connection:
                mark(connection, job, self._name, outcome, self._now(), self._jitter())
            made += 1
        return made

    def _run(self) -> None:
        while not self._ends.is_set():
            made = 0
            try:
                made = self.turn()
            except Exception:  # the database may be busy or away for a while: the next turn comes
                _log.exception("a turn of the webhooks failed")
            if not made:
                self._ends.wait(_LOOKS_EVERY_S)
