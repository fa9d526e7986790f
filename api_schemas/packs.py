"""What a technician takes along where there is no network: one answer for one work order.

A check sheet says of each open task what is right for it, so that what was taken from the shelf can be compared
without asking: `api_schemas.client.shelf` reads it.
"""

from datetime import datetime
from enum import StrEnum
from typing import Any

from pydantic import BaseModel, ConfigDict

from api_schemas.quantities import Volume
from api_schemas.work_orders import KitSheet, WorkOrder

_OUT = ConfigDict(extra="forbid", frozen=True)


_SHEET_EXAMPLE: dict[str, Any] = {
    "task": 9,
    "position": "PRESS1-RET",
    "system": "PRESS1",
    "parts": [
        {
            "part_number": "EL-10",
            "role": "specified",
            "description": "return element",
            "objection": None,
            "says": [],
            "lots": [
                {"lot": "L-2207", "store": "MAIN", "bin": "A1", "quantity": 3, "expires_at": "2029-01-31T11:00:00Z"}
            ],
        }
    ],
    "fluids": [
        {
            "fluid": "OIL-46",
            "name": "the plant's name for it",
            "objection": None,
            "says": [],
            "lots": [
                {
                    "lot": "D-1",
                    "store": "MAIN",
                    "container": {"value": 20, "unit": "L"},
                    "left": {"value": 40, "unit": "L"},
                    "expires_at": None,
                }
            ],
        }
    ],
    "room": {
        "certain": {"value": 4, "unit": "L"},
        "refused_until": "2026-03-12T08:00:00Z",
        "reservoir": {"value": 400, "unit": "L"},
        "says": "At most 4 L, up to the full mark of 400 L; pour slowly, and look again at rest.",
    },
}


class Objection(StrEnum):
    """What becomes of a thing: not to be used, or to be used only after somebody who knows has answered."""

    REFUSE = "refuse"
    ASK = "ask"


class PartRole(StrEnum):
    """What a part is to the job."""

    SPECIFIED = "specified"
    ALTERNATE = "alternate"
    SEAL_KIT = "seal_kit"
    KIT_LINE = "kit_line"


class PartLot(BaseModel):
    """A lot that the store's counts know of; `quantity` is what nobody else holds, 0 where it is used up."""

    model_config = _OUT

    lot: str
    store: str
    bin: str | None
    quantity: int
    expires_at: datetime | None


class SheetPart(BaseModel):
    """A part that belongs to the job, and what speaks against it whatever its lot, such as its seals."""

    model_config = _OUT

    part_number: str
    role: PartRole
    description: str | None
    objection: Objection | None
    says: list[str]
    lots: list[PartLot]


class FluidLot(BaseModel):
    """A lot of a fluid in containers of one size; `left` is what the store's books have of it."""

    model_config = _OUT

    lot: str
    store: str
    container: Volume
    left: Volume
    expires_at: datetime | None


class SheetFluid(BaseModel):
    """A fluid of the plant's list, by its code or by the name that is printed on the container.

    Without an `objection` it is the right one. Lots are told of the right one alone.
    """

    model_config = _OUT

    fluid: str
    name: str | None
    objection: Objection | None
    says: list[str]
    lots: list[FluidLot]


class PourRoom(BaseModel):
    """What the system has room for: up to `certain`, if a look at the level counts, else what the job lets out.

    More than that is refused until `refused_until`, and later it only makes somebody look again. More than the whole
    `reservoir` is refused always.
    """

    model_config = _OUT

    certain: Volume
    refused_until: datetime | None
    reservoir: Volume
    says: str


class CheckSheet(BaseModel):
    """What is right for one open task. Without a position the task is on the whole system and takes no parts.

    `fluids` stand in the order in which a printed name is looked for: the specified one first.
    """

    model_config = ConfigDict(**_OUT, json_schema_extra={"examples": [_SHEET_EXAMPLE]})

    task: int
    position: str
    system: str
    parts: list[SheetPart]
    fluids: list[SheetFluid]
    room: PourRoom


class Pack(BaseModel):
    """All that one work order needs where there is no network, as it stood at `made_at`.

    After `good_until` the sheets call nothing right any more. `card` is the page of the job card, whole in itself.
    """

    model_config = _OUT

    made_at: datetime
    good_until: datetime
    walking_order: int | None
    order: WorkOrder
    kit: KitSheet
    card: str
    sheets: list[CheckSheet]
