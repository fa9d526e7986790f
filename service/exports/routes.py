"""`/v1/…/file`: lists as CSV or workbook, whole."""

from collections.abc import Sequence
from typing import Annotated, Literal

import sqlalchemy as sa
from fastapi import APIRouter, Query, Response

from api_schemas.moments import Moment
from api_schemas.work_orders import WorkOrder
from scheduler.vocabulary import WorkOrderState
from service.dependencies import Now, OnlyPlant, OpenDatabase, Reader
from service.due.listing import due_at_moment, due_from_last_pass
from service.exports.answering import FILES, FileFormat, file_answer
from service.exports.due_sheet import due_sheet
from service.exports.sheet import MOST_ROWS, refuse_too_many
from service.exports.units import volume_unit
from service.exports.work_sheets import work_sheets
from service.work_orders.cards import work_order_cards
from service.work_orders.planning import OPEN_STATES
from service.work_orders.tables import tasks, work_orders

router = APIRouter()

OnlySystem = Annotated[str | None, Query(max_length=200, description="Only this system's.")]
_ORDERS_AT_ONCE = 500


@router.get(
    "/due/file",
    tags=["due"],
    summary="The due list as CSV or workbook",
    response_class=Response,
    responses=FILES,
)
def write_due(
    caller: Reader,
    database: OpenDatabase,
    plant: OnlyPlant,
    as_of: Annotated[
        Moment | None, Query(description="Compute afresh from what was known at that time; nothing is kept.")
    ] = None,
    system: OnlySystem = None,
    format_: FileFormat = "csv",
) -> Response:
    """One row for each position in service, in the order of the list; times with the plant's offset."""
    with database.reading() as connection:
        if as_of is None:
            found = due_from_last_pass(connection, caller, plant=plant, system=system)
        else:
            found = due_at_moment(connection, caller, as_of, plant=plant, system=system)
    return file_answer(format_, [due_sheet(found)], found.planned.as_of)


@router.get(
    "/work-orders/file",
    tags=["work orders"],
    summary="Work orders as CSV or workbook, a row for each task",
    response_class=Response,
    responses=FILES,
)
def write_work_orders(
    caller: Reader,
    database: OpenDatabase,
    now: Now,
    plant: OnlyPlant,
    state: Annotated[
        list[WorkOrderState] | None, Query(description="Only these states; by default the open ones.")
    ] = None,
    system: OnlySystem = None,
    position: Annotated[str | None, Query(max_length=200, description="Only orders with a task there.")] = None,
    sheet: Annotated[
        Literal["work-orders", "picks"], Query(description="Which of the two a CSV file holds; a workbook has both.")
    ] = "work-orders",
    format_: FileFormat = "csv",
) -> Response:
    """With stop, parts and shortage; the other sheet has a row for each thing that is fetched or short."""
    query = sa.select(work_orders).where(
        work_orders.c.state.in_(state or OPEN_STATES), caller.only(work_orders.c.plant)
    )
    if plant is not None:
        query = query.where(work_orders.c.plant == plant)
    if system is not None:
        query = query.where(work_orders.c.system == system)
    if position is not None:
        query = query.where(_has_task_at(position))
    with database.reading() as connection:
        orders = _cards(connection, query.order_by(work_orders.c.planned_for, work_orders.c.id))
        volumes = volume_unit(connection, {order.plant for order in orders})
    sheets = work_sheets(orders, volumes)
    return file_answer(format_, sheets if sheet == sheets[0].name else sheets[::-1], now)


def _has_task_at(position: str) -> sa.ColumnElement[bool]:
    """As the list shows them: a withdrawn order is found by what it was for."""
    shown = (tasks.c.state != "withdrawn") | (work_orders.c.state == WorkOrderState.WITHDRAWN)
    return sa.exists().where(tasks.c.work_order == work_orders.c.id, tasks.c.position == position, shown)


def _cards(connection: sa.Connection, query: sa.Select[tuple[object, ...]]) -> list[WorkOrder]:
    """Every order of the query, of which there may not be more than a file has rows."""
    rows: Sequence[sa.RowMapping] = connection.execute(query.limit(MOST_ROWS + 1)).mappings().all()
    refuse_too_many(len(rows))
    starts = range(0, len(rows), _ORDERS_AT_ONCE)
    return [card for at in starts for card in work_order_cards(connection, rows[at : at + _ORDERS_AT_ONCE])]
