"""Stock on the wire: what lies where, what moved since it was counted, and the counts, receipts and moves of a store.

Parts are counted in pieces. Oil is counted in containers of one size, opened ones as a fraction; its volume stands
beside.
"""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator
from pydantic.config import JsonDict

from api_schemas.moments import Moment
from api_schemas.quantities import Code, Line, Volume, Wire

_OUT = ConfigDict(extra="forbid", frozen=True)
_MOST = 1_000_000
"""Ours: more pieces than any store of filter elements holds; a number that is meant as a code is above it."""
_MOST_ROWS = 1000

_SHELF_EXAMPLE: JsonDict = {
    "what": "part",
    "part_number": "EL-10",
    "description": "return element",
    "store": "MAIN",
    "lot": "L-2207",
    "bin": "A1",
    "on_hand": 4,
    "held": 1,
    "held_for": [{"work_order": 17, "quantity": 1}],
    "counted_at": "2026-03-02T07:15:00+01:00",
    "expires_at": "2031-06-30T12:00:00+02:00",
    "expired": False,
}
_MOVEMENT_EXAMPLE: JsonDict = {
    "what": "part",
    "id": 8,
    "item": "EL-10",
    "store": "MAIN",
    "lot": "L-2207",
    "container": None,
    "quantity": -1.0,
    "at": "2026-03-05T14:30:00+01:00",
    "recorded_at": "2026-03-05T14:41:07+01:00",
    "source": "close-out 12",
}
_COUNTED_EXAMPLE: JsonDict = {
    "item": "EL-10",
    "store": "MAIN",
    "lot": "L-2207",
    "container": None,
    "outcome": "counted",
    "before": 3.0,
    "counted_at": "2026-03-05T13:30:00Z",
}
_RECEIPT_EXAMPLE: JsonDict = {
    "id": 7,
    "order": "PO-9",
    "line": "1",
    "part_number": "BR-1",
    "fluid": None,
    "ordered": 2.0,
    "received_at": "2026-03-05T09:00:00Z",
    "into": [{"store": "MAIN", "lot": "B-1406", "quantity": 2.0, "bin": "C3", "container": None, "expires_at": None}],
    "differs_because": None,
    "recorded_at": "2026-03-05T09:04:11Z",
    "recorded_by": "store keeper",
}
_MOVED_EXAMPLE: JsonDict = {
    "item": "EL-10",
    "quantity": 1.0,
    "left": 3.0,
    "now_there": None,
    "recorded_at": "2026-03-05T14:02:30Z",
}

Lot = Annotated[str, StringConstraints(max_length=200, strip_whitespace=True, pattern=r"^[^\x00-\x1f\x7f]*$")]
"""The code of a lot; empty where lots are not told apart."""


class HeldPieces(BaseModel):
    """Pieces that a work order holds; `work_order` is null for those of plants that the key does not see."""

    model_config = _OUT

    work_order: int | None
    quantity: int


class PartOnShelf(BaseModel):
    """A part in one store, lot and bin: on hand is the last count and what has moved since.

    `counted_at` is null where it was never counted: it came by a receipt or a move. Supply that was only marked as
    received, and not put anywhere, stands in store `received` until its part is counted.
    """

    model_config = _OUT

    what: Literal["part"]
    part_number: str
    description: str | None
    store: str
    lot: str
    bin: str | None
    on_hand: int
    held: int
    held_for: list[HeldPieces]
    counted_at: datetime | None
    expires_at: datetime | None
    expired: bool


class HeldVolume(BaseModel):
    """Oil that a work order holds, as of parts."""

    model_config = _OUT

    work_order: int | None
    volume: Volume


class OilOnShelf(BaseModel):
    """An oil in one store and lot, in containers of one size."""

    model_config = _OUT

    what: Literal["oil"]
    fluid: str
    name: str | None
    store: str
    lot: str
    container: Volume
    containers: float
    on_hand: Volume
    held: Volume
    held_for: list[HeldVolume]
    counted_at: datetime | None
    opened_at: datetime | None
    expires_at: datetime | None
    expired: bool


class StockList(BaseModel):
    """In order of codes, stores, lots; oil before parts."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [{"items": [_SHELF_EXAMPLE], "next": None}]})

    items: list[Annotated[PartOnShelf | OilOnShelf, Field(discriminator="what")]]
    next: str | None


class Movement(BaseModel):
    """What left (negative) or came, in pieces, or in containers of oil; `source` says by what."""

    model_config = _OUT

    what: Literal["part", "oil"]
    id: int
    item: str
    store: str
    lot: str
    container: Volume | None
    quantity: float
    at: datetime
    recorded_at: datetime
    source: str


class MovementList(BaseModel):
    """The oldest record first, so that what comes later comes at the end."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [{"items": [_MOVEMENT_EXAMPLE], "next": None}]})

    items: list[Movement]
    next: str | None


