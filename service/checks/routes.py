"""`/v1/checks`: whether what was taken from the shelf is what the job needs, before anything is opened."""

from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Body, Query
from starlette.responses import JSONResponse

from api_schemas.checks import Check, CheckIn, CheckList
from api_schemas.quantities import RowNumber
from scheduler.vocabulary import CheckVerdict, Scope
from service.checks.checking import check_before_job, kept_checks, refusal_of
from service.cursors import PageAfter
from service.dependencies import IdempotencyKey, Now, OpenDatabase, Reader, Worker
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.problems import NotAllowed, document_of

router = APIRouter(prefix="/checks", tags=["checks"])

EXAMPLE = {
    "position": "PRESS1-RET",
    "part_number": "EL-10",
    "lot": "L-2207",
    "fluid": "OIL-46",
    "fluid_lot": "D-1",
    "container": {"value": 20, "unit": "L"},
    "volume": {"value": 4, "unit": "L"},
}


@router.post(
    "",
    response_model=Check,
    summary="Check what was taken from the shelf",
    responses={
        403: {"description": "An override needs a key with scope `override`"},
        409: {"description": "It must not be used: not-as-specified, with the findings and what to do instead"},
    },
)
def check_shelf(
    caller: Worker,
    database: OpenDatabase,
    now: Now,
    body: Annotated[CheckIn, Body(examples=[EXAMPLE])],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Part, seals, media, lot, fluid, container and amount; nothing of stock or work is changed.

    Every check is kept, a refused one too, and a repeat gets the first answer, a refusal too. `override` with a
    reason sets a refusal aside.
    """
    if body.override is not None and not caller.may(Scope.OVERRIDE):
        raise NotAllowed(f"an override needs a key with scope 'override'; key '{caller.name}' does not have it")

    def work(connection: sa.Connection) -> Answer:
        kept = check_before_job(connection, body, now, caller)
        if kept.verdict is CheckVerdict.REFUSED:  # an answer, not an error: raised, it would undo what it keeps
            problem = refusal_of(kept)
            return Answer(problem.status, document_of(problem).model_dump(mode="json"))
        return Answer(200, kept.model_dump(mode="json"))

    digest = digest_of("checks", body.model_dump(mode="json"))
    return response_of(answer_once(database, caller, idempotency_key, digest, now, work))


@router.get("", summary="Checks, the newest first")
def list_checks(
    caller: Reader,
    database: OpenDatabase,
    task: RowNumber | None = None,
    position: Annotated[str | None, Query(max_length=200)] = None,
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    cursor: PageAfter = None,
) -> CheckList:
    """Who checked what for which job, what it came to, and by which reason a refusal was set aside."""
    with database.reading() as connection:
        return kept_checks(connection, caller, task=task, position=position, limit=limit, cursor=cursor)
