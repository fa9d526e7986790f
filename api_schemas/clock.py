"""The clock that runs the planning pass."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

_OUT = ConfigDict(extra="forbid", frozen=True)


class PassRecord(BaseModel):
    model_config = _OUT

    id: int
    as_of: datetime
    recorded_at: datetime
    cause: str
    by: str
    took_s: float
    positions: int


class Clock(BaseModel):
    """`due_slot` is the latest scheduled pass; `answered` says whether it has run."""

    model_config = _OUT

    now: datetime
    every_minutes: int
    due_slot: datetime
    answered: bool
    next_at: datetime | None
    running: bool
    last_error: str | None
    passes: list[PassRecord]
