"""Work orders, their tasks and picks on the wire."""

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from api_schemas.quantities import Code, Flow, Line, PressureDifference, RowNumber, Temperature, Volume, Wire
from scheduler.vocabulary import OrderStep, TaskKind, Trigger, WorkOrderState

_OUT = ConfigDict(extra="forbid", frozen=True)


class Pick(BaseModel):
    """One line of the kit. Without a `store` it is short; `arrives_at` says when supply covers it.

    What is reserved stays with its task; the rest a pass may give to work that comes first.
    """

    model_config = _OUT

    part_number: str
    instead_of: str | None
    quantity: int
    store: str | None
    lot: str | None
    bin: str | None
    arrives_at: datetime | None
    arrives_with: str | None
    reserved_at: datetime | None
    reserved_by: str | None


class OilPick(BaseModel):
    """Oil that the job loses and puts back, from containers of one size; short and reserved as parts are."""

    model_config = _OUT

    fluid: str
    name: str | None
    volume: Volume
    container: Volume | None
    store: str | None
    lot: str | None
    arrives_at: datetime | None
    arrives_with: str | None
    reserved_at: datetime | None
    reserved_by: str | None


class Proposal(BaseModel):
    """A change to issued work that a person may accept."""

    model_config = _OUT

    change: str
    to: datetime | None


class Step(BaseModel):
    """One thing to do. `key` stays the same from card to card; `records` is what the close-out is to tell of it."""

    model_config = _OUT

    key: str
    says: str
    reference: str | None
    records: list[str]


class ExpectedAfter(BaseModel):
    """The ΔP across the assembly that a new element should show with oil of this temperature, at `flow`."""

    model_config = _OUT

    oil_temperature: Temperature
    flow: Flow | None
    low: PressureDifference
    high: PressureDifference


class Task(BaseModel):
    """`steps`, in order, and `expected_after` are told of open tasks where one order is asked for; in a list they are
    empty."""

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
    oil: list[OilPick]
    steps: list[Step]
    expected_after: list[ExpectedAfter]


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
    acknowledged_at: datetime | None
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


class NotDone(BaseModel):
    """A task of the order that was not done, and why: a pass raises the work anew while its reason stands."""

    model_config = Wire

    task: RowNumber
    why: Annotated[Line, Field(min_length=3)]


class Acknowledgement(BaseModel):
    """The code that the order has in the system that takes it over."""

    model_config = Wire

    external_ref: Code


class GivenBack(BaseModel):
    """The code under which the order was taken over, and why it comes back."""

    model_config = Wire

    external_ref: Code
    why: Line | None = None


class HistoryEntry(BaseModel):
    """One step of an order, or of its `task`."""

    model_config = _OUT

    at: datetime
    by: str
    step: OrderStep
    task: int | None
    note: str | None


class History(BaseModel):
    model_config = _OUT

    items: list[HistoryEntry]


class ReserveIn(BaseModel):
    """With `as_far_as_possible` what is there is held, though the kit is short; else all or nothing."""

    model_config = Wire

    as_far_as_possible: bool = False


class KitLine(BaseModel):
    """What is fetched from one lot for all tasks of the order, or what is short."""

    model_config = _OUT

    part_number: str
    description: str | None
    instead_of: str | None
    quantity: int
    store: str | None
    bin: str | None
    lot: str | None
    expires_at: datetime | None
    arrives_at: datetime | None
    arrives_with: str | None
    reserved: bool
    positions: list[str]


class KitOilLine(BaseModel):
    """Oil from one lot. `mass_kg` is that of the oil without its container, None where its density is not known."""

    model_config = _OUT

    fluid: str
    name: str | None
    volume: Volume
    container: Volume | None
    store: str | None
    lot: str | None
    expires_at: datetime | None
    arrives_at: datetime | None
    arrives_with: str | None
    reserved: bool
    mass_kg: float | None
    positions: list[str]


class KitSheet(BaseModel):
    """The box of one work order: what is fetched from which shelf, shelf by shelf; what is short stands last."""

    model_config = _OUT

    work_order: int
    system: str
    planned_for: datetime
    short: bool
    parts: list[KitLine]
    oil: list[KitOilLine]
