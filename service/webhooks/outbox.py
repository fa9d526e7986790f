"""What is to be sent next, who sends it, and what became of it: each step a short transaction of its own.

To one target lines go in the order of the feed. The one at the head is tried until it arrives or is dead; only then
comes the next. It is kept before it is sent and marked afterwards, so that whoever is killed in between sends it
again under the same id: at least once, never lost. A lease on the webhook keeps two processes from sending to one
target at the same time.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from scheduler.vocabulary import DeliveryState, FeedType
from service.feed.recording import newest_number
from service.feed.tables import feed
from service.webhooks.signing import event_body
from service.webhooks.tables import webhook_deliveries as deliveries
from service.webhooks.tables import webhooks

RETRIES_AFTER_S = (5.0, 30.0, 120.0, 600.0, 3_600.0, 21_600.0, 86_400.0)
"""Ours: a restart of the receiver is bridged in seconds, a weekend is not waited out for ever."""

JITTER = 0.1
"""Ours: each wait is up to a tenth longer, so that targets that failed together do not come back together."""

LEASE = timedelta(seconds=60)
"""Ours: several times as long as an attempt may take."""

_LOOKED_THROUGH_AGAIN = 1000
"""Ours: as many lines that do not concern a webhook are looked through each second before it is put beyond them."""

GONE = 410
_BY_DEFAULT = tuple(type_ for type_ in FeedType if type_ is not FeedType.DUE_DRIFTED)


@dataclass(frozen=True, slots=True)
class Job:
    """One attempt that this process has claimed."""

    webhook: int
    delivery: int
    target: str
    secret: str
    event: str
    body: str
    attempts: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the receiver answered, or `says` why there is no answer."""

    status: int | None
    says: str | None = None

    @property
    def arrived(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


def ready(connection: sa.Connection, now: datetime) -> list[int]:
    """Webhooks that nobody sends to, and that have something to be sent now."""
    return [hook["id"] for hook in _free(connection, now) if _has_work(connection, hook, now)]


def claim(connection: sa.Connection, webhook: int, by: str, now: datetime, source: str) -> Job | None:
    """The head of the webhook's queue for this process alone, None where another was faster or nothing is due."""
    found = [hook for hook in _free(connection, now) if hook["id"] == webhook]
    if not found or not _has_work(connection, found[0], now):
        return None
    (hook,) = found
    head = _head(connection, webhook)
    if head is None:
        line = _next_line(connection, hook)
        if line is None:
            passed = sa.update(webhooks).where(webhooks.c.id == webhook)
            connection.execute(passed.values(after=newest_number(connection)))
            return None
        keep_line(connection, hook, line, source, DeliveryState.WAITING, now)
        head = _head(connection, webhook)
        assert head is not None  # noqa: S101 - just kept
    lease = {"claimed_by": by, "claimed_until": now + LEASE}
    connection.execute(sa.update(webhooks).where(webhooks.c.id == webhook).values(**lease))
    return Job(webhook, head["id"], hook["target"], hook["secret"], head["event"], head["body"], head["attempts"])


def mark(connection: sa.Connection, job: Job, by: str, outcome: Outcome, now: datetime, jitter: float) -> None:
    """Keep what became of the attempt and give the lease back. `jitter` is between 0 and 1.

    An answer 410 pauses the webhook with the line still at its head; so it is the first one when it goes on.
    """
    own = sa.and_(webhooks.c.id == job.webhook, webhooks.c.claimed_by == by)
    if connection.execute(sa.update(webhooks).where(own).values(claimed_by=None, claimed_until=None)).rowcount == 0:
        return  # the lease ran out and another process has it: what that one hears counts
    attempts = job.attempts + 1
    values: dict[str, Any] = {
        "attempts": attempts,
        "last_at": now,
        "last_status": outcome.status,
        "says": outcome.says,
    }
    if outcome.arrived:
        values |= {"state": DeliveryState.DELIVERED, "next_at": None}
    elif outcome.status == GONE:
        paused = {"paused_at": now, "paused_because": "the receiver answered 410 Gone"}
        connection.execute(sa.update(webhooks).where(webhooks.c.id == job.webhook).values(**paused))
        values["next_at"] = now
    elif attempts > len(RETRIES_AFTER_S):
        values |= {"state": DeliveryState.DEAD, "next_at": None}
    else:
        values["next_at"] = now + timedelta(seconds=RETRIES_AFTER_S[attempts - 1] * (1.0 + JITTER * jitter))
    connection.execute(sa.update(deliveries).where(deliveries.c.id == job.delivery).values(**values))


def keep_undelivered(connection: sa.Connection, first_kept: int, now: datetime, source: str) -> None:
    """Lines below `first_kept` that the feed is about to give up and that a webhook has not had become dead letters.

    So a webhook that is paused, or that lags behind for weeks, loses nothing: they can be sent again when asked for.
    """
    hooks = connection.execute(sa.select(webhooks).where(webhooks.c.ended_at.is_(None))).mappings().all()
    for hook in hooks:
        if hook["after"] >= first_kept - 1:
            continue
        query = sa.select(feed).where(_wanted(hook), feed.c.number < first_kept).order_by(feed.c.number)
        for line in connection.execute(query).mappings().all():
            keep_line(connection, hook, line, source, DeliveryState.DEAD, now)
        passed = sa.update(webhooks).where(webhooks.c.id == hook["id"])
        connection.execute(passed.values(after=first_kept - 1))


def give_up_delivered(connection: sa.Connection, before: datetime) -> None:
    """What arrived is remembered as long as its line; dead letters until they are sent or the webhook ends."""
    old = sa.and_(deliveries.c.state == DeliveryState.DELIVERED, deliveries.c.last_at < before)
    connection.execute(sa.delete(deliveries).where(old))


def keep_line(
    connection: sa.Connection,
    hook: sa.RowMapping,
    line: sa.RowMapping,
    source: str,
    state: DeliveryState,
    now: datetime,
) -> None:
    """From now on this line is a delivery of the webhook."""
    is_dead = state is DeliveryState.DEAD
    connection.execute(
        sa.insert(deliveries).values(
            webhook=hook["id"],
            number=line["number"],
            event=line["id"],
            body=event_body(line, source),
            state=state,
            attempts=0,
            next_at=None if is_dead else now,
            says="the feed gave it up before it could be sent" if is_dead else None,
        )
    )
    passed = sa.update(webhooks).where(webhooks.c.id == hook["id"])
    connection.execute(passed.values(after=line["number"]))


def _free(connection: sa.Connection, now: datetime) -> list[sa.RowMapping]:
    is_free = sa.or_(webhooks.c.claimed_until.is_(None), webhooks.c.claimed_until <= now)
    is_active = sa.and_(webhooks.c.paused_at.is_(None), webhooks.c.ended_at.is_(None))
    query = sa.select(webhooks).where(is_active, is_free).order_by(webhooks.c.id)
    return list(connection.execute(query).mappings())


def _has_work(connection: sa.Connection, hook: sa.RowMapping, now: datetime) -> bool:
    head = _head(connection, hook["id"])
    if head is not None:
        return bool(head["next_at"] <= now)
    is_far_behind = newest_number(connection) - hook["after"] >= _LOOKED_THROUGH_AGAIN
    return is_far_behind or _next_line(connection, hook) is not None


def _head(connection: sa.Connection, webhook: int) -> sa.RowMapping | None:
    is_waiting = sa.and_(deliveries.c.webhook == webhook, deliveries.c.state == DeliveryState.WAITING)
    query = sa.select(deliveries).where(is_waiting).order_by(deliveries.c.number).limit(1)
    return connection.execute(query).mappings().one_or_none()


def _next_line(connection: sa.Connection, hook: sa.RowMapping) -> sa.RowMapping | None:
    query = sa.select(feed).where(_wanted(hook)).order_by(feed.c.number).limit(1)
    return connection.execute(query).mappings().one_or_none()


def _wanted(hook: sa.RowMapping) -> sa.ColumnElement[bool]:
    wanted = [feed.c.number > hook["after"], feed.c.type.in_(hook["types"] or _BY_DEFAULT)]
    if hook["plants"] is not None:
        wanted.append(feed.c.plant.in_(hook["plants"]))
    return sa.and_(*wanted)
