"""Giving up what is too old, of the feed and of its deliveries, without losing what a webhook still is to be told."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa

from service.feed.reading import first_kept, prune
from service.webhooks.outbox import give_up_delivered, keep_undelivered


@dataclass(frozen=True, slots=True)
class FeedRetention:
    """For how many days lines are kept; `source` is that of the events that are made of them at the last moment."""

    kept_days: int
    source: str

    def apply(self, connection: sa.Connection, now: datetime) -> None:
        """In the transaction of a pass of the clock."""
        since = now - timedelta(days=self.kept_days)
        first = first_kept(connection, since)
        keep_undelivered(connection, first, now, self.source)
        prune(connection, first)
        give_up_delivered(connection, since)
