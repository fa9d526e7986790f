"""`/v1/work-orders/{id}/acknowledge` and `/give-back`: the verbs of another system."""

from collections.abc import Callable
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import APIRouter, Body, Depends
from starlette.responses import JSONResponse

from api_schemas.work_orders import Acknowledgement, GivenBack, WorkOrder
from service.dependencies import IdempotencyKey, Integrator, Now, OpenDatabase
from service.keys.answering import Answer, answer_once, digest_of
from service.seen_by_caller import SeenOrder
from service.work_orders.cards import work_order
from service.work_orders.routes import IfMatch, version_in
from service.work_orders.taking_over import acknowledge, give_back

router = APIRouter(prefix="/work-orders", tags=["work orders"])


class TakingOver:
    """One change of hands, done once for its `Idempotency-Key`."""

    def __init__(
        self,
        caller: Integrator,
        database: OpenDatabase,
        now: Now,
        order_id: SeenOrder,
        if_match: IfMatch = None,
        idempotency_key: IdempotencyKey = None,
    ) -> None:
        self.caller, self.now, self.order_id = caller, now, order_id
        self.if_version = version_in(if_match)
        self._database, self._idempotency_key = database, idempotency_key

    def do(
        self, verb: str, body: Acknowledgement | GivenBack, change: Callable[[sa.Connection], None]
    ) -> JSONResponse:
        """The order as it then stands, its version the ETag."""

        def work(connection: sa.Connection) -> Answer:
            change(connection)
            return Answer(200, work_order(connection, self.order_id).model_dump(mode="json"))

        digest = digest_of(f"work-orders/{self.order_id}/{verb}", body.model_dump(mode="json"))
        answer = answer_once(self._database, self.caller, self._idempotency_key, digest, self.now, work)
        headers = {"ETag": f'"{answer.body["version"]}"'}
        return JSONResponse(
            answer.body, answer.status, headers | ({"Idempotency-Replayed": "true"} if answer.repeated else {})
        )


_TakingOver = Annotated[TakingOver, Depends()]
_IN_THE_WAY: dict[int | str, dict[str, Any]] = {
    409: {"description": "Not issued, or another system has it, which is named"}
}


@router.post(
    "/{order_id}/acknowledge",
    response_model=WorkOrder,
    summary="Take an issued order over into another system",
    responses=_IN_THE_WAY,
)
def take_over(
    taking: _TakingOver, body: Annotated[Acknowledgement, Body(examples=[{"external_ref": "WO-2026-0417"}])]
) -> JSONResponse:
    """From now on passes leave it alone, and the verbs of persons are refused here; it is closed out here as ever.

    A draft is issued first, by whoever plans. Its kit is reserved first, too, if it must stay: what is only picked
    may still go to other work.
    """
    return taking.do(
        "acknowledge",
        body,
        lambda connection: acknowledge(
            *(connection, taking.order_id, body.external_ref),
            by=taking.caller.name,
            now=taking.now,
            if_version=taking.if_version,
        ),
    )


@router.post(
    "/{order_id}/give-back",
    response_model=WorkOrder,
    summary="Give an order back that was taken over",
    responses=_IN_THE_WAY,
)
def hand_back(
    taking: _TakingOver,
    body: Annotated[GivenBack, Body(examples=[{"external_ref": "WO-2026-0417", "why": "no crew before the stop"}])],
) -> JSONResponse:
    """It is issued work of this service again, with what it was taken over as in its history."""
    return taking.do(
        "give-back",
        body,
        lambda connection: give_back(
            *(connection, taking.order_id, body.external_ref, body.why),
            by=taking.caller.name,
            now=taking.now,
            if_version=taking.if_version,
        ),
    )
