"""Systems, positions, element types and fluids on the wire: the columns of the plant folder as members.

The same members come in and go out. A member that is not sent says nothing and takes nothing back, one that is not
known is not answered, and null is refused: it could be read both ways.
"""

from typing import Annotated, Any, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, Field, JsonValue, StringConstraints

from api_schemas.quantities import (
    Code,
    Density,
    Duration,
    Flow,
    GaugePressure,
    Height,
    KinematicViscosity,
    Mass,
    ParticleSize,
    PressureDifference,
    RunTime,
    Temperature,
    Torque,
    Vacuum,
    Volume,
    WaterContent,
    Wire,
)
from scheduler import vocabulary as words

_OUT = ConfigDict(extra="forbid", frozen=True)
_NO_CONTROL = r"^[^\x00-\x1f\x7f]*$"

Text = Annotated[str, StringConstraints(min_length=1, max_length=10_000, strip_whitespace=True, pattern=_NO_CONTROL)]
OwnName = Annotated[str, StringConstraints(max_length=200, pattern=r"^x_[^\x00-\x1f\x7f\[\]]+$")]
Word = Annotated[str, StringConstraints(min_length=1, max_length=200, strip_whitespace=True, pattern=r"^[^;,|]*$")]
Pieces = Annotated[int, Field(ge=0, le=1_000_000_000)]
Amount = Annotated[float, Field(ge=0, le=1e13)]
"""Money in the row's `currency`, else the plant's."""

Status = Annotated[words.Status, Field(strict=False)]
_YesNo = Annotated[words.YesNo, Field(strict=False)]
_Family = Annotated[words.FluidFamily, Field(strict=False)]
_Kind = Annotated[words.ElementKind, Field(strict=False)]
_Place = Annotated[words.Place, Field(strict=False)]
_IndicatorKind = Annotated[words.IndicatorKind, Field(strict=False)]
_Answer = Annotated[words.Answer, Field(strict=False)]
_Access = Annotated[words.Access, Field(strict=False)]


def _absent() -> Any:
    return None


MAY: Any = Field(default_factory=_absent)
"""A member that need not be sent; null is still no value of it."""


class _Described(BaseModel):
    """What every one of them may have: the code of another system, and columns of the plant's own."""

    model_config = Wire

    external_ref: Code = MAY
    notes: Annotated[dict[OwnName, Text], Field(max_length=100)] = MAY


class Fluid(_Described):
    """At least one of `viscosity_40` and `grade` is told each time."""

    fluid: Code = MAY
    name: Text = MAY
    family: _Family = MAY
    grade: Pieces = MAY
    viscosity_40: KinematicViscosity = MAY
    viscosity_100: KinematicViscosity = MAY
    viscosity_index: float = MAY
    density_15: Density = MAY
    water_saturation_20: WaterContent = MAY


class System(_Described):
    """One hydraulic system with its reservoir."""

    system: Code = MAY
    plant: Code
    name: Text = MAY
    status: Status = MAY
    fluid: Code
    reservoir_volume: Volume
    pump_flow: Flow = MAY
    working_pressure: GaugePressure = MAY
    working_temperature: Temperature = MAY
    coldest_start: Temperature = MAY
    cleanliness_target: Text = MAY
    most_sensitive: Text = MAY
    hours_per_week: float = MAY
    stop_cost: Amount = MAY
    labour_cost: Amount = MAY
    late_cost: Amount = MAY
    hazards: Annotated[list[Word], Field(min_length=1, max_length=100)] = MAY
    isolation_procedure: Text = MAY
    permits: Text = MAY
    level_position: Text = MAY
    walking_order: Pieces = MAY


class ElementType(_Described):
    """A catalogue entry for an element, strainer or breather."""

    part_number: Code = MAY
    kind: _Kind
    description: Text = MAY
    media: Text = MAY
    clean_dp: PressureDifference = MAY
    rated_flow: Flow = MAY
    rated_viscosity: KinematicViscosity = MAY
    rating: ParticleSize = MAY
    beta: Text = MAY
    capacity: Mass = MAY
    capacity_dp: PressureDifference = MAY
    collapse_dp: PressureDifference = MAY
    cleanable: _YesNo = MAY
    max_cleanings: Pieces = MAY
    seals: Text = MAY
    seal_kit: Code = MAY
    price: Amount = MAY
    currency: Text = MAY
    lead_time: Duration = MAY
    shelf_life: Duration = MAY
    pack: Pieces = MAY


class Position(_Described):
    """One place where an element sits."""

    position: Code = MAY
    system: Code
    place: _Place
    part_number: Code
    quantity: Pieces = MAY
    housing: Text = MAY
    side: Text = MAY
    meter: Text = MAY
    flow: Flow = MAY
    terminal_dp: PressureDifference = MAY
    indicator_dp: PressureDifference = MAY
    indicator_kind: _IndicatorKind = MAY
    bypass: _Answer = MAY
    bypass_dp: PressureDifference = MAY
    housing_dp: PressureDifference = MAY
    vacuum_limit: Vacuum = MAY
    inlet_head: Height = MAY
    shut_at_start: _YesNo = MAY
    max_hours: RunTime = MAY
    max_age: Duration = MAY
    access: _Access = MAY
    housing_volume: Volume = MAY
    torque: Torque = MAY
    test_point: Text = MAY
    status: Status = MAY


class ChangedValue(BaseModel):
    """A member before and after; null where it was not known."""

    model_config = _OUT

    earlier: JsonValue
    new: JsonValue


_Thing = TypeVar("_Thing", Fluid, System, ElementType, Position)


class Upserted(BaseModel, Generic[_Thing]):
    """What a PUT came to: `item` is how it stands now, `changed` is empty where it said nothing new."""

    model_config = _OUT

    is_new: bool
    changed: dict[str, ChangedValue]
    item: _Thing
    remarks: list[str]


class Page(BaseModel, Generic[_Thing]):
    """Some of them, by code; `next` is the cursor of the page after."""

    model_config = _OUT

    items: list[_Thing]
    next: str | None
