"""Readings of meters and gauges in bulk: many rows under one set of units, and what became of each."""

from datetime import datetime
from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from api_schemas.problems import MemberProblem

_OUT = ConfigDict(extra="forbid", frozen=True)


class RowOutcome(StrEnum):
    """What became of one row."""

    NEW = "new"
    AS_BEFORE = "as_before"  # it was known already, or stands twice in what was sent
    CORRECTED = "corrected"  # it says more or other than before; the earlier values stay on record
    REFUSED = "refused"


class ReadingsIn(BaseModel):
    """Rows with the columns of the plant folder as members; `units` says the unit of each quantity in them, once."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    units: dict[str, str]
    rows: Annotated[list[dict[str, JsonValue]], Field(max_length=50_000)]


class RowTold(BaseModel):
    """One row, counted from 1 without header or units. `earlier` are the values that it corrected."""

    model_config = _OUT

    row: int
    outcome: RowOutcome
    earlier: dict[str, JsonValue] = {}
    errors: list[MemberProblem] = []
    remarks: list[str] = []


class ReadingsTold(BaseModel):
    """How many rows came to what, and the rows of which there is something to say.

    `import_id` is where `/v1/imports` keeps who brought them, null where nothing changed.
    """

    model_config = _OUT

    recorded_at: datetime
    import_id: int | None
    counts: dict[RowOutcome, int]
    outcomes: list[RowTold]
