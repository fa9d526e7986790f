"""The oil of each system on the wire: its level, and how much of it is used a week."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from api_schemas.quantities import Volume

_OUT = ConfigDict(extra="forbid", frozen=True)


class LevelLooked(BaseModel):
    """A look at the level. `why_not` says why it does not count; `missing` to full is None where it does not."""

    model_config = _OUT

    at: datetime
    counts: bool
    why_not: str | None
    missing: Volume | None


class LossRate(BaseModel):
    """Litres a week: 10, 50 and 90 % points of what top-ups make likely."""

    model_config = _OUT

    p10: float
    p50: float
    p90: float


class LossRise(BaseModel):
    """If the loss has risen: since about when, within 80 % between the other two, and the rates before and after."""

    model_config = _OUT

    since: datetime
    since_early: datetime
    since_late: datetime
    before: LossRate
    after: LossRate


class OilLossTold(BaseModel):
    """`rate` in litres a week is None where too little was seen; `risen` is the probability that it has risen."""

    model_config = _OUT

    rate: LossRate | None
    risen: float
    rise: LossRise | None
    top_ups: int
    watched_days: float


class SystemOil(BaseModel):
    """`missing` is what the newest look that counts lacked to full, less what was poured since."""

    model_config = _OUT

    system: str
    fluid: str
    name: str | None
    reservoir: Volume | None
    last_look: LevelLooked | None
    missing: Volume | None
    poured_since: Volume
    loss: OilLossTold | None


class SystemOilList(BaseModel):
    model_config = _OUT

    as_of: datetime
    items: list[SystemOil]
