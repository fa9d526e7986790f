"""`/v1/lives`: how long elements last, by type and by position."""

from typing import Annotated

from fastapi import APIRouter, Query

from api_schemas.lives import LifeList
from service.cursors import PageAfter
from service.dependencies import Now, OpenDatabase, Reader
from service.lives.answering import LONGEST_PAGE, Only, lives_page

router = APIRouter(tags=["lives"])

_Code = Annotated[str | None, Query(max_length=200, description="Only this one.")]


@router.get("/lives", summary="How long elements last: survival curves, short lives, early changes")
def list_lives(
    caller: Reader,
    database: OpenDatabase,
    now: Now,
    plant: _Code = None,
    system: _Code = None,
    part_number: _Code = None,
    position: _Code = None,
    limit: Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Records on a page.")] = 100,
    cursor: PageAfter = None,
) -> LifeList:
    """Of every element type that had a life with known hours, and of each of its positions.

    What is short is told against all lives that the key sees, whatever is asked for. Lives with a commissioning or a
    lost pump in them, and mistakes, are left out.
    """
    only = Only(plant, system, part_number, position)
    with database.reading() as connection:
        return lives_page(connection, caller, now, only, limit=limit, cursor=cursor)
