"""How due dates moved, on the wire: one position's history, and what changed since a moment."""

from datetime import datetime

from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from api_schemas.due import DueItem, PassNote
from scheduler.vocabulary import Movement, Trigger

_OUT = ConfigDict(extra="forbid", frozen=True)


class Cause(BaseModel):
    """Why a date moved: a fact that was recorded, a value that was changed, or time that passed."""

    model_config = _OUT

    code: str
    says: str


class _Moved(BaseModel):
    """`at` is the moment of the pass that told it. `from` and `to` are due dates, null for none."""

    model_config = _OUT

    position: str
    at: datetime
    movement: Movement
    from_: datetime | None = Field(serialization_alias="from", validation_alias=AliasChoices("from", "from_"))
    to: datetime | None
    from_trigger: Trigger | None
    to_trigger: Trigger | None
    because: list[Cause]


class DueMove(_Moved):
    """One line of a position's history; its `from` is the `to` of the line before. `because`: most telling first."""


class DueHistory(BaseModel):
    """A page of a position's history, newest first."""

    model_config = _OUT

    position: str
    items: list[DueMove]
    next: str | None


class DueChange(_Moved):
    """What became of a position's date over the whole span; `moves` counts the lines of its history in it.

    A changed element is told twice: `done` with the date that it had, and `new` with that of what is fitted now.
    """

    system: str
    plant: str
    moves: int


class DueChanges(BaseModel):
    """A page of what changed: new, earlier, later and done first. `since` is as it was asked."""

    model_config = _OUT

    since: str
    planned: PassNote
    items: list[DueChange]
    next: str | None


class ReadingSeen(BaseModel):
    """A ΔP reading of what is fitted and whether it counts; `gate` says why not. Canonical units: bar, L/min, °C.

    `warm_dp_bar` is the assembly's ΔP restated to the position's usual flow and oil temperature. `says` has the
    amounts in the plant's units.
    """

    model_config = _OUT

    at: datetime
    dp_bar: float | None
    vacuum_bar: float | None
    flow_lpm: float | None
    oil_temperature_degC: float | None
    warm_dp_bar: float | None
    indicator: str | None
    counts: bool
    gate: str
    says: str


class LifePriorSeen(BaseModel):
    """What is expected of an element here before its readings: half such lives end before `median_h` run hours."""

    model_config = _OUT

    median_h: float
    earlier_10_h: float
    later_90_h: float
    lives_seen: int
    lives_to_limit: int
    own_lives_seen: int


class Explanation(BaseModel):
    """Everything behind a position's due date. `news_since`: tables with facts that the pass did not know."""

    model_config = _OUT

    planned: PassNote
    item: DueItem
    readings: list[ReadingSeen]
    life: LifePriorSeen | None
    history: list[DueMove]
    news_since: list[str]
