"""`/v1/work-orders/{id}/acknowledge` and `/give-back`: the verbs of another system."""

from typing import Annotated, Any

from fastapi import APIRouter, Body

from api_schemas.work_orders import Acknowledgement, GivenBack, WorkOrder
from service.dependencies import Integrator
from service.work_orders.routes import Change
from service.work_orders.taking_over import acknowledge, give_back

router = APIRouter(prefix="/work-orders", tags=["work orders"])


_IN_THE_WAY: dict[int | str, dict[str, Any]] = {
    409: {"description": "Not issued, or another system has it, which is named"}
}


@router.post(
    "/{order_id}/acknowledge",
    summary="Take an issued order over into another system",
    responses=_IN_THE_WAY,
)
def take_over(
    caller: Integrator,
    change: Change,
    body: Annotated[Acknowledgement, Body(examples=[{"external_ref": "WO-2026-0417"}])],
) -> WorkOrder:
    """From now on passes leave it alone, and the verbs of persons are refused here; it is closed out here as ever.

    A draft is issued first, by whoever plans. Its kit is reserved first, too, if it must stay: what is only picked
    may still go to other work.
    """
    version = change.if_version
    return change.make(
        lambda connection: acknowledge(
            *(connection, change.order_id, body.external_ref), by=caller.name, now=change.now, if_version=version
        )
    )


@router.post(
    "/{order_id}/give-back",
    summary="Give an order back that was taken over",
    responses=_IN_THE_WAY,
)
def hand_back(
    caller: Integrator,
    change: Change,
    body: Annotated[GivenBack, Body(examples=[{"external_ref": "WO-2026-0417", "why": "no crew before the stop"}])],
) -> WorkOrder:
    """It is issued work of this service again, with what it was taken over as in its history."""
    version = change.if_version
    return change.make(
        lambda connection: give_back(
            *(connection, change.order_id, body.external_ref, body.why),
            by=caller.name,
            now=change.now,
            if_version=version,
        )
    )
