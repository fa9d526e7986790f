"""The due list on the wire."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from api_schemas.diagnoses import Acknowledged
from scheduler.vocabulary import Severity, Trigger

_OUT = ConfigDict(extra="forbid", frozen=True)


class Pressure(BaseModel):
    """The ΔP forecast by itself: run hours from `as_of`, 0 when past; null beyond 60,000 h."""

    model_config = _OUT

    hours_left_10: float | None
    hours_left_50: float | None
    hours_left_90: float | None


class DiagnosisNote(BaseModel):
    """`id` is null in a list that was computed for its request; `acknowledged` while somebody knows of it."""

    model_config = _OUT

    id: int | None
    code: str
    severity: Severity
    says: str
    acknowledged: Acknowledged | None


class DueItem(BaseModel):
    """One position in service: when it is due at the plant's risk level, between which dates, and why.

    `due_early`, `due_median` and `due_late` are the 10, 50 and 90 % points of the time at which the position
    reaches its limit. `hours_left` and `overdue_hours` are run hours; of a forecast, `hours_left` is the number that
    is expected to miss the truth by the least share of the element's life, which lies somewhat below the middle.
    """

    model_config = _OUT

    position: str
    system: str
    plant: str
    part_number: str | None
    as_of: datetime
    due_at: datetime | None
    due_early: datetime | None
    due_median: datetime | None
    due_late: datetime | None
    hours_left: float | None
    overdue_hours: float | None
    trigger: Trigger | None
    runner_up: Trigger | None
    without_trigger_at: datetime | None
    reason: str
    pressure: Pressure | None
    diagnoses: list[DiagnosisNote]


class PassNote(BaseModel):
    """Which pass the answer comes from; `id` is null for one computed for this request and not kept."""

    model_config = _OUT

    id: int | None
    as_of: datetime
    cause: str


class DueList(BaseModel):
    model_config = _OUT

    planned: PassNote
    items: list[DueItem]
    next: str | None
