"""The lives of elements in numbers, on the wire. Hours are run hours."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

_OUT = ConfigDict(extra="forbid", frozen=True)
_Share = Annotated[float, Field(ge=0.0, le=1.0)]
_Hours = Annotated[float, Field(ge=0.0)]
_Count = Annotated[int, Field(ge=0)]


class CurvePoint(BaseModel):
    """At `hours`: lives at risk before, ends then, and the share that lasts beyond with its 80 % band, null where
    none lasted. `model`: the share by what the last pass learned of the next life there, null where nothing."""

    model_config = _OUT

    hours: _Hours
    at_risk: _Count
    ends: _Count
    survival: _Share
    low: _Share | None
    high: _Share | None
    model: _Share | None


class Median(BaseModel):
    """Hours that half the lives last, with the ends of the 80 % band; null where the lives do not tell."""

    model_config = _OUT

    hours: _Hours | None
    low: _Hours | None
    high: _Hours | None
    model: _Hours | None


class Shorter(BaseModel):
    """Lives of a position over those of its type, drawn towards 1 as few lives leave it open, with the 80 % band;
    `chance` that they are no shorter at all."""

    model_config = _OUT

    ratio: _Hours
    low: _Hours
    high: _Hours
    chance: _Share


class Worth(BaseModel):
    """An amount of money, in its currency."""

    model_config = _OUT

    amount: float
    currency: str


class Early(BaseModel):
    """Changes before the limit. `thrown_away`: the mean share of the life that was still to come. `cost`: that share
    of elements and labour, of the changes whose prices are told."""

    model_config = _OUT

    changes: _Count
    thrown_away: _Share | None
    cost: list[Worth]


class LifeItem(BaseModel):
    """The lives of an element type, in all its positions where `position` is null, or in one.

    `lives` ended; `running` are what is fitted now, and count as cut short in the curve, as changes before the limit
    do. `reasons`: how many ended by which.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        json_schema_extra={
            "examples": [
                {
                    "part_number": "QR-130-10G",
                    "position": "PRESS1-RET",
                    "system": "PRESS1",
                    "plant": "QUILLMARSH",
                    "lives": 3,
                    "running": 1,
                    "at_limit": 1,
                    "reasons": {"indicator": 1, "early": 2},
                    "curve": [
                        {
                            "hours": 2100.0,
                            "at_risk": 2,
                            "ends": 1,
                            "survival": 0.5,
                            "low": 0.06,
                            "high": 0.84,
                            "model": 0.61,
                        }
                    ],
                    "median": {"hours": 2100.0, "low": 2100.0, "high": None, "model": 2350.0},
                    "shorter": {"ratio": 0.93, "low": 0.71, "high": 1.22, "chance": 0.37},
                    "early": {
                        "changes": 2,
                        "thrown_away": 0.34,
                        "cost": [{"amount": 118.0, "currency": "EUR"}],
                    },
                }
            ]
        },
    )

    part_number: str
    position: str | None
    system: str | None
    plant: str | None
    lives: _Count
    running: _Count
    at_limit: _Count
    reasons: dict[str, int]
    curve: list[CurvePoint]
    median: Median
    shorter: Shorter | None
    early: Early


class LifeList(BaseModel):
    """A page: type by type in order of part numbers, the whole before its positions."""

    model_config = _OUT

    items: list[LifeItem]
    next: str | None
