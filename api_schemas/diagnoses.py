"""Diagnoses on the wire: what a good fitter would see in the data, and what persons said to it."""

from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from api_schemas.quantities import Line, Wire
from scheduler.vocabulary import Severity

_OUT = ConfigDict(extra="forbid", frozen=True)


class Standing(StrEnum):
    """Where a diagnosis is between being raised and being cleared by the data."""

    UNSEEN = "unseen"  # nobody has acknowledged it
    ACKNOWLEDGED = "acknowledged"
    CLEARED = "cleared"


class Acknowledged(BaseModel):
    """Who knows of it, since when, and what is done about it."""

    model_config = _OUT

    at: datetime
    by: str
    note: str


class Remark(BaseModel):
    """What a person said to a diagnosis; `acknowledges` false: it was opened again."""

    model_config = _OUT

    at: datetime
    by: str
    note: str
    acknowledges: bool


class Diagnosis(BaseModel):
    """One finding. `position` is null for one of the whole system, `cleared_at` while it stands.

    `evidence`: the numbers behind `says`, their units in their names. `acknowledged` is null again where a person
    opened it again and where it became more urgent than it was then. `version` rises with whatever is said of it.
    """

    model_config = _OUT

    id: int
    version: int
    plant: str
    system: str
    position: str | None
    code: str
    severity: Severity
    says: str
    evidence: dict[str, Any]
    raised_at: datetime
    cleared_at: datetime | None
    acknowledged: Acknowledged | None
    remarks: list[Remark]


class DiagnosisList(BaseModel):
    model_config = _OUT

    items: list[Diagnosis]
    next: str | None


class RemarkIn(BaseModel):
    """What is known of it or done about it; or why it is opened again."""

    model_config = Wire

    note: Annotated[Line, Field(min_length=3)]
