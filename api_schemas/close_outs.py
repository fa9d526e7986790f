"""The close-out of a task on the wire."""

from datetime import datetime
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, JsonValue, model_validator

from api_schemas.due import DueItem
from api_schemas.moments import Moment
from api_schemas.quantities import (
    Code,
    Flow,
    Line,
    Percentage,
    PressureDifference,
    RowNumber,
    Temperature,
    Vacuum,
    Volume,
    Wire,
)
from scheduler.vocabulary import Found, IndicatorState, RemovalReason, TaskKind

_OUT = ConfigDict(extra="forbid", frozen=True)
_Word = Annotated[RemovalReason, Field(strict=False)]
_Indicator = Annotated[IndicatorState, Field(strict=False)]
_Found = Annotated[Found, Field(strict=False)]
_Kind = Annotated[TaskKind, Field(strict=False)]


class DpReading(BaseModel):
    """What gauge and indicator showed, with the flow and the oil temperature at which they were read.

    `dp` across the assembly; of a suction strainer the `vacuum` behind it; at least one of dp, vacuum and indicator.
    """

    model_config = Wire

    dp: PressureDifference | None = None
    vacuum: Vacuum | None = None
    indicator: _Indicator | None = None
    flow: Flow | None = None
    oil_temperature: Temperature | None = None
    at: Moment | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.dp is None and self.vacuum is None and self.indicator is None:
            raise ValueError("say at least one of dp, vacuum and indicator")
        return self


class FittedElement(BaseModel):
    """What was fitted; without a `part_number` the specified type."""

    model_config = Wire

    part_number: Code | None = None
    lot: Code | None = None
    serial: Code | None = None
    store: Code | None = None


class PartUsed(BaseModel):
    """A seal kit, gasket or consumable that was used."""

    model_config = Wire

    part_number: Code
    quantity: Annotated[int, Field(ge=1, le=10_000)] = 1
    lot: Code | None = None
    store: Code | None = None


class OilAdded(BaseModel):
    model_config = Wire

    fluid: Code
    volume: Volume
    lot: Code | None = None
    through_filter: bool | None = None


class LevelSeen(BaseModel):
    """The oil level of the system, as the share of full or as what is missing to full; just one of them.

    It counts only where the system was at rest and in its defined position; else it is kept, and said to be invalid.
    """

    model_config = Wire

    level: Percentage | None = None
    below_full: Volume | None = None
    at_rest: bool
    defined_position: bool

    @model_validator(mode="after")
    def _says_one(self) -> Self:
        if (self.level is None) == (self.below_full is None):
            raise ValueError("say either level or below_full")
        return self


class Confirmation(BaseModel):
    """Said after the service has named a mismatch: what was really fitted or poured, and why."""

    model_config = Wire

    reason: Annotated[Line, Field(min_length=3)]


class CloseOutIn(BaseModel):
    """How a job really went: by `task`, or by `position` where there was no work order.

    Work on a whole system that nobody ordered, such as a look at the level, is told by `system` and `kind`. `hours`
    is what the position's meter showed. Else `kind` is needed only without a task and where the work was not the
    position's usual one. `element_changed` is by default true for work that renews the element. Without `parts` the
    seal kits and kit lines that were picked for the task count as used. `found` is what was seen in housing, bowl and
    oil: `clean` stands alone. `labour_min` is working time in minutes, of all people together. `external_ref` is the
    job's code in another system.
    """

    model_config = Wire

    task: RowNumber | None = None
    position: Code | None = None
    system: Code | None = None
    kind: _Kind | None = None
    at: Moment
    hours: Annotated[float, Field(ge=0, le=10_000_000)] | None = None
    element_changed: bool | None = None
    dp_before: DpReading | None = None
    dp_after: DpReading | None = None
    element: FittedElement | None = None
    parts: Annotated[list[PartUsed], Field(max_length=100)] | None = None
    oil: Annotated[list[OilAdded], Field(max_length=100)] = []
    reason: _Word | None = None
    condition: Line | None = None
    found: Annotated[list[_Found], Field(max_length=len(Found))] | None = None
    level: LevelSeen | None = None
    labour_min: Annotated[int, Field(ge=0, le=100_000)] | None = None
    cleanings: Annotated[int, Field(ge=0, le=10_000)] | None = None
    note: Line | None = None
    done_by: Line | None = None
    external_ref: Code | None = None
    confirm_mismatch: Confirmation | None = None


