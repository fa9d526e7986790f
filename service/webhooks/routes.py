"""`/v1/webhooks`: who is told of the feed's lines without asking. For administrators."""

from collections.abc import Callable
from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Body, Depends, Query, Request
from starlette.responses import JSONResponse

from api_schemas.quantities import RowNumber
from api_schemas.webhooks import EXAMPLE, DeliveryList, NewWebhook, Webhook, WebhookIn, WebhookList
from scheduler.vocabulary import DeliveryState
from service.cursors import PageAfter
from service.dependencies import Administrator, IdempotencyKey, Now, OpenDatabase
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.webhooks import keeping
from service.webhooks.targets import Targets

router = APIRouter(prefix="/webhooks", tags=["webhooks"])

Limit = Annotated[int, Query(ge=1, le=500)]


def _targets(request: Request) -> Targets:
    found: Targets = request.app.state.webhook_targets
    return found


AllowedTargets = Annotated[Targets, Depends(_targets)]


class Write:
    """One change, with its answer kept under its `Idempotency-Key`."""

    def __init__(
        self, caller: Administrator, database: OpenDatabase, now: Now, idempotency_key: IdempotencyKey = None
    ) -> None:
        self._database, self._idempotency_key = database, idempotency_key
        self.caller, self.now = caller, now

    def make(
        self, route: str, body: object, change: Callable[[sa.Connection], Webhook], status: int = 200
    ) -> JSONResponse:
        """What `change` leaves, in one transaction."""

        def work(connection: sa.Connection) -> Answer:
            return Answer(status, change(connection).model_dump(mode="json"), withheld=frozenset({"secret"}))

        digest = digest_of(f"webhooks{route}", body)
        return response_of(answer_once(self._database, self.caller, self._idempotency_key, digest, self.now, work))


Change = Annotated[Write, Depends()]


@router.post("", status_code=201, response_model=NewWebhook, summary="Make a webhook")
def make_webhook(
    write: Change, targets: AllowedTargets, body: Annotated[WebhookIn, Body(examples=[EXAMPLE])]
) -> JSONResponse:
    """The target must be on the operator's list. The answer alone has the secret; a repeat shows it no more.

    The service keeps it, since it signs each delivery with it: whoever reads the database can sign as the service.
    """
    return write.make(
        "",
        body.model_dump(mode="json"),
        lambda connection: keeping.make_webhook(connection, body, targets, write.caller, write.now),
        201,
    )


@router.get("", summary="Webhooks")
def list_webhooks(
    caller: Administrator, database: OpenDatabase, limit: Limit = 100, cursor: PageAfter = None
) -> WebhookList:
    """Those of which the key sees every plant; without their secrets."""
    with database.reading() as connection:
        return keeping.list_webhooks(connection, caller, limit, cursor)


@router.get("/{webhook_id}", summary="One webhook")
def show_webhook(caller: Administrator, database: OpenDatabase, webhook_id: RowNumber) -> Webhook:
    """Without its secret."""
    with database.reading() as connection:
        return keeping.show_webhook(connection, webhook_id, caller)


@router.delete("/{webhook_id}", response_model=Webhook, summary="End a webhook")
def end_webhook(write: Change, webhook_id: RowNumber) -> JSONResponse:
    """Nothing is sent any more, what waits is forgotten, and so is the secret. The answer is as it stood."""
    return write.make(
        f"/{webhook_id}/end",
        None,
        lambda connection: keeping.end_webhook(connection, webhook_id, write.caller, write.now),
    )


@router.post("/{webhook_id}/pause", response_model=Webhook, summary="Send nothing for a while")
def pause(write: Change, webhook_id: RowNumber) -> JSONResponse:
    """What comes meanwhile is sent afterwards; what the feed gives up meanwhile becomes a dead letter."""
    return write.make(
        f"/{webhook_id}/pause",
        None,
        lambda connection: keeping.pause(connection, webhook_id, write.caller, write.now),
    )


@router.post("/{webhook_id}/resume", response_model=Webhook, summary="Go on sending")
def resume(write: Change, webhook_id: RowNumber) -> JSONResponse:
    """Where it was."""
    return write.make(
        f"/{webhook_id}/resume", None, lambda connection: keeping.resume(connection, webhook_id, write.caller)
    )


@router.get("/{webhook_id}/deliveries", summary="What became of each line")
def list_deliveries(
    caller: Administrator,
    database: OpenDatabase,
    webhook_id: RowNumber,
    state: Annotated[DeliveryState | None, Query(description="Only these.")] = None,
    limit: Limit = 100,
    cursor: PageAfter = None,
) -> DeliveryList:
    """Newest first: attempts, the last answer and when the next attempt is."""
    with database.reading() as connection:
        return keeping.list_deliveries(connection, webhook_id, caller, state, limit, cursor)


@router.post("/{webhook_id}/replay", response_model=Webhook, summary="Send dead letters again")
def replay(
    write: Change,
    webhook_id: RowNumber,
    delivery: Annotated[RowNumber | None, Query(description="This one alone; without it all of them.")] = None,
) -> JSONResponse:
    """The oldest first, under the ids that they had, and before what is new."""
    return write.make(
        f"/{webhook_id}/replay",
        delivery,
        lambda connection: keeping.send_again(connection, webhook_id, write.caller, write.now, delivery),
    )
