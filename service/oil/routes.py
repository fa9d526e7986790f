"""`/v1/oil`: the oil of each system."""

from typing import Annotated

from fastapi import APIRouter, Query

from api_schemas.oil import SystemOilList
from service.dependencies import Now, OpenDatabase, Reader
from service.oil.answering import oil_of_systems

router = APIRouter(tags=["oil"])


@router.get("/oil", summary="The oil of each system: its level, and how much is used a week")
def show_oil(
    caller: Reader,
    database: OpenDatabase,
    now: Now,
    system: Annotated[str | None, Query(max_length=200, description="Only this one.")] = None,
) -> SystemOilList:
    """Only looks at rest and in the defined position count; what refills a change of an element or oil is no loss."""
    with database.reading() as connection:
        return oil_of_systems(connection, caller, now, system)
