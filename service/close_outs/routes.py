"""`/v1/close-outs`: the record that ends a task, exactly once."""

from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Body
from starlette.responses import JSONResponse

from api_schemas.close_outs import CloseOut, CloseOutIn, CorrectionIn, LaterReadings
from service.close_outs.correcting import correct_close_out
from service.close_outs.recording import add_readings, close_out_of, record_close_out
from service.dependencies import IdempotencyKey, Now, OpenDatabase, Reader, Worker
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.seen_by_caller import SeenCloseOut

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

CORRECTION_EXAMPLE = {
    "why": "lot and hours were those of the other press",
    "hours": 12804.5,
    "element": {"lot": "L-2206"},
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
        recorded = record_close_out(connection, body, now, caller)
        location = {"Location": f"/v1/close-outs/{recorded.id}"}
        return Answer(201, recorded.model_dump(mode="json"), headers=location)

    said = body.model_dump(mode="json")
    if body.external_ref is None:
        del said["external_ref"]  # a repeat of before there was this member is still a repeat
    digest = digest_of("close-outs", said)
    return response_of(answer_once(database, caller, idempotency_key, digest, now, work))


@router.get("/{close_out_id}", summary="A close-out as it stands")
def show_close_out(_caller: Reader, database: OpenDatabase, close_out_id: SeenCloseOut) -> CloseOut:
    """With its corrections, and the position's next due date as it stands now."""
    with database.reading() as connection:
        return close_out_of(connection, close_out_id)


@router.post(
    "/{close_out_id}/readings", status_code=201, response_model=CloseOut, summary="Add ΔP that was read later"
)
def add_later_readings(
    caller: Worker,
    database: OpenDatabase,
    now: Now,
    close_out_id: SeenCloseOut,
    body: Annotated[LaterReadings, Body()],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """ΔP before or after the change; another value for the same moment is a correction."""

    def work(connection: sa.Connection) -> Answer:
        recorded = add_readings(connection, close_out_id, body, now, caller.name)
        return Answer(201, recorded.model_dump(mode="json"))

    digest = digest_of(f"close-outs/{close_out_id}/readings", body.model_dump(mode="json"))
    return response_of(answer_once(database, caller, idempotency_key, digest, now, work))


@router.post(
    "/{close_out_id}/corrections",
    status_code=201,
    response_model=CloseOut,
    summary="Correct what was told wrongly",
    responses={
        200: {"model": CloseOut, "description": "It said so already: nothing was changed"},
        409: {"description": "A later change stands on it, or what was fitted or poured needs a confirmation"},
    },
)
def correct(
    caller: Worker,
    database: OpenDatabase,
    now: Now,
    close_out_id: SeenCloseOut,
    body: Annotated[CorrectionIn, Body(examples=[CORRECTION_EXAMPLE])],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Installations, readings, stock and oil follow, and the due dates with them; the earlier values stay on record.

    With `undo` the job never happened: the earlier element sits there again and its parts are back on the shelf.
    Refused is what cannot be true beside a later close-out, which is named.
    """

    def work(connection: sa.Connection) -> Answer:
        corrected, is_new = correct_close_out(connection, close_out_id, body, now, caller.name)
        return Answer(201 if is_new else 200, corrected.model_dump(mode="json"))

    said = body.model_dump(mode="json", exclude_unset=True)  # null takes a value back, nothing leaves it
    digest = digest_of(f"close-outs/{close_out_id}/corrections", said)
    return response_of(answer_once(database, caller, idempotency_key, digest, now, work))
