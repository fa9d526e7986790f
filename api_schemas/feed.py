"""The feed on the wire: what changed, in order."""

from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from scheduler.vocabulary import FeedType

_OUT = ConfigDict(extra="forbid", frozen=True)

EXAMPLE_LINE: dict[str, Any] = {
    "number": 1204,
    "id": "evt_0b6f6c1d2a9c4c0f9a3c5e7d1f2b4a68",
    "type": "due.changed",
    "at": "2026-03-05T13:31:00Z",
    "plant": "MILL",
    "system": "PRESS1",
    "position": "PRESS1-RET",
    "subject": "position/PRESS1-RET",
    "data": {
        "position": "PRESS1-RET",
        "in_service": True,
        "due_at": "2026-04-11T06:00:00Z",
        "due_early": "2026-04-11T06:00:00Z",
        "due_median": "2026-05-02T18:20:00Z",
        "due_late": "2026-05-30T02:10:00Z",
        "trigger": "pressure",
    },
}


class FeedLine(BaseModel):
    """One change. `data` is the whole picture of its `subject` as it then stood: of two lines the later one counts.

    Times in it are UTC. `id` never comes again, `number` is one more than that of the line before.
    `work_order.changed`: state, version, days, open tasks. `shortage.changed`: what the kit of an order lacks, empty
    for nothing. `due.changed`: a date that is news. `due.drifted`: those `dates` of a system that moved with time
    alone. `diagnosis.…` and `close_out.…`: as they stand.
    """

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [EXAMPLE_LINE]})

    number: int
    id: str
    type: FeedType
    at: datetime
    plant: str
    system: str
    position: str | None
    subject: str
    data: dict[str, Any]


class FeedPage(BaseModel):
    """Lines in order. Go on with `after` = `next`, whether there were any or not.

    `newest` is the last number given, `oldest` the first that is still kept, null where none is.
    """

    model_config = _OUT | ConfigDict(
        json_schema_extra={"examples": [{"items": [EXAMPLE_LINE], "newest": 1204, "oldest": 37, "next": 1204}]}
    )

    items: list[FeedLine]
    newest: int
    oldest: int | None
    next: int
