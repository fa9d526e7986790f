"""The moment of a write that waited for its turn.

A request reads the clock before it waits for the others that write. Two that waited need not come up in the order
in which they read it, and the later one must not plan from before the other's facts: they would be invisible to it.
"""

from datetime import datetime, timedelta

import sqlalchemy as sa

from service.due.tables import passes
from service.imports.tables import imports

LONGEST_WAIT = timedelta(minutes=5)
"""What was recorded further ahead was written under a wrong clock, and is nobody's turn (ours)."""


def moment_of_turn(connection: sa.Connection, now: datetime) -> datetime:
    """`now`, or the moment of the newest recorded write where that is later; to be asked inside the transaction."""
    newest: list[datetime | None] = [
        connection.scalar(sa.select(sa.func.max(table.c.recorded_at))) for table in (passes, imports)
    ]
    waited_for = [at for at in newest if at is not None and now < at <= now + LONGEST_WAIT]
    return max([now, *waited_for])
