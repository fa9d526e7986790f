"""Waiting for news without a thread: however many clients wait, the newest number is read once for all of them."""

import time
from collections.abc import Callable

import anyio
from starlette.concurrency import run_in_threadpool

from service.database import Database
from service.feed.recording import newest_number

_LOOKS_EVERY_S = 0.25
"""Ours: news of another process is heard within this time, and an idle plant costs four small reads a second."""


class FeedWatch:
    """The newest number of the feed, as those who wait see it; where `is_ending`, nobody waits any longer."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._newest = 0
        self._read_at: float | None = None
        self.is_ending: Callable[[], bool] = lambda: False

    async def has_news(self, beyond: int, until_s: float) -> bool:
        """Wait for a number above `beyond`; False at `until_s` of the monotonic clock, or when the server ends."""
        while not self.is_ending():
            await self._look()
            if self._newest > beyond:
                return True
            left_s = until_s - time.monotonic()
            if left_s <= 0.0:
                return False
            await anyio.sleep(min(left_s, _LOOKS_EVERY_S))
        return False

    async def _look(self) -> None:
        moment = time.monotonic()
        if self._read_at is not None and moment - self._read_at < _LOOKS_EVERY_S * 0.9:
            return
        self._read_at = moment  # before it is read: the others that wait need not read it as well
        self._newest = await run_in_threadpool(self._read)

    def _read(self) -> int:
        with self._database.reading() as connection:
            return newest_number(connection)
