"""`/v1/calibration`: whether the forecasts were right."""

from typing import Annotated

from fastapi import APIRouter, Query

from api_schemas.calibration import CalibrationList
from service.calibration.listing import calibration_of_types
from service.cursors import PageAfter
from service.dependencies import OpenDatabase, Reader
from service.due.listing import LONGEST_PAGE

router = APIRouter(tags=["calibration"])


@router.get("/calibration", summary="Whether the ΔP forecasts were right, by element type")
def list_calibration(
    _caller: Reader,
    database: OpenDatabase,
    limit: Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Types on a page.")] = LONGEST_PAGE,
    cursor: PageAfter = None,
) -> CalibrationList:
    """Finished lives forecast anew by what the other lives teach, and held against how they really ended.

    From the last pass of the whole installation; a type of which no finished life has ΔP readings does not appear.
    """
    with database.reading() as connection:
        return calibration_of_types(connection, limit=limit, cursor=cursor)
