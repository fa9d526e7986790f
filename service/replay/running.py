"""Replays run one after the other in a thread of the serving process; what is done of one outlives that process."""

import logging
import threading
from collections.abc import Callable
from datetime import datetime

import sqlalchemy as sa

from service.database import Database
from service.plant_store.history import load_history
from service.replay.assembling import assemble
from service.replay.keeping import begin, keep_failure, keep_result, keep_steps, kept_steps, next_unfinished
from service.replay.stepping import blocks_of, go_through, moments_of_steps, seen_of

_log = logging.getLogger("elementdue.replay")


class ReplayRunner:
    """Goes on with unfinished replays, the oldest first, whenever it is woken."""

    def __init__(self, database: Database, now: Callable[[], datetime]) -> None:
        self._database = database
        self._now = now
        self._guard = threading.Lock()
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()

    def wake(self) -> None:
        """Start where nothing runs; it ends by itself when nothing is left to do."""
        with self._guard:
            self._stopping.clear()
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._run, name="replay", daemon=True)
                self._thread.start()

    def stop(self) -> None:
        """Stop after the block that is under way; what was done stays."""
        self._stopping.set()
        self.wait()

    def wait(self) -> None:
        """Until nothing runs."""
        thread = self._thread
        if thread is not None:
            thread.join()

    def _run(self) -> None:
        while True:
            with self._guard:
                replay = None if self._stopping.is_set() else self._next()
                if replay is None:
                    self._thread = None
                    return
            try:
                self._go_on(replay)
            except Exception as error:
                _log.exception("replay %s failed", replay["id"])
                with self._database.writing() as connection:
                    keep_failure(connection, replay["id"], f"{type(error).__name__}: {error}", self._now())

    def _next(self) -> sa.RowMapping | None:
        with self._database.reading() as connection:
            return next_unfinished(connection)

    def _go_on(self, replay: sa.RowMapping) -> None:
        with self._database.reading() as connection:
            history = load_history(connection, replay["asked_at"])
        columns = history.cut(replay["asked_at"])
        columns_of = {"systems": list(columns.systems.code), "positions": list(columns.positions.code)}
        with self._database.writing() as connection:
            done = begin(connection, replay, columns_of)
        moments = moments_of_steps(replay["from_at"], replay["to_at"], replay["step_d"])
        blocks = blocks_of(moments, replay["step_d"])
        left = blocks[done // max(len(blocks[0]), 1) :] if blocks else []
        for block in go_through(history, left):
            with self._database.writing() as connection:
                keep_steps(connection, replay["id"], done, block)
            done += len(block)
            if self._stopping.is_set():
                return
        with self._database.reading() as connection:
            steps = [seen_of(kept) for kept in kept_steps(connection, replay["id"])]
        result = assemble(columns, steps, replay["plant"])
        with self._database.writing() as connection:
            keep_result(connection, replay["id"], result, self._now())
