"""`/v1/diagnoses`: what a good fitter would see in the data, and who knows of it."""

from collections.abc import Callable
from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Body, Depends, Query, Response
from starlette.responses import JSONResponse

from api_schemas.diagnoses import Diagnosis, DiagnosisList, RemarkIn
from service.conditional import version_told
from service.cursors import PageAfter
from service.dependencies import IdempotencyKey, IfMatch, Now, OpenDatabase, Reader, RequestDigest, Worker
from service.diagnoses.acknowledging import acknowledge, open_again
from service.diagnoses.listing import LONGEST_PAGE, ChosenDiagnoses, diagnoses_page, diagnosis_of
from service.keys.answering import Answer, answer_once, response_of
from service.seen_by_caller import SeenDiagnosis

router = APIRouter(prefix="/diagnoses", tags=["diagnoses"])

_KNOWN = {"note": "seal ordered, changed in the stop of week 14; gauge read daily until then"}
_OPEN = {"note": "the seal was changed and the vacuum is as high as before"}


@router.get("", summary="What stands, the most urgent first")
def list_diagnoses(
    caller: Reader,
    database: OpenDatabase,
    chosen: ChosenDiagnoses,
    limit: Annotated[int, Query(ge=1, le=LONGEST_PAGE)] = 100,
    cursor: PageAfter = None,
) -> DiagnosisList:
    """A pass raises a diagnosis once and clears it when the data clear it; what was cleared is kept and told."""
    with database.reading() as connection:
        return diagnoses_page(connection, caller, chosen, limit=limit, cursor=cursor)


@router.get("/{diagnosis_id}", summary="One diagnosis, with what was said to it")
def show_diagnosis(
    _caller: Reader, database: OpenDatabase, diagnosis_id: SeenDiagnosis, response: Response
) -> Diagnosis:
    """Its `version` is the ETag."""
    with database.reading() as connection:
        found = diagnosis_of(connection, diagnosis_id)
    response.headers["ETag"] = f'"{found.version}"'
    return found


class Saying:
    """One remark of a person, once for its `Idempotency-Key`, if it is still as `If-Match` says."""

    def __init__(
        self,
        caller: Worker,
        database: OpenDatabase,
        now: Now,
        diagnosis_id: SeenDiagnosis,
        digest: RequestDigest,
        idempotency_key: IdempotencyKey = None,
        if_match: IfMatch = None,
    ) -> None:
        self._caller, self._database, self._now, self._id = caller, database, now, diagnosis_id
        self._digest, self._idempotency_key, self._if_match = digest, idempotency_key, if_match

    def say(self, to: Callable[..., None], note: str) -> JSONResponse:
        """`to` the diagnosis; it as it then stands."""
        version = version_told(self._if_match)

        def work(connection: sa.Connection) -> Answer:
            to(connection, self._id, note, now=self._now, by=self._caller.name, if_version=version)
            found = diagnosis_of(connection, self._id)
            return Answer(200, found.model_dump(mode="json"), headers={"ETag": f'"{found.version}"'})

        key = self._idempotency_key
        return response_of(answer_once(self._database, self._caller, key, self._digest, self._now, work))


_Saying = Annotated[Saying, Depends()]


@router.post("/{diagnosis_id}/acknowledge", response_model=Diagnosis, summary="Say that it is known, with a note")
def acknowledge_diagnosis(saying: _Saying, body: Annotated[RemarkIn, Body(examples=[_KNOWN])]) -> JSONResponse:
    """It no longer asks for a look in the due list. It stands until the data clear it, its work stays, and if it
    becomes more urgent it asks again."""
    return saying.say(acknowledge, body.note)


@router.post("/{diagnosis_id}/open-again", response_model=Diagnosis, summary="Take the acknowledgement back")
def open_diagnosis_again(saying: _Saying, body: Annotated[RemarkIn, Body(examples=[_OPEN])]) -> JSONResponse:
    """It asks for a look as if nobody had acknowledged it."""
    return saying.say(open_again, body.note)
