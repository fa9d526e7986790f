"""A page of the feed for whoever asks, and giving up what is too old to be kept."""

from datetime import datetime

import sqlalchemy as sa

from api_schemas.feed import FeedLine, FeedPage
from api_schemas.problems import MemberProblem
from service.feed.recording import newest_number
from service.feed.tables import feed
from service.keys.keeping import Caller
from service.problems import BadInput, FeedNoLongerKept


def read_page(connection: sa.Connection, caller: Caller, after: int | None, limit: int) -> FeedPage:
    """The first lines after `after`, of the caller's plants; None begins with the oldest that is kept.

    `next` moves over the lines of other plants too. Raises FeedNoLongerKept where lines between `after` and the
    oldest are gone, BadInput where `after` is a number that was never given.
    """
    newest = newest_number(connection)
    oldest: int | None = connection.scalar(sa.select(sa.func.min(feed.c.number)))
    first_kept = newest + 1 if oldest is None else oldest
    if after is None:
        after = first_kept - 1
    if after > newest:
        says = f"the newest number is {newest}; a higher one was never given, or was lost when a backup was restored"
        mends = "read everything anew, then go on after `newest`"
        raise BadInput(f"{says}: {mends}", [MemberProblem(member="after", value=str(after), says=says)])
    if after < first_kept - 1:
        gone = f"lines {after + 1} to {first_kept - 1} are no longer kept, the oldest is {first_kept}"
        mends = f"Read everything anew (due, work orders), then go on with after={newest}"
        raise FeedNoLongerKept(f"{gone}. {mends}", oldest=first_kept, newest=newest)
    query = sa.select(feed).where(feed.c.number > after, caller.only(feed.c.plant)).order_by(feed.c.number)
    rows = connection.execute(query.limit(limit + 1)).mappings().all()
    items = [FeedLine.model_validate(dict(row)) for row in rows[:limit]]
    next_ = items[-1].number if len(rows) > limit else newest
    return FeedPage(items=items, next=next_, newest=newest, oldest=oldest)


def first_kept(connection: sa.Connection, since: datetime) -> int:
    """The number of the first line that was written at `since` or later, else the one that the next will have."""
    first: int | None = connection.scalar(sa.select(sa.func.min(feed.c.number)).where(feed.c.at >= since))
    return newest_number(connection) + 1 if first is None else first


def prune(connection: sa.Connection, first: int) -> None:
    """Give up the lines before number `first`."""
    connection.execute(sa.delete(feed).where(feed.c.number < first))
