"""What will be used, what runs out and what to order by when, on the wire.

Numbers of an item are in its `unit`: pieces, or litres of an oil. Money is a decimal number as text, its currency
beside it.
"""

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

_OUT = ConfigDict(extra="forbid", frozen=True)
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Amount = Annotated[float, Field(ge=0.0)]
Unit = Literal["pieces", "L"]


class Asked(BaseModel):
    """What was computed: from what was known at `as_of`, in periods of the calendar of `time_zone`.

    `level`: the probability with which stock is to last. `lead_time_d`: taken for every item in place of its own,
    null where each has its own. `review_d`: days between one ordering and the next.
    """

    model_config = _OUT

    as_of: datetime
    period: Literal["week", "month"]
    periods: int
    time_zone: str
    level: Share
    lead_time_d: float | None
    review_d: float


class Chance(BaseModel):
    """Probability that at least so much is used in the period, and from now to its end."""

    model_config = _OUT

    at_least: int
    within: Share
    by_end: Share


class Spread(BaseModel):
    """Mean, and the amounts that use stays within with 10, 50, 90 and 99 % probability."""

    model_config = _OUT

    mean: Amount
    p10: Amount
    p50: Amount
    p90: Amount
    p99: Amount


class DemandPeriod(BaseModel):
    """Use within a period and from now to its end; `run_out`: probability that by its end use has passed what there
    is and what comes, if nothing more is ordered."""

    model_config = _OUT

    starts_at: datetime
    ends_at: datetime
    within: Spread
    by_end: Spread
    run_out: Share
    chances: list[Chance]


class DemandItem(BaseModel):
    """One part, or one oil.

    `on_hand` is what has not expired, `reserved` of it for open work; `on_order` what is to come. `positions` is
    how many positions take it at a change. `runs_out_at`: the end of the first period by which stock has more
    likely run out than `level` accepts; null where it lasts.
    """

    model_config = _OUT

    item: str
    kind: str
    description: str | None
    unit: Unit
    positions: int
    on_hand: Amount
    reserved: Amount
    on_order: Amount
    runs_out_at: datetime | None
    periods: list[DemandPeriod]


class DemandList(BaseModel):
    """A page, in order of kinds and codes. `neglected` says what the numbers leave out."""

    model_config = _OUT

    asked: Asked
    neglected: list[str]
    items: list[DemandItem]
    next: str | None


class BuyingLine(BaseModel):
    """What to order, by when, and why.

    `order_by`: the last moment at which the risk of running out before an order comes is half of what `level`
    accepts, since that risk grows in jumps; not before `as_of`. `quantity` is in whole packs. `service` is the
    probability that stock lasts until an order placed now has come, `fill_rate` the share of the use until the end
    of the last period that stock meets if nothing is ordered. `level_by_cost` is the service level that the cost of
    being short and of a piece left over imply, null where they are not known; `cost_if_wrong` what is to be
    expected of both, with this order, until the ordering after it.
    """

    model_config = _OUT

    item: str
    kind: str
    description: str | None
    unit: Unit
    order_by: datetime | None
    quantity: Amount
    packs: int
    pack: Amount
    price: Decimal | None
    cost: Decimal | None
    currency: str | None
    lead_time_d: float
    lead_time_is_assumed: bool
    on_hand: Amount
    on_order: Amount
    reorder_level: Amount
    service: Share
    fill_rate: Share
    expected_short: Amount
    level_by_cost: Share | None
    cost_if_wrong: Decimal | None
    alternates: list[str]
    reason: str


class BuyingList(BaseModel):
    """What has to be ordered within the periods asked, the most urgent first; `cost` by currency of all of it."""

    model_config = _OUT

    asked: Asked
    neglected: list[str]
    cost: dict[str, Decimal]
    items: list[BuyingLine]
    next: str | None


class KeptForecast(BaseModel):
    """A forecast that was kept, and what was used when its period had passed; `level` is the probability that was
    forecast of using no more than that, half of the probability of exactly that counted."""

    model_config = _OUT

    item: str
    unit: Unit
    made_at: datetime
    starts_at: datetime
    ends_at: datetime
    mean: Amount
    p10: Amount
    p90: Amount
    used: Amount
    level: Share


class LearnedItem(BaseModel):
    """How the forecasts of one item fared: how much was forecast and used over all kept periods that have passed,
    and how often use stayed within what was told with 50, 90 and 99 % probability, and within the 80 % band."""

    model_config = _OUT

    item: str
    unit: Unit
    forecasts: int
    forecast: Amount
    used: Amount
    within_p50: Share
    within_p90: Share
    within_p99: Share
    in_band: Share


class DemandLearned(BaseModel):
    """Forecast against used: all items together, each item, and the newest forecasts one by one."""

    model_config = _OUT

    overall: LearnedItem | None
    items: list[LearnedItem]
    newest: list[KeptForecast]