class PartCount(BaseModel):
    """Pieces of a part found in one store, lot and bin. What is left out stays as it is known."""

    model_config = Wire

    part_number: Code
    store: Code
    lot: Lot = ""
    on_hand: Annotated[int, Field(ge=0, le=_MOST)]
    bin: Code | None = None
    expires_at: Moment | None = None


class OilCount(BaseModel):
    """Containers of one size of an oil found in one store and lot; of an opened one the share that is left."""

    model_config = Wire

    fluid: Code
    store: Code
    lot: Lot = ""
    container: Volume
    containers: Annotated[float, Field(ge=0, le=_MOST)]
    opened_at: Moment | None = None
    expires_at: Moment | None = None


class CountsIn(BaseModel):
    """What was counted at one time. The same again changes nothing, other values for that time are a correction."""

    model_config = Wire

    counted_at: Moment
    parts: Annotated[list[PartCount], Field(max_length=_MOST_ROWS)] = []
    oil: Annotated[list[OilCount], Field(max_length=_MOST_ROWS)] = []

    @model_validator(mode="after")
    def _something(self) -> "CountsIn":
        if not self.parts and not self.oil:
            raise ValueError("nothing is counted: expected at least one row in `parts` or `oil`")
        return self


CountOutcome = Literal["new", "counted", "corrected", "unchanged", "outdated"]


class Counted(BaseModel):
    """What became of one row. `before` is what the books had: the difference is found or missing.

    `outdated`: it was counted again later, at `counted_at`, and that count stands.
    """

    model_config = _OUT

    item: str
    store: str
    lot: str
    container: Volume | None
    outcome: CountOutcome
    before: float | None
    counted_at: datetime


class Counts(BaseModel):
    """In the order of the request, parts first."""

    model_config = _OUT | ConfigDict(
        json_schema_extra={"examples": [{"recorded_at": "2026-03-05T13:32:10Z", "rows": [_COUNTED_EXAMPLE]}]}
    )

    recorded_at: datetime
    rows: list[Counted]


class PutAway(BaseModel):
    """Where some of what came was put: pieces, or containers of an oil. A part has a bin, an oil a container."""

    model_config = Wire

    store: Code
    lot: Lot = ""
    quantity: Annotated[float, Field(gt=0, le=_MOST)]
    bin: Code | None = None
    container: Volume | None = None
    expires_at: Moment | None = None


class ReceiptIn(BaseModel):
    """One line on order has come, whole: what is still to come of it is a line of its own.

    `differs_because` is needed where another quantity came than was ordered.
    """

    model_config = Wire

    order: Code
    line: Code
    received_at: Moment
    into: Annotated[list[PutAway], Field(min_length=1, max_length=100)]
    differs_because: Annotated[Line, Field(min_length=3)] | None = None


class Receipt(BaseModel):
    """A line that has come, and where it was put."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [_RECEIPT_EXAMPLE]})

    id: int
    order: str
    line: str
    part_number: str | None
    fluid: str | None
    ordered: float
    received_at: datetime
    into: list[PutAway]
    differs_because: str | None
    recorded_at: datetime
    recorded_by: str


class ShelfPlace(BaseModel):
    """A lot in a store; of an oil with the size of its containers."""

    model_config = Wire

    store: Code
    lot: Lot = ""
    container: Volume | None = None


class MoveTo(BaseModel):
    """Where it goes; the lot stays what it is."""

    model_config = Wire

    store: Code
    lot: Lot | None = None
    bin: Code | None = None


class MoveIn(BaseModel):
    """So many pieces, or containers of an oil, go to another store or lot, or out of stock: then `why` says why."""

    model_config = Wire

    part_number: Code | None = None
    fluid: Code | None = None
    at: Moment
    from_: Annotated[ShelfPlace, Field(alias="from")]
    to: MoveTo | None = None
    quantity: Annotated[float, Field(gt=0, le=_MOST)]
    why: Annotated[Line, Field(min_length=3)] | None = None

    @model_validator(mode="after")
    def _is_whole(self) -> "MoveIn":
        if (self.part_number is None) == (self.fluid is None):
            raise ValueError("expected one of `part_number` and `fluid`")
        if self.to is None and self.why is None:
            raise ValueError("what leaves the stock needs `why`, like 'scrapped: box was wet'")
        return self


class Moved(BaseModel):
    """What is left where it was, and what there is now where it went; null where it left the stock."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [_MOVED_EXAMPLE]})

    item: str
    quantity: float
    left: float
    now_there: float | None
    recorded_at: datetime
