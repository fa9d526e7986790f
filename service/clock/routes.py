"""`/v1/clock`: when passes run, and the ones that ran."""

import sqlalchemy as sa
from fastapi import APIRouter, Request

from api_schemas.clock import Clock, PassRecord
from service.clock.pass_clock import PassClock
from service.dependencies import Now, OpenDatabase, Reader
from service.due.tables import passes

router = APIRouter(tags=["clock"])

_SHOWN_PASSES = 10


@router.get("/clock", summary="The clock that runs the planning pass")
def show_clock(_caller: Reader, database: OpenDatabase, now: Now, request: Request) -> Clock:
    """Whether the present slot has been answered, when the next comes, and the last passes."""
    clock: PassClock = request.app.state.clock
    slot = clock.due_slot(now)
    with database.reading() as connection:
        rows = (
            connection.execute(sa.select(passes).order_by(passes.c.id.desc()).limit(_SHOWN_PASSES)).mappings().all()
        )
        answered = clock.is_answered(connection, slot)
    return Clock(
        now=now,
        every_minutes=clock.every_minutes,
        due_slot=slot,
        answered=answered,
        next_at=clock.next_at,
        running=clock.running,
        last_error=clock.last_error,
        passes=[PassRecord(**{name: row[name] for name in PassRecord.model_fields}) for row in rows],
    )
