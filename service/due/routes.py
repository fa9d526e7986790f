"""`/v1/due`: what is due and why."""

from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Depends, Query, Request, Response
from starlette.responses import JSONResponse

from api_schemas.due import DueItem, DueList, PassNote
from api_schemas.due_history import DueChanges, DueHistory
from api_schemas.moments import Moment
from service.clock.turn import moment_of_turn
from service.cursors import PageAfter
from service.dependencies import IdempotencyKey, Now, OnlyPlant, OpenDatabase, PlannerOfAll, Reader, RequestDigest
from service.due.history import changes_since, history_of
from service.due.kept_pages import KeptPages
from service.due.listing import LONGEST_PAGE, display_units, due_at_moment, due_from_last_pass, due_of_position
from service.due.planning_pass import last_pass_id, run_pass
from service.due.since import LAST_WEEK, read_since
from service.keys.answering import Answer, answer_once, response_of
from service.problems import NotFound
from service.seen_by_caller import SeenPosition

router = APIRouter(tags=["due"])

Limit = Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Items on a page.")]
OnlySystem = Annotated[str | None, Query(max_length=200, description="Only this system's.")]


def _pages(request: Request) -> KeptPages:
    found: KeptPages = request.app.state.due_pages
    return found


@router.get("/due", response_model=DueList, summary="What is due, by date, with its uncertainty and its reason")
def list_due(
    caller: Reader,
    database: OpenDatabase,
    pages: Annotated[KeptPages, Depends(_pages)],
    plant: OnlyPlant,
    as_of: Annotated[
        Moment | None,
        Query(description="Compute afresh from what was known at that time; nothing is kept and no cursor given."),
    ] = None,
    system: OnlySystem = None,
    limit: Limit = LONGEST_PAGE,
    cursor: PageAfter = None,
) -> Response:
    """One item per position in service, sorted by `due_at`, those without a date last."""
    with database.reading() as connection:
        if as_of is not None:
            content = _written(due_at_moment(connection, caller, as_of, plant=plant, system=system))
        else:
            units = tuple(sorted(display_units(connection).items()))
            content = pages.page(
                (last_pass_id(connection), units, caller.plants, limit, cursor, plant, system),
                lambda: _written(
                    due_from_last_pass(connection, caller, limit=limit, cursor=cursor, plant=plant, system=system)
                ),
            )
    return Response(content, media_type="application/json")


def _written(page: DueList) -> bytes:
    return page.model_dump_json().encode()


@router.get("/due/changes", summary="What is new, earlier, later and done since then")
def list_changes(
    caller: Reader,
    database: OpenDatabase,
    plant: OnlyPlant,
    since: Annotated[
        str,
        Query(
            max_length=40, description="`last-pass`, `last-week`, a time with an offset, or a date: from its start."
        ),
    ] = LAST_WEEK,
    system: OnlySystem = None,
    limit: Limit = LONGEST_PAGE,
    cursor: PageAfter = None,
) -> DueChanges:
    """Each position's date then against its date now, with the most telling cause first."""
    with database.reading() as connection:
        return changes_since(
            connection, caller, read_since(since), limit=limit, cursor=cursor, plant=plant, system=system
        )


@router.get("/due/{position}/history", summary="How one position's due date moved, and why")
def show_history(
    _caller: Reader, database: OpenDatabase, position: SeenPosition, limit: Limit = 100, cursor: PageAfter = None
) -> DueHistory:
    """Newest first; each line begins with the date that the line before it ended with."""
    with database.reading() as connection:
        return history_of(connection, position, limit=limit, cursor=cursor)


@router.get("/due/{position}", summary="One position's due date")
def show_due(_caller: Reader, database: OpenDatabase, position: SeenPosition) -> DueItem:
    """From the last pass."""
    with database.reading() as connection:
        item = due_of_position(connection, position)
    if item is None:
        raise NotFound(f"the last pass has no position '{position}' in service")
    return item


@router.post("/passes", status_code=201, response_model=PassNote, summary="Run a planning pass now")
def run_pass_now(
    caller: PlannerOfAll,
    database: OpenDatabase,
    now: Now,
    digest: RequestDigest,
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Due dates, diagnoses, drafts and picks are brought up to date in one transaction."""

    def work(connection: sa.Connection) -> Answer:
        turn = moment_of_turn(connection, now)
        done = run_pass(connection, as_of=turn, now=turn, cause="asked for", by=caller.name)
        return Answer(201, PassNote(id=done.id, as_of=done.as_of, cause="asked for").model_dump(mode="json"))

    return response_of(answer_once(database, caller, idempotency_key, digest, now, work))
