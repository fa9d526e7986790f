"""`/v1/feed`: what changed, in order, for whoever follows the plant."""

import time
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool

from api_schemas.feed import FeedPage
from service.database import Database
from service.dependencies import OpenDatabase, Reader
from service.feed.reading import read_page
from service.feed.waiting import FeedWatch
from service.keys.keeping import Caller

router = APIRouter(tags=["feed"])

LONGEST_WAIT_S = 30


@router.get(
    "/feed",
    summary="What changed, in order",
    responses={410: {"description": "Lines after that number are no longer kept: read everything anew"}},
)
async def follow_feed(
    caller: Reader,
    database: OpenDatabase,
    request: Request,
    after: Annotated[
        int | None, Query(ge=0, le=2**31 - 1, description="`next` of the page before; without it from the oldest.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
    wait: Annotated[
        int, Query(ge=0, le=LONGEST_WAIT_S, description="Seconds to wait for the first line where there is none.")
    ] = 0,
) -> FeedPage:
    """Each line was written in the transaction of its change; its number is one more than that of the line before.

    A key for some plants gets the lines of these alone: numbers that it sees may skip, none of its own is missing,
    and `next` moves over the others. Who begins asks for `newest` here, then reads everything, then goes on after it.
    Taking the later of two lines about a subject, one then has the picture that `GET` would give, without asking.
    """
    until_s = time.monotonic() + wait
    watch: FeedWatch = request.app.state.feed_watch
    page = await run_in_threadpool(_read, database, caller, after, limit)
    while not page.items and wait and await watch.has_news(page.next, until_s):
        page = await run_in_threadpool(_read, database, caller, page.next, limit)
    return page


def _read(database: Database, caller: Caller, after: int | None, limit: int) -> FeedPage:
    with database.reading() as connection:
        return read_page(connection, caller, after, limit)
