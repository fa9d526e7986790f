"""`/v1/systems/{system}/contamination`: how clean the oil of a system is, and why."""

from typing import Annotated

from fastapi import APIRouter, Path

from api_schemas.contamination import SystemContamination
from service.contamination.answering import contamination_of
from service.dependencies import Now, OpenDatabase, Reader

router = APIRouter(tags=["oil"])


@router.get("/systems/{system}/contamination", summary="How clean the oil of a system is, and what the cause may be")
def show_contamination(
    caller: Reader,
    database: OpenDatabase,
    now: Now,
    system: Annotated[str, Path(max_length=200, description="The system's code.", examples=["PRESS"])],
) -> SystemContamination:
    """Target and verdict, samples with their trend, the balance of its filters, the causes with what is not known of
    them, the hours of a clean-up, and water as a share of what the fluid dissolves."""
    with database.reading() as connection:
        return contamination_of(connection, system, now, caller)
