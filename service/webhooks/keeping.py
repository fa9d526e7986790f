"""Making, finding, pausing and ending webhooks, and asking for dead letters to be sent again."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from api_schemas.webhooks import Delivery, DeliveryList, NewWebhook, Webhook, WebhookIn, WebhookList
from scheduler.vocabulary import DeliveryState
from service.cursors import read_cursor, write_cursor
from service.feed.recording import newest_number
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.problems import BadInput, InTheWay, NotAllowed, NotFound, shown
from service.webhooks.signing import new_secret
from service.webhooks.tables import webhook_deliveries as deliveries
from service.webhooks.tables import webhooks
from service.webhooks.targets import TargetRefused, Targets


def make_webhook(
    connection: sa.Connection, told: WebhookIn, targets: Targets, caller: Caller, now: datetime
) -> NewWebhook:
    """It is told of what comes after now. Raises BadInput, and NotAllowed for plants that the caller does not see."""
    try:
        targets.check(told.target)
    except TargetRefused as refused:
        error = MemberProblem(member="target", value=shown(told.target), says=str(refused))
        raise BadInput(f"target: {refused}", [error]) from None
    secret = new_secret()
    values = {
        "target": told.target,
        "types": None if told.types is None else sorted(set(told.types)),
        "plants": _plants(connection, told.plants, caller),
        "secret": secret,
        "created_at": now,
        "created_by": caller.name,
        "after": newest_number(connection),
    }
    made = connection.execute(sa.insert(webhooks).values(**values)).inserted_primary_key
    assert made is not None  # noqa: S101 - an insert of one row has its key
    return NewWebhook(**show_webhook(connection, int(made[0]), caller).model_dump(), secret=secret)


def list_webhooks(connection: sa.Connection, caller: Caller, limit: int, cursor: str | None) -> WebhookList:
    """Those of which the caller sees every plant. Raises BadInput."""
    after = 0 if cursor is None else read_cursor(cursor, "webhooks", int)[0]
    query = sa.select(webhooks).where(webhooks.c.ended_at.is_(None), webhooks.c.id > after).order_by(webhooks.c.id)
    rows = [row for row in connection.execute(query).mappings() if _is_for(caller, row)]
    items = [_shown(connection, row) for row in rows[:limit]]
    return WebhookList(items=items, next=write_cursor("webhooks", items[-1].id) if len(rows) > limit else None)


def show_webhook(connection: sa.Connection, id_: int, caller: Caller) -> Webhook:
    """Raises NotFound."""
    return _shown(connection, webhook_row(connection, id_, caller))


def webhook_row(connection: sa.Connection, id_: int, caller: Caller) -> sa.RowMapping:
    """One that stands and that the caller may see. Raises NotFound."""
    query = sa.select(webhooks).where(webhooks.c.id == id_, webhooks.c.ended_at.is_(None))
    row = connection.execute(query).mappings().one_or_none()
    if row is None or not _is_for(caller, row):
        raise NotFound(f"there is no webhook {id_}")
    return row


def pause(connection: sa.Connection, id_: int, caller: Caller, now: datetime) -> Webhook:
    """Nothing is sent until it goes on; nothing is lost either. Again changes nothing. Raises NotFound."""
    if webhook_row(connection, id_, caller)["paused_at"] is None:
        _set(connection, id_, paused_at=now, paused_because=f"by {caller.name}")
    return show_webhook(connection, id_, caller)


def resume(connection: sa.Connection, id_: int, caller: Caller) -> Webhook:
    """It goes on where it was. Raises NotFound."""
    webhook_row(connection, id_, caller)
    _set(connection, id_, paused_at=None, paused_because=None)
    return show_webhook(connection, id_, caller)


def end_webhook(connection: sa.Connection, id_: int, caller: Caller, now: datetime) -> Webhook:
    """Nothing is sent any more; its secret and its deliveries are gone. Raises NotFound."""
    stood = show_webhook(connection, id_, caller)
    connection.execute(sa.delete(deliveries).where(deliveries.c.webhook == id_))
    _set(connection, id_, ended_at=now, secret="")
    return stood


def send_again(connection: sa.Connection, id_: int, caller: Caller, now: datetime, only: int | None) -> Webhook:
    """Dead letters wait again, the oldest first and before what is new; with `only`, that one.

    Raises NotFound, and InTheWay where the delivery named is not dead.
    """
    webhook_row(connection, id_, caller)
    dead = sa.and_(deliveries.c.webhook == id_, deliveries.c.state == DeliveryState.DEAD)
    if only is not None:
        own = sa.select(deliveries.c.state).where(deliveries.c.webhook == id_, deliveries.c.id == only)
        state = connection.scalar(own)
        if state is None:
            raise NotFound(f"webhook {id_} has no delivery {only}")
        if state != DeliveryState.DEAD:
            raise InTheWay(f"delivery {only} is {state}; what is dead is sent again", state=state)
        dead = sa.and_(dead, deliveries.c.id == only)
    waiting = {"state": DeliveryState.WAITING, "attempts": 0, "next_at": now}
    connection.execute(sa.update(deliveries).where(dead).values(**waiting))
    return show_webhook(connection, id_, caller)


def list_deliveries(
    connection: sa.Connection, id_: int, caller: Caller, state: DeliveryState | None, limit: int, cursor: str | None
) -> DeliveryList:
    """The newest first. Raises NotFound, BadInput."""
    webhook_row(connection, id_, caller)
    query = sa.select(deliveries).where(deliveries.c.webhook == id_).order_by(deliveries.c.id.desc()).limit(limit + 1)
    if state is not None:
        query = query.where(deliveries.c.state == state)
    if cursor is not None:
        query = query.where(deliveries.c.id < read_cursor(cursor, "deliveries", int)[0])
    rows = connection.execute(query).mappings().all()
    items = [Delivery(**{name: row[name] for name in Delivery.model_fields}) for row in rows[:limit]]
    return DeliveryList(items=items, next=write_cursor("deliveries", items[-1].id) if len(rows) > limit else None)


def _plants(connection: sa.Connection, told: list[str] | None, caller: Caller) -> list[str] | None:
    if told is None:
        return None if caller.plants is None else sorted(caller.plants)
    unseen = [plant for plant in told if not caller.sees(plant)]
    if unseen:
        raise NotAllowed(f"key '{caller.name}' does not see plant '{unseen[0]}'")
    known = set(connection.scalars(sa.select(t.plants.c.plant)))
    unknown = [plant for plant in told if plant not in known]
    if unknown:
        says = f"there is no plant '{unknown[0]}'"
        raise BadInput(f"plants: {says}", [MemberProblem(member="plants", value=shown(unknown[0]), says=says)])
    return sorted(set(told))


def _is_for(caller: Caller, row: sa.RowMapping) -> bool:
    if caller.plants is None:
        return True
    return row["plants"] is not None and all(caller.sees(plant) for plant in row["plants"])


def _set(connection: sa.Connection, id_: int, **values: Any) -> None:
    connection.execute(sa.update(webhooks).where(webhooks.c.id == id_).values(**values))


def _shown(connection: sa.Connection, row: sa.RowMapping) -> Webhook:
    query = sa.select(deliveries.c.state, sa.func.count().label("number")).where(deliveries.c.webhook == row["id"])
    counted = {row.state: row.number for row in connection.execute(query.group_by(deliveries.c.state))}
    return Webhook(
        **{name: row[name] for name in Webhook.model_fields if name in row},
        waiting=counted.get(DeliveryState.WAITING, 0),
        dead=counted.get(DeliveryState.DEAD, 0),
    )
