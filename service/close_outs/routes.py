"""`/v1/close-outs`: the record that ends a task, exactly once."""

from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Body
from starlette.responses import JSONResponse

from api_schemas.close_outs import CloseOut, CloseOutIn, LaterReadings
from api_schemas.quantities import RowNumber
from service.close_outs.recording import add_readings, close_out_of, record_close_out
from service.dependencies import IdempotencyKey, Now, OpenDatabase, Reader, Worker
from service.keys.answering import Answer, answer_once, digest_of

router = APIRouter(prefix="/close-outs", tags=["close-outs"])

EXAMPLE = {
    "position": "PRESS1-RET",
    "at": "2026-03-05T14:30:00+01:00",
    "hours": 12840.5,
    "dp_before": {
        "dp": {"value": 2.1, "unit": "bar"},
        "flow": {"value": 180, "unit": "L/min"},
        "oil_temperature": {"value": 51, "unit": "degC"},
    },
    "element": {"lot": "L-2207"},
    "oil": [{"fluid": "OIL-46", "volume": {"value": 4, "unit": "L"}, "through_filter": True}],
    "condition": "even dirt, a few bright flakes",
    "done_by": "shift B",
}


@router.post(
    "",
    status_code=201,
    response_model=CloseOut,
    summary="Close a job",
    responses={409: {"description": "Closed already, or what was fitted or poured needs a confirmation"}},
)
def close(
    caller: Worker,
    database: OpenDatabase,
    now: Now,
    body: Annotated[CloseOutIn, Body(examples=[EXAMPLE])],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Ends the installation, begins the next, books stock and oil, and answers with the next due date.

    A mismatch is recorded once it is confirmed with a reason; refused is only what cannot be true.
    """

    def work(connection: sa.Connection) -> Answer:
        recorded = record_close_out(connection, body, now, caller.name)
        return Answer(201, recorded.model_dump(mode="json"))

    digest = digest_of("close-outs", body.model_dump(mode="json"))
    return _response(answer_once(database, caller, idempotency_key, digest, now, work))


@router.get("/{close_out_id}", summary="A close-out as recorded")
def show_close_out(_caller: Reader, database: OpenDatabase, close_out_id: RowNumber) -> CloseOut:
    """With the position's next due date as it stands now."""
    with database.reading() as connection:
        return close_out_of(connection, close_out_id)


@router.post(
    "/{close_out_id}/readings", status_code=201, response_model=CloseOut, summary="Add ΔP that was read later"
)
def add_later_readings(
    caller: Worker,
    database: OpenDatabase,
    now: Now,
    close_out_id: RowNumber,
    body: Annotated[LaterReadings, Body()],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """ΔP before or after the change; another value for the same moment is a correction."""

    def work(connection: sa.Connection) -> Answer:
        recorded = add_readings(connection, close_out_id, body, now, caller.name)
        return Answer(201, recorded.model_dump(mode="json"))

    digest = digest_of(f"close-outs/{close_out_id}/readings", body.model_dump(mode="json"))
    return _response(answer_once(database, caller, idempotency_key, digest, now, work))


def _response(answer: Answer) -> JSONResponse:
    headers = {"Idempotency-Replayed": "true"} if answer.repeated else None
    return JSONResponse(answer.body, answer.status, headers)
