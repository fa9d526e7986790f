"""The check before the job on the wire: what was read from labels, and what speaks against using it."""

from datetime import datetime
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from api_schemas.moments import Moment
from api_schemas.quantities import Code, Line, RowNumber, Volume, Wire
from scheduler.vocabulary import CheckVerdict

_OUT = ConfigDict(extra="forbid", frozen=True)


class Scanned(BaseModel):
    """What labels say. `fluid` is the code on the container, `label` the name that is printed there.

    `volume` is what is to be poured.
    """

    model_config = Wire

    part_number: Code | None = None
    lot: Code | None = None
    fluid: Code | None = None
    label: Annotated[Line, Field(min_length=1)] | None = None
    fluid_lot: Code | None = None
    container: Volume | None = None
    volume: Volume | None = None


class Override(BaseModel):
    """Sets a refusal aside, with a key that has scope `override`."""

    model_config = Wire

    reason: Annotated[Line, Field(min_length=3)]


class CheckIn(Scanned):
    """For which job, by `task`, by `position`, or by `system` for oil alone, and at least one thing that was read.

    `at` is when the job is, by default now: what will have expired by then is refused.
    """

    task: RowNumber | None = None
    position: Code | None = None
    system: Code | None = None
    at: Moment | None = None
    override: Override | None = None

    @model_validator(mode="after")
    def _says_which_job_and_what(self) -> Self:
        if sum(told is not None for told in (self.task, self.position, self.system)) != 1:
            raise ValueError("say one of task, position and system")
        if self.part_number is None and self.fluid is None and self.label is None and self.volume is None:
            raise ValueError("say at least one of part_number, fluid, label and volume")
        if self.fluid is not None and self.label is not None:
            raise ValueError("say the fluid's code or the label's name, not both")
        if self.lot is not None and self.part_number is None:
            raise ValueError("say the part_number that the lot is of")
        if self.fluid is None and self.label is None and (self.fluid_lot is not None or self.container is not None):
            raise ValueError("say the fluid or the label of the container")
        return self


class CheckFinding(BaseModel):
    """One thing that is not as specified, or of which that cannot be told; `severity` is `refuse` or `ask`."""

    model_config = _OUT

    mistake: str
    about: str
    severity: str
    found: str
    specified: str
    says: str


class Check(BaseModel):
    """A check as it was kept. `cautions` say what to do instead of using what was refused."""

    model_config = _OUT

    id: int
    verdict: CheckVerdict
    findings: list[CheckFinding]
    cautions: list[str]
    task: int | None
    position: str
    system: str
    scanned: Scanned
    at: datetime
    recorded_at: datetime
    by: str
    override_reason: str | None


class CheckList(BaseModel):
    """The newest first."""

    model_config = _OUT

    items: list[Check]
    next: str | None
