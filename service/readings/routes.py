"""`/v1/meter-readings` and `/v1/dp-readings`: one row or fifty thousand."""

import hashlib
import json
from typing import Annotated, Any, Literal

import sqlalchemy as sa
from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import JSONResponse

from api_schemas.readings import ReadingsIn, ReadingsTold
from service.dependencies import IdempotencyKey, Integrator, Now, OpenDatabase
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.keys.keeping import Caller
from service.plant_folder import layout
from service.plant_folder.layout import TableLayout
from service.readings.bodies import Body
from service.readings.taking import Wish, take_readings

router = APIRouter(tags=["readings"])

_HOURS_CSV = "system,meter,at,hours [h],external_ref\nPRESS1,,2026-03-05T14:30+01:00,12840.5,S-1\n"
_DP_CSV = "position,at,dp [bar],oil_temperature [degC]\nPRESS1-RET,2026-03-05T14:30+01:00,1.2,51\n"
_HOURS = {"system": "PRESS1", "at": "2026-03-05T14:30:00+01:00", "hours": 12840.5, "external_ref": "S-1"}
_DP = {"position": "PRESS1-RET", "at": "2026-03-05T14:30:00+01:00", "dp": 1.2, "oil_temperature": 51}
_TOLD: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {
            "application/json": {
                "example": {
                    "recorded_at": "2026-03-05T13:31:07Z",
                    "import_id": 12,
                    "counts": {"new": 1, "as_before": 0, "corrected": 0, "refused": 1},
                    "outcomes": [
                        {
                            "row": 2,
                            "outcome": "refused",
                            "earlier": {},
                            "errors": [{"member": "at", "value": "yesterday", "says": "'yesterday' is not a date"}],
                            "remarks": [],
                        }
                    ],
                }
            }
        }
    },
    413: {"description": "More rows, or more bytes, than one call may have"},
    415: {"description": "Neither application/json nor application/x-ndjson nor text/csv"},
}


def _body_of(row: dict[str, Any], units: dict[str, str], csv: str) -> dict[str, Any]:
    """What the description says of the body, which the route reads itself."""
    schema = ReadingsIn.model_json_schema(ref_template="#/components/schemas/{model}")
    schema.pop("$defs", None)
    lines = "".join(f"{json.dumps(each)}\n" for each in ({"units": units}, row))
    content = {
        "application/json": {"schema": schema, "example": {"units": units, "rows": [row]}},
        "application/x-ndjson": {"schema": {"type": "string"}, "example": lines},
        "text/csv": {"schema": {"type": "string"}, "example": csv},
    }
    return {"requestBody": {"required": True, "content": content}}


async def _whole_body(request: Request) -> Body:
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return Body(media_type, await request.body())


_Body = Annotated[Body, Depends(_whole_body)]


class Taking:
    """One body of readings, taken once for its `Idempotency-Key`."""

    def __init__(
        self,
        database: OpenDatabase,
        now: Now,
        all_or_nothing: Annotated[bool, Query(description="Keep nothing where any row is refused.")] = False,
        outcomes: Annotated[
            Literal["news", "all"],
            Query(description="`all` tells of every row, `news` of those with something to say."),
        ] = "news",
        idempotency_key: IdempotencyKey = None,
    ) -> None:
        self._database, self._now, self._idempotency_key = database, now, idempotency_key
        self._wish = Wish(all_or_nothing=all_or_nothing, tell_all=outcomes == "all")

    def take(self, table: TableLayout, body: Body, caller: Caller) -> JSONResponse:
        """All in one transaction; what is answered is on disk."""

        def work(connection: sa.Connection) -> Answer:
            told = take_readings(connection, table, body, self._wish, caller=caller, now=self._now)
            return Answer(200, told.model_dump(mode="json"))

        said = [body.media_type, hashlib.sha256(body.content).hexdigest(), str(self._wish)]
        digest = digest_of(f"readings {table.name}", said)
        answer = answer_once(self._database, caller, self._idempotency_key, digest, self._now, work)
        return response_of(answer)


_Taking = Annotated[Taking, Depends()]


@router.post(
    "/meter-readings",
    response_model=ReadingsTold,
    summary="Tell of hours that meters showed",
    responses=_TOLD,
    openapi_extra=_body_of(_HOURS, {"hours": "h"}, _HOURS_CSV),
)
def add_meter_readings(caller: Integrator, body: _Body, taking: _Taking) -> JSONResponse:
    """Up to 50,000 rows as JSON, as JSON lines with the units on the first one, or as CSV like the plant folder's.

    Rows that are right are kept though others are refused. The same reading again is as before, another value is a
    correction. Due dates follow with the next pass of the clock, or with one that is asked for at /v1/passes.
    """
    return taking.take(layout.METER_READINGS, body, caller)


@router.post(
    "/dp-readings",
    response_model=ReadingsTold,
    summary="Tell of differential pressures that were read",
    responses=_TOLD,
    openapi_extra=_body_of(_DP, {"dp": "bar", "oil_temperature": "degC"}, _DP_CSV),
)
def add_dp_readings(caller: Integrator, body: _Body, taking: _Taking) -> JSONResponse:
    """As with meter readings; pressures up- and downstream, vacuum and indicator are told in the same way."""
    return taking.take(layout.DP_READINGS, body, caller)