class CorrectionIn(BaseModel):
    """The members of a close-out that were wrong, as they really were, and why they were told wrongly.

    A member that is not sent stays as it is, `null` takes its value back. Of `element` only the members that were
    wrong are sent; readings, `parts` and `oil` are told whole, and a reading without `at` keeps the one it had.
    `undo` alone: the job never happened.
    """

    model_config = Wire

    why: Annotated[Line, Field(min_length=3)]
    undo: bool = False
    at: Moment | None = None
    hours: Annotated[float, Field(ge=0, le=10_000_000)] | None = None
    element_changed: bool | None = None
    dp_before: DpReading | None = None
    dp_after: DpReading | None = None
    element: FittedElement | None = None
    parts: Annotated[list[PartUsed], Field(max_length=100)] | None = None
    oil: Annotated[list[OilAdded], Field(max_length=100)] | None = None
    reason: _Word | None = None
    condition: Line | None = None
    found: Annotated[list[_Found], Field(max_length=len(Found))] | None = None
    level: LevelSeen | None = None
    labour_min: Annotated[int, Field(ge=0, le=100_000)] | None = None
    cleanings: Annotated[int, Field(ge=0, le=10_000)] | None = None
    note: Line | None = None
    done_by: Line | None = None
    external_ref: Code | None = None
    confirm_mismatch: Confirmation | None = None

    @property
    def members(self) -> frozenset[str]:
        """What of the close-out is to be corrected."""
        return frozenset(self.model_fields_set - {"why", "undo"})


class LaterReadings(BaseModel):
    """ΔP that could be read only after the close-out."""

    model_config = Wire

    dp_before: DpReading | None = None
    dp_after: DpReading | None = None


class Mismatch(BaseModel):
    """What was fitted or poured is not what is specified."""

    model_config = _OUT

    about: str
    found: str
    specified: str
    says: str


class ChangedMember(BaseModel):
    """A member with its value before and after; of the element by its own name, like `element.lot`."""

    model_config = _OUT

    member: str
    earlier: JsonValue
    new: JsonValue


class Correction(BaseModel):
    """What was corrected, when, by whom and why; `undone` where the job never happened."""

    model_config = _OUT

    at: datetime
    by: str
    why: str
    undone: bool
    changed: list[ChangedMember]


class CloseOut(BaseModel):
    """A close-out as it stands, with the position's next due date and its corrections, the first one first.

    `files` counts what is attached to it. `undone_at` is set where it turned out never to have happened.
    """

    model_config = _OUT

    id: int
    task: int
    work_order: int
    position: str
    system: str
    at: datetime
    recorded_at: datetime
    recorded_by: str
    done_by: str | None
    external_ref: str | None
    undone_at: datetime | None
    mismatches: list[Mismatch]
    remarks: list[str]
    next_due: DueItem | None
    cautions: list[str]
    corrections: list[Correction]
    files: int


class CloseOutTold(BaseModel):
    """A close-out in a list: what it says as it stands, in `told`, with what was corrected in it.

    The members of `told` are those of `CloseOutIn`. `undone_at` is set where it turned out never to have happened.
    """

    model_config = _OUT

    id: int
    task: int
    work_order: int
    plant: str
    system: str
    position: str
    at: datetime
    recorded_at: datetime
    recorded_by: str
    done_by: str | None
    external_ref: str | None
    undone_at: datetime | None
    told: dict[str, JsonValue]
    mismatches: list[Mismatch]
    corrections: list[Correction]


class CloseOutList(BaseModel):
    """In the order in which they were recorded; `next` is the cursor of the page after."""

    model_config = _OUT

    items: list[CloseOutTold]
    next: str | None
