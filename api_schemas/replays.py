"""The past replayed, on the wire: forecasts of then against what came. Hours are run hours, days calendar days."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api_schemas.moments import Moment
from api_schemas.quantities import Code, Wire

_OUT = ConfigDict(extra="forbid", frozen=True)
_Share = Annotated[float, Field(ge=0.0, le=1.0)]
_Count = Annotated[int, Field(ge=0)]


class ReplayAsked(BaseModel):
    """From which moment to which, and the days from one step to the next. `plant`: only that one is told of; what is
    forecast rests on the lives of all in any case."""

    model_config = ConfigDict(
        **Wire,
        populate_by_name=True,
        json_schema_extra={
            "examples": [{"from": "2024-01-01T00:00:00Z", "to": "2026-01-01T00:00:00Z", "step_days": 7.0}]
        },
    )

    from_: Annotated[Moment, Field(alias="from")]
    to: Moment
    step_days: Annotated[float, Field(ge=1.0, le=92.0)] = 7.0
    plant: Code | None = None


class AgeErrors(BaseModel):
    """Forecasts at `at_share` of the lives that ended at their limit. `error_share`: the median forecast less what
    came, in shares of the life; above 0 is late. `late_by_fifth`: the share that was late by over a fifth of it."""

    model_config = _OUT

    at_share: _Share
    forecasts: _Count
    absolute_error_hours: float | None
    absolute_error_share: float | None
    error_share: float | None
    late_by_fifth: float | None


class Reliability(BaseModel):
    """`band_share`: of ends within the 80 % band. `mean_pit`: 0.5 where neither early nor late, below it where ends
    came earlier than forecast. Lives that were changed before their limit count by how long they lasted."""

    model_config = _OUT

    lives_at_limit: _Count
    lives_cut_short: _Count
    forecasts: _Count
    mean_pit: float | None
    band_share: float | None


class TypeOutcome(BaseModel):
    """Of one element type, or of all where `part_number` is null; `by`: what its forecasts were made from."""

    model_config = _OUT

    part_number: str | None
    by: Literal["pressure", "life", "all"]
    at_ages: list[AgeErrors]
    reliability: Reliability


class PositionOutcome(BaseModel):
    """Of one position, over all ages asked."""

    model_config = _OUT

    position: str
    part_number: str
    errors: AgeErrors | None
    reliability: Reliability


class PeriodReliability(BaseModel):
    """Of forecasts made within a year of the replay."""

    model_config = _OUT

    starts_at: datetime
    ends_at: datetime
    reliability: Reliability


class RuleCost(BaseModel):
    """What a rule of change came to: `cost` and `per_1000_hours` in the currency of its table."""

    model_config = _OUT

    changes: _Count
    late: _Count
    hours: float
    cost: float
    per_1000_hours: float | None


class TypeCosts(BaseModel):
    """The same lives under four rules of change; `part_number` null: all types together.

    `currency` null: in units of one planned change, a late one at ten. `stated`: lives of positions with a stated
    interval; the others' is the median that was in fact used. `best_fixed` is known only afterwards, with
    `best_interval_hours`, null where running to the end was best.
    """

    model_config = _OUT

    part_number: str | None
    currency: str | None
    lives: _Count
    stated: _Count
    actual: RuleCost
    fixed: RuleCost
    due_dates: RuleCost
    best_fixed: RuleCost
    best_interval_hours: float | None


class DiagnosisRecord(BaseModel):
    """How one diagnosis fared. `stood_days`: median of those that cleared. `failed_within`: followed by a change for
    failure within 60 days; `by_chance`: how many would have been on as many moments drawn at random."""

    model_config = _OUT

    code: str
    raised: _Count
    cleared: _Count
    stood_days: float | None
    changed_within: _Count
    failed_within: _Count
    by_chance: float


class RaisedDiagnosis(BaseModel):
    """One diagnosis from the step that first had it; `cleared_at` null: it stood to the end."""

    model_config = _OUT

    code: str
    system: str
    position: str | None
    severity: str
    raised_at: datetime
    cleared_at: datetime | None
    next_change_at: datetime | None
    reason: str | None
    failed_within: bool


class ReplayResult(BaseModel):
    """What a replay found; `notes` say what it rests on."""

    model_config = _OUT

    notes: list[str]
    positions: _Count
    lives: _Count
    types: list[TypeOutcome]
    by_position: list[PositionOutcome]
    calibration: list[PeriodReliability]
    costs: list[TypeCosts]
    diagnoses: list[DiagnosisRecord]
    raised: list[RaisedDiagnosis]


class Replay(BaseModel):
    """A replay with its progress. `result` is null until `state` is `done`, and in lists."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        populate_by_name=True,
        json_schema_extra={
            "examples": [
                {
                    "id": 3,
                    "from": "2024-01-01T00:00:00Z",
                    "to": "2026-01-01T00:00:00Z",
                    "step_days": 7.0,
                    "plant": None,
                    "state": "running",
                    "asked_at": "2026-01-02T08:00:00Z",
                    "by": "planner",
                    "steps": 105,
                    "steps_done": 32,
                    "ended_at": None,
                    "error": None,
                    "result": None,
                }
            ]
        },
    )

    id: int
    from_: Annotated[datetime, Field(alias="from")]
    to: datetime
    step_days: float
    plant: str | None
    state: Literal["waiting", "running", "done", "failed"]
    asked_at: datetime
    by: str
    steps: _Count
    steps_done: _Count
    ended_at: datetime | None
    error: str | None
    result: ReplayResult | None


class ReplayList(BaseModel):
    """A page, newest first."""

    model_config = _OUT

    items: list[Replay]
    next: str | None
