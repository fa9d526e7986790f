"""`/v1/replays`: the plant's past gone through as it was known then, and held against what came."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, FastAPI, Query, Request
from fastapi.responses import JSONResponse

from api_schemas.quantities import RowNumber
from api_schemas.replays import Replay, ReplayAsked, ReplayList
from service.clock.now import now_utc
from service.cursors import PageAfter
from service.dependencies import IdempotencyKey, Now, OpenDatabase, Planner, Reader
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.replay.keeping import ask_for_replay, replay_of, replays_page
from service.replay.running import ReplayRunner

LONGEST_PAGE = 500


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """What an earlier process left undone goes on when the server starts."""
    runner = _runner_of(app)
    runner.wake()
    try:
        yield
    finally:
        runner.stop()


router = APIRouter(prefix="/replays", tags=["replays"], lifespan=_lifespan)


@router.post("", status_code=202, response_model=Replay, summary="Replay the past")
def start_replay(
    caller: Planner,
    database: OpenDatabase,
    now: Now,
    asked: ReplayAsked,
    request: Request,
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Runs in the background, one at a time; `Location` says where its progress and then its result are.

    Each step is computed from what was recorded by then. A server that is stopped or killed goes on where it was.
    """

    def work(connection: sa.Connection) -> Answer:
        told = ask_for_replay(connection, caller, asked, now)
        body = told.model_dump(mode="json", by_alias=True)
        return Answer(202, body, headers={"Location": f"/v1/replays/{told.id}"})

    digest = digest_of("POST /v1/replays", asked.model_dump(mode="json", by_alias=True))
    answer = answer_once(database, caller, idempotency_key, digest, now, work)
    _runner_of(request.app).wake()
    return response_of(answer)


@router.get("", summary="Replays, newest first")
def list_replays(
    caller: Reader,
    database: OpenDatabase,
    limit: Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Replays on a page.")] = LONGEST_PAGE,
    cursor: PageAfter = None,
) -> ReplayList:
    """With their progress, without their results."""
    with database.reading() as connection:
        return replays_page(connection, caller, limit=limit, cursor=cursor)


@router.get("/{replay_id}", summary="One replay: its progress, and its result when it is done")
def show_replay(caller: Reader, database: OpenDatabase, replay_id: RowNumber) -> Replay:
    """`result` is null until `state` is `done`."""
    with database.reading() as connection:
        return replay_of(connection, caller, replay_id)


def _runner_of(app: FastAPI) -> ReplayRunner:
    if not hasattr(app.state, "replay_runner"):
        app.state.replay_runner = ReplayRunner(app.state.database, now_utc)
    found: ReplayRunner = app.state.replay_runner
    return found
