"""`/v1/work-orders`: read them, and the verbs of a person."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Body, Depends, Query, Response
from starlette.responses import HTMLResponse

from api_schemas.packs import Pack
from api_schemas.work_orders import History, KitSheet, NotDone, ReserveIn, WorkOrder, WorkOrderList, WorkOrderNote
from service.conditional import version_told
from service.cursors import PageAfter, read_cursor, write_cursor
from service.dependencies import (
    AnyCaller,
    IdempotencyKey,
    IfMatch,
    Now,
    OpenDatabase,
    Planner,
    PublicAddress,
    Reader,
    RequestDigest,
    Worker,
)
from service.description.completing import NEEDED
from service.keys.answering import Answer, answer_once, headers_of
from service.problems import IfMatchNeeded
from service.seen_by_caller import SeenOrder
from service.work_orders import verbs
from service.work_orders.card_page import card_page
from service.work_orders.cards import work_order, work_order_cards, zone_of
from service.work_orders.choosing import ChosenOrders
from service.work_orders.history import history_of
from service.work_orders.kit_sheet import kit_sheet
from service.work_orders.packing import pack_of
from service.work_orders.reserving import release_kit, reserve_kit
from service.work_orders.tables import work_orders
from service.work_orders.verbs import order_row

router = APIRouter(prefix="/work-orders", tags=["work orders"])


@router.get("", summary="Work orders, by planned day")
def list_work_orders(
    caller: Reader,
    database: OpenDatabase,
    chosen: ChosenOrders,
    external_ref: Annotated[str | None, Query(max_length=200)] = None,
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    cursor: PageAfter = None,
) -> WorkOrderList:
    """With tasks, picks, shortages and cautions; the steps are in each order by itself."""
    query = chosen.query(caller)
    if external_ref is not None:
        query = query.where(work_orders.c.external_ref == external_ref)
    if cursor is not None:
        planned_for, order_id = read_cursor(cursor, "work-orders", datetime, int)
        same_day = (work_orders.c.planned_for == planned_for) & (work_orders.c.id > order_id)
        query = query.where((work_orders.c.planned_for > planned_for) | same_day)
    with database.reading() as connection:
        rows = connection.execute(query.limit(limit + 1)).mappings().all()
        items = work_order_cards(connection, rows[:limit])
    last = rows[limit - 1] if len(rows) > limit else None
    return WorkOrderList(
        items=items, next=None if last is None else write_cursor("work-orders", last["planned_for"], last["id"])
    )


@router.get("/{order_id}", summary="One work order: the job card")
def show_work_order(_caller: Reader, database: OpenDatabase, order_id: SeenOrder, response: Response) -> WorkOrder:
    """Its `version` is the ETag."""
    with database.reading() as connection:
        found = work_order(connection, order_id)
    response.headers["ETag"] = f'"{found.version}"'
    return found


@router.get("/{order_id}/card", summary="The job card to print or to read on a phone", response_class=HTMLResponse)
def show_card(_caller: Reader, database: OpenDatabase, order_id: SeenOrder, address: PublicAddress) -> HTMLResponse:
    """One page in black and white, whole in itself: no script, nothing fetched from elsewhere."""
    with database.reading() as connection:
        card = card_page(connection, order_id, public_address=address)
    return HTMLResponse(card.html, headers=card.headers)


@router.get("/{order_id}/kit", summary="What to fetch for a work order, shelf by shelf")
def show_kit(_caller: Reader, database: OpenDatabase, order_id: SeenOrder) -> KitSheet:
    """Of its open tasks; what is short stands last, with the day on which supply covers it."""
    with database.reading() as connection:
        return kit_sheet(connection, order_id)


@router.get("/{order_id}/pack", summary="All that a work order needs where there is no network")
def show_pack(caller: Reader, database: OpenDatabase, now: Now, order_id: SeenOrder, address: PublicAddress) -> Pack:
    """Order, kit, card page and, for each open task, what is right for it; all of one moment."""
    with database.reading() as connection:
        return pack_of(connection, order_id, caller=caller, now=now, public_address=address)


@router.get("/{order_id}/history", summary="What became of a work order: who did what, when and why")
def show_history(_caller: Reader, database: OpenDatabase, order_id: SeenOrder) -> History:
    """From the first step on; nothing of it is ever changed."""
    with database.reading() as connection:
        order = order_row(connection, order_id)
        return History(items=history_of(connection, order_id, zone_of(connection, order["plant"])))


class OrderChange:
    """One change to one order, told at `now`, if it is still at the version of `If-Match`; a repeat does nothing."""

    def __init__(
        self,
        database: OpenDatabase,
        caller: AnyCaller,
        now: Now,
        order_id: SeenOrder,
        digest: RequestDigest,
        response: Response,
        idempotency_key: IdempotencyKey = None,
        if_match: IfMatch = None,
    ) -> None:
        self._database, self._caller, self._response = database, caller, response
        self._idempotency_key, self._digest, self._if_match = idempotency_key, digest, if_match
        self.order_id, self.now = order_id, now

    @property
    def if_version(self) -> int | None:
        """Raises BadInput for an `If-Match` that is no version."""
        return version_told(self._if_match)

    def must_say_version(self) -> None:
        """For what could undo what somebody else has just done. Raises IfMatchNeeded."""
        if self._if_match is None:
            raise IfMatchNeeded(
                f"send the ETag of work order {self.order_id} as it was read with If-Match, or '*' for any version"
            )

    def make(self, change: Callable[[sa.Connection], None]) -> WorkOrder:
        """Do it in one transaction; the order as it then stands, its version the ETag."""

        def work(connection: sa.Connection) -> Answer:
            change(connection)
            found = work_order(connection, self.order_id)
            return Answer(200, found.model_dump(mode="json"), headers={"ETag": f'"{found.version}"'})

        answer = answer_once(self._database, self._caller, self._idempotency_key, self._digest, self.now, work)
        self._response.headers.update(headers_of(answer))
        return WorkOrder.model_validate(answer.body)

    def take(self, verb: verbs.Verb, by: str, note: str | None = None) -> WorkOrder:
        """To the verb's state."""
        version = self.if_version
        return self.make(
            lambda connection: verbs.do(
                connection, self.order_id, verb, now=self.now, by=by, note=note, if_version=version
            )
        )


