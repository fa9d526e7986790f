"""How ΔP forecasts of finished lives fared, on the wire."""

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

_OUT = ConfigDict(extra="forbid", frozen=True)
_Share = Annotated[float, Field(ge=0.0, le=1.0)]


class TypeCalibration(BaseModel):
    """One element type. Each finished life was forecast anew at up to four ages: `forecasts` counts them.

    `mean_pit` is the mean of the probability that was forecast up to the hours that it then really lasted: 0.5 where
    forecasts are neither early nor late, less where elements were spent earlier than forecast. `band_share` is the
    share of ends within the 80 % band. Lives changed early count by how long they lasted. `a`, `b`: forecasts are
    told through the Beta(a, b) distribution function; 1 and 1 leave them as they are. `says` puts it into words.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra={
            "examples": [
                {
                    "part_number": "QR-130-10G",
                    "as_of": "2026-11-25T02:56:00Z",
                    "lives_at_limit": 14,
                    "lives_early": 23,
                    "forecasts": 96,
                    "mean_pit": 0.462,
                    "band_share": 0.91,
                    "a": 1.11,
                    "b": 1.24,
                    "says": "14 lives to the limit and 23 changed early: 91 % of ends lie within the 80 % band as "
                    "first forecast. Forecasts are narrowed and shifted earlier: the 10, 50 and 90 % points told are "
                    "their 10, 46 and 86 % points.",
                }
            ]
        },
    )

    part_number: str
    as_of: datetime
    lives_at_limit: int
    lives_early: int
    forecasts: int
    mean_pit: _Share | None
    band_share: _Share | None
    a: Annotated[float, Field(gt=0.0)]
    b: Annotated[float, Field(gt=0.0)]
    says: str


class CalibrationList(BaseModel):
    """A page, in order of part numbers."""

    model_config = _OUT

    items: list[TypeCalibration]
    next: str | None
