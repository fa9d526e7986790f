"""Quantities on the wire: `{"value": 2.4, "unit": "bar"}` in and out; a bare number is refused.

The kinds differ in the units they take and in their zero; see `scheduler.vocabulary`.
"""

from typing import Annotated, Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

from scheduler.vocabulary import UNIT_SYMBOLS, QuantityKind

Wire = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
"""Every model of the wire: unknown members refused, no coercion, no NaN and no infinity."""

_NO_CONTROL = r"^[^\x00-\x1f\x7f]*$"

Code = Annotated[str, StringConstraints(min_length=1, max_length=200, strip_whitespace=True, pattern=_NO_CONTROL)]
"""A code of the plant's own: compared exactly after trimming."""

Line = Annotated[str, StringConstraints(max_length=2000, strip_whitespace=True, pattern=_NO_CONTROL)]
"""Text of a person, without control characters."""

RowNumber = Annotated[int, Field(ge=1, le=2**31 - 1)]
"""What the service numbers itself: tasks, orders, close-outs, imports, files. The bound is the database column's."""

_LARGEST = 1e12


def _name_the_units(schema: dict[str, Any], quantity: type["WireQuantity"]) -> None:
    if hasattr(quantity, "kind"):
        schema["properties"]["unit"]["enum"] = list(UNIT_SYMBOLS[quantity.kind])


class WireQuantity(BaseModel):
    """A number with its unit."""

    model_config = ConfigDict(**Wire, json_schema_extra=_name_the_units)
    kind: ClassVar[QuantityKind]

    value: Annotated[float, Field(ge=-_LARGEST, le=_LARGEST)]
    unit: str

    @model_validator(mode="before")
    @classmethod
    def _say_which_units(cls, told: Any) -> Any:
        units = ", ".join(UNIT_SYMBOLS[cls.kind])
        if isinstance(told, WireQuantity | dict):
            unit = told.unit if isinstance(told, WireQuantity) else told.get("unit")
            if unit is not None and unit not in UNIT_SYMBOLS[cls.kind]:
                raise ValueError(f"unit {unit!r} is not one of: {units}")
            return told
        raise ValueError(f'expected {{"value": number, "unit": one of {units}}}')


class PressureDifference(WireQuantity):
    """A differential pressure; gauge and absolute units are refused."""

    kind = QuantityKind.PRESSURE_DIFFERENCE


class Vacuum(WireQuantity):
    """Below atmosphere, positive."""

    kind = QuantityKind.VACUUM


class Flow(WireQuantity):
    kind = QuantityKind.FLOW


class Volume(WireQuantity):
    kind = QuantityKind.VOLUME


class Temperature(WireQuantity):
    kind = QuantityKind.TEMPERATURE


class Percentage(WireQuantity):
    kind = QuantityKind.PERCENTAGE


class GaugePressure(WireQuantity):
    """Against the atmosphere; absolute units are taken where the plant's altitude is known."""

    kind = QuantityKind.GAUGE_PRESSURE


class KinematicViscosity(WireQuantity):
    kind = QuantityKind.KINEMATIC_VISCOSITY


class Density(WireQuantity):
    kind = QuantityKind.DENSITY


class WaterContent(WireQuantity):
    """In the oil, by mass."""

    kind = QuantityKind.WATER_CONTENT


class ParticleCount(WireQuantity):
    """Particles of one size and larger in a volume of oil."""

    kind = QuantityKind.PARTICLE_COUNT


class Mass(WireQuantity):
    kind = QuantityKind.MASS


class Height(WireQuantity):
    kind = QuantityKind.HEIGHT


class ParticleSize(WireQuantity):
    kind = QuantityKind.PARTICLE_SIZE


class RunTime(WireQuantity):
    kind = QuantityKind.RUN_TIME


class Duration(WireQuantity):
    kind = QuantityKind.DURATION


class Torque(WireQuantity):
    kind = QuantityKind.TORQUE
