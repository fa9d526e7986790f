"""Webhooks on the wire: who is told of the feed's lines without asking."""

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from api_schemas.quantities import Code, Wire
from scheduler.vocabulary import DeliveryState, FeedType

_OUT = ConfigDict(extra="forbid", frozen=True)

_Type = Annotated[FeedType, Field(strict=False)]

EXAMPLE: dict[str, Any] = {
    "target": "https://erp.mill.example/hooks/elementdue",
    "types": ["work_order.changed", "shortage.changed"],
    "plants": ["MILL"],
}

EXAMPLE_OUT: dict[str, Any] = {
    "id": 3,
    **EXAMPLE,
    "created_at": "2026-03-05T13:31:00Z",
    "created_by": "administrator",
    "paused_at": None,
    "paused_because": None,
    "waiting": 0,
    "dead": 1,
}


class WebhookIn(BaseModel):
    """Without `types` every line but `due.drifted`; without `plants` those of the key that makes it."""

    model_config = Wire

    target: Annotated[str, Field(min_length=1, max_length=2000)]
    types: Annotated[list[_Type], Field(min_length=1, max_length=len(FeedType))] | None = None
    plants: Annotated[list[Code], Field(min_length=1, max_length=1000)] | None = None


class Webhook(BaseModel):
    """`waiting` lines are being tried, `dead` ones were given up. Never its secret."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [EXAMPLE_OUT]})

    id: int
    target: str
    types: list[FeedType] | None
    plants: list[str] | None
    created_at: datetime
    created_by: str
    paused_at: datetime | None
    paused_because: str | None
    waiting: int
    dead: int


class NewWebhook(Webhook):
    """With the secret that the receiver verifies with: it is shown this once, and null to a repeat."""

    model_config = _OUT | ConfigDict(
        json_schema_extra={
            "examples": [EXAMPLE_OUT | {"secret": "whsec_c2VjcmV0IG9mIGFuIGV4YW1wbGU="}]  # of no webhook
        }
    )

    secret: str | None


class WebhookList(BaseModel):
    """A page of webhooks, oldest first."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [{"items": [EXAMPLE_OUT], "next": None}]})

    items: list[Webhook]
    next: str | None


EXAMPLE_DELIVERY: dict[str, Any] = {
    "id": 71,
    "number": 1204,
    "event": "evt_0b6f6c1d2a9c4c0f9a3c5e7d1f2b4a68",
    "state": "dead",
    "attempts": 8,
    "next_at": None,
    "last_at": "2026-03-06T21:44:10Z",
    "last_status": 503,
    "says": "in maintenance",
}


class Delivery(BaseModel):
    """One line for one webhook. `event` is the `webhook-id` of each of its attempts."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [EXAMPLE_DELIVERY]})

    id: int
    number: int
    event: str
    state: DeliveryState
    attempts: int
    next_at: datetime | None
    last_at: datetime | None
    last_status: int | None
    says: str | None


class DeliveryList(BaseModel):
    """A page of deliveries, newest first."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [{"items": [EXAMPLE_DELIVERY], "next": None}]})

    items: list[Delivery]
    next: str | None