Change = Annotated[OrderChange, Depends()]


@router.post("/{order_id}/issue", summary="Issue a draft")
def issue(caller: Planner, change: Change) -> WorkOrder:
    """From now on a pass only proposes changes to it."""
    return change.take(verbs.ISSUE, caller.name)


@router.post("/{order_id}/reserve", summary="Hold the kit of an order for it alone")
def reserve(
    caller: Planner,
    change: Change,
    body: Annotated[ReserveIn, Body()] = ReserveIn(),  # noqa: B008 - it cannot be changed
) -> WorkOrder:
    """Everything or nothing; what is missing is told with who holds it and when supply comes."""
    version = change.if_version
    return change.make(
        lambda connection: reserve_kit(
            *(connection, change.order_id),
            now=change.now,
            caller=caller,
            as_far_as_possible=body.as_far_as_possible,
            if_version=version,
        )
    )


@router.post("/{order_id}/release-kit", summary="Hold the kit of an order no longer")
def release_held_kit(caller: Planner, change: Change) -> WorkOrder:
    """The next work that needs it may have it."""
    version = change.if_version
    return change.make(
        lambda connection: release_kit(
            connection, change.order_id, now=change.now, by=caller.name, if_version=version
        )
    )


@router.post("/{order_id}/start", summary="Begin the work")
def start(caller: Worker, change: Change) -> WorkOrder:
    """From now on no pass touches it, and its parts are in somebody's hands."""
    return change.take(verbs.START, caller.name)


@router.post("/{order_id}/not-done", summary="Leave a task undone, with the reason")
def not_done(caller: Worker, change: Change, body: Annotated[NotDone, Body()]) -> WorkOrder:
    """The order's other tasks stay; a pass raises the work anew while its reason stands."""
    version = change.if_version
    return change.make(
        lambda connection: verbs.leave_undone(
            *(connection, change.order_id, body.task, body.why), now=change.now, by=caller.name, if_version=version
        )
    )


@router.post("/{order_id}/hold", summary="Hold issued or begun work, with the reason")
def hold(caller: Worker, change: Change, body: Annotated[WorkOrderNote, Body()]) -> WorkOrder:
    """Until it is released."""
    return change.take(verbs.HOLD, caller.name, body.note)


@router.post("/{order_id}/release", summary="Release held work")
def release(caller: Worker, change: Change) -> WorkOrder:
    """It is issued again."""
    return change.take(verbs.RELEASE, caller.name)


@router.post(
    "/{order_id}/withdraw", summary="Withdraw an order, with the reason", openapi_extra={NEEDED: ["If-Match"]}
)
def withdraw(caller: Planner, change: Change, body: Annotated[WorkOrderNote, Body()]) -> WorkOrder:
    """A pass raises the work again while its reason stands. Needs `If-Match`: others may have begun or held it."""
    change.must_say_version()
    return change.take(verbs.WITHDRAW, caller.name, body.note)


@router.post(
    "/{order_id}/accept-proposal",
    summary="Do what the last pass proposed for issued work",
    openapi_extra={NEEDED: ["If-Match"]},
)
def accept_proposal(caller: Planner, change: Change) -> WorkOrder:
    """Plan it earlier, or withdraw the tasks whose reason is gone. Needs `If-Match`: a pass may propose anew."""
    change.must_say_version()
    version = change.if_version
    return change.make(
        lambda connection: verbs.accept_proposals(
            connection, change.order_id, now=change.now, by=caller.name, if_version=version
        )
    )
