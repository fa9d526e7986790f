"""`GET /v1/close-outs`: what was done, for another system to read back."""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from api_schemas.close_outs import CloseOutList
from api_schemas.moments import Moment
from api_schemas.quantities import RowNumber
from service.close_outs.listing import Wanted, list_of
from service.cursors import PageAfter
from service.dependencies import OnlyPlant, OpenDatabase, Reader

router = APIRouter(prefix="/close-outs", tags=["close-outs"])

_Code = Annotated[str | None, Query(max_length=200)]

_EXAMPLE: dict[str, Any] = {
    "items": [
        {
            "id": 7,
            "task": 31,
            "work_order": 12,
            "plant": "MILL",
            "system": "PRESS1",
            "position": "PRESS1-RET",
            "at": "2026-03-05T13:30:00Z",
            "recorded_at": "2026-03-05T14:02:11Z",
            "recorded_by": "shift B",
            "done_by": "shift B",
            "external_ref": "WO-2026-0417",
            "undone_at": None,
            "told": {"position": "PRESS1-RET", "at": "2026-03-05T14:30:00+01:00", "hours": 12840.5},
            "mismatches": [],
            "corrections": [],
        }
    ],
    "next": None,
}
_RESPONSES: dict[int | str, dict[str, Any]] = {200: {"content": {"application/json": {"example": _EXAMPLE}}}}


@router.get("", summary="Close-outs, the newest last", responses=_RESPONSES)
def list_close_outs(
    caller: Reader,
    database: OpenDatabase,
    plant: OnlyPlant,
    system: _Code = None,
    position: _Code = None,
    work_order: Annotated[RowNumber | None, Query()] = None,
    external_ref: _Code = None,
    recorded_after: Annotated[
        Moment | None, Query(description="Recorded, corrected or taken back then or later.")
    ] = None,
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    cursor: PageAfter = None,
) -> CloseOutList:
    """What each says as it stands, with its corrections; those that were taken back have `undone_at`.

    To follow them, ask with the newest moment that was seen: what was recorded in that very moment comes again, so
    that nothing is lost, and so does one that is corrected later.
    """
    wanted = Wanted(plant, system, position, work_order, external_ref, recorded_after)
    with database.reading() as connection:
        return list_of(connection, wanted, caller, limit=limit, cursor=cursor)
