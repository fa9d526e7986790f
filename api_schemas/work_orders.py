"""Work orders, their tasks and picks on the wire."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from api_schemas.quantities import Line, Wire
from scheduler.vocabulary import TaskKind, Trigger, WorkOrderState

_OUT = ConfigDict(extra="forbid", frozen=True)


class Pick(BaseModel):
    """One line of the kit. Without a `store` it is short; `arrives_at` says when supply covers it."""

    model_config = _OUT

    part_number: str
    instead_of: str | None
    quantity: int
    store: str | None
    lot: str | None
    bin: str | None
    arrives_at: datetime | None
    arrives_with: str | None


class Proposal(BaseModel):
    """A change to issued work that a person may accept."""

    model_config = _OUT

    change: str
    to: datetime | None


class Task(BaseModel):
    model_config = _OUT

    id: int
    kind: TaskKind
    position: str
    state: str
    due_at: datetime
    trigger: Trigger | None
    reason: str
    proposal: Proposal | None
    picks: list[Pick]


class WorkOrder(BaseModel):
    model_config = _OUT

    id: int
    plant: str
    system: str
    state: WorkOrderState
    planned_for: datetime
    stop_starts_at: datetime | None
    stop_ends_at: datetime | None
    raised_at: datetime
    issued_at: datetime | None
    issued_by: str | None
    started_at: datetime | None
    started_by: str | None
    ended_at: datetime | None
    note: str | None
    acknowledged_by: str | None
    external_ref: str | None
    version: int
    short: bool
    tasks: list[Task]
    cautions: list[str]


class WorkOrderList(BaseModel):
    model_config = _OUT

    items: list[WorkOrder]
    next: str | None


class WorkOrderNote(BaseModel):
    """Why an order is held or withdrawn."""

    model_config = Wire

    note: Line
