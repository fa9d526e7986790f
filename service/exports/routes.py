"""`/v1/…/file`: lists as CSV or workbook, whole."""

from collections.abc import Sequence
from typing import Annotated, Any, Literal

import sqlalchemy as sa
from fastapi import APIRouter, Query, Response

from api_schemas.moments import Moment
from api_schemas.work_orders import WorkOrder
from service.dependencies import Now, OnlyPlant, OpenDatabase, Reader
from service.due.listing import due_at_moment, due_from_last_pass
from service.exports.answering import FILES, FileFormat, file_answer
from service.exports.due_sheet import due_sheet
from service.exports.sheet import MOST_ROWS, refuse_too_many
from service.exports.units import volume_unit
from service.exports.work_sheets import work_sheets
from service.work_orders.cards import work_order_cards
from service.work_orders.choosing import ChosenOrders

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
    chosen: ChosenOrders,
    sheet: Annotated[
        Literal["work-orders", "picks"], Query(description="Which of the two a CSV file holds; a workbook has both.")
    ] = "work-orders",
    format_: FileFormat = "csv",
) -> Response:
    """With stop, parts and shortage; the other sheet has a row for each thing that is fetched or short."""
    with database.reading() as connection:
        orders = _cards(connection, chosen.query(caller))
        volumes = volume_unit(connection, {order.plant for order in orders})
    sheets = work_sheets(orders, volumes)
    return file_answer(format_, sheets if sheet == sheets[0].name else sheets[::-1], now)


def _cards(connection: sa.Connection, query: sa.Select[Any]) -> list[WorkOrder]:
    """Every order of the query, of which there may not be more than a file has rows."""
    rows: Sequence[sa.RowMapping] = connection.execute(query.limit(MOST_ROWS + 1)).mappings().all()
    refuse_too_many(len(rows))
    starts = range(0, len(rows), _ORDERS_AT_ONCE)
    return [card for at in starts for card in work_order_cards(connection, rows[at : at + _ORDERS_AT_ONCE])]
