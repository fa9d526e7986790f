"""`/v1/stock`: what lies where, what moved, and the counts, receipts and moves of whoever keeps a store."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Literal

import sqlalchemy as sa
from fastapi import APIRouter, Body, Query, Response
from pydantic import BaseModel
from starlette.responses import JSONResponse

from api_schemas.stock import Counts, CountsIn, Moved, MoveIn, MovementList, Receipt, ReceiptIn, StockList
from service.cursors import PageAfter
from service.database import Database
from service.dependencies import IdempotencyKey, Now, OpenDatabase, Reader, Stocker
from service.due.listing import display_units
from service.exports.answering import FILES, FileFormat, file_answer
from service.exports.stock_sheets import stock_sheets
from service.exports.units import volume_unit
from service.keys.answering import Answer, answer_once, digest_of, response_of
from service.keys.keeping import Caller
from service.stock.counting import record_counts
from service.stock.listing import LONGEST_PAGE, Chosen, stock_items, stock_page
from service.stock.movements import movement_page
from service.stock.moving import move
from service.stock.receiving import receive

router = APIRouter(prefix="/stock", tags=["stock"])

PageLimit = Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Rows on a page.")]
OnlyPart = Annotated[str | None, Query(max_length=200, description="Only this part.")]
OnlyFluid = Annotated[str | None, Query(max_length=200, description="Only this oil.")]
OnlyStore = Annotated[str | None, Query(max_length=200, description="Only what lies in this store.")]

COUNTS_EXAMPLE = {
    "counted_at": "2026-03-05T14:30:00+01:00",
    "parts": [
        {
            "part_number": "EL-10",
            "store": "MAIN",
            "lot": "L-2207",
            "on_hand": 4,
            "bin": "A1",
            "expires_at": "2031-06-30T12:00:00+02:00",
        }
    ],
    "oil": [
        {
            "fluid": "OIL-46",
            "store": "MAIN",
            "lot": "D-1",
            "container": {"value": 208, "unit": "L"},
            "containers": 1.5,
        }
    ],
}
RECEIPT_EXAMPLE = {
    "order": "PO-9",
    "line": "1",
    "received_at": "2026-03-05T10:00:00+01:00",
    "into": [
        {"store": "MAIN", "lot": "B-1406", "bin": "C3", "quantity": 2, "expires_at": "2028-03-01T12:00:00+01:00"}
    ],
}
MOVE_EXAMPLE = {
    "part_number": "EL-10",
    "at": "2026-03-05T15:00:00+01:00",
    "from": {"store": "MAIN", "lot": "L-2207"},
    "quantity": 1,
    "why": "scrapped: the box was wet",
}


@router.get("", summary="What lies in the stores, lot by lot")
def list_stock(
    caller: Reader,
    database: OpenDatabase,
    now: Now,
    part_number: OnlyPart = None,
    fluid: OnlyFluid = None,
    store: OnlyStore = None,
    limit: PageLimit = LONGEST_PAGE,
    cursor: PageAfter = None,
) -> StockList:
    """On hand is the last count and what has moved since, never below 0; with the orders for which it is held."""
    with database.reading() as connection:
        return stock_page(connection, caller, now, Chosen(part_number, fluid, store), limit=limit, cursor=cursor)


@router.get("/file", summary="Stock as CSV or workbook", response_class=Response, responses=FILES)
def write_stock(
    caller: Reader,
    database: OpenDatabase,
    now: Now,
    part_number: OnlyPart = None,
    fluid: OnlyFluid = None,
    store: OnlyStore = None,
    sheet: Annotated[
        Literal["stock", "oil"], Query(description="Which of the two a CSV file holds; a workbook has both.")
    ] = "stock",
    format_: FileFormat = "csv",
) -> Response:
    """A row for each lot: parts in one sheet, oil in the other."""
    with database.reading() as connection:
        items = stock_items(connection, caller, now, Chosen(part_number, fluid, store))
        volumes = volume_unit(connection, set(display_units(connection)))
    sheets = stock_sheets(items, volumes)
    return file_answer(format_, sheets if sheet == sheets[0].name else sheets[::-1], now)


@router.get("/movements", summary="What moved in the stores, and by what")
def list_movements(
    caller: Reader,
    database: OpenDatabase,
    since_count: Annotated[bool, Query(description="Only what happened after its lot was last counted.")] = True,
    item: Annotated[str | None, Query(max_length=200, description="Only this part or oil.")] = None,
    limit: PageLimit = LONGEST_PAGE,
    cursor: PageAfter = None,
) -> MovementList:
    """In the order in which it was recorded. What was taken back by mistake stands twice, there and back."""
    with database.reading() as connection:
        return movement_page(connection, caller, since_count=since_count, item=item, limit=limit, cursor=cursor)


@router.post("/counts", status_code=201, response_model=Counts, summary="Record what was counted")
def add_counts(
    caller: Stocker,
    database: OpenDatabase,
    now: Now,
    body: Annotated[CountsIn, Body(examples=[COUNTS_EXAMPLE])],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """All rows or none. The picks of open work are renewed at the next pass.

    A count has the last word: what moved before it is in it already. Other values for the same time are a correction.
    """
    return _once(
        *(database, caller, idempotency_key, "stock/counts", body, now),
        lambda connection: (record_counts(connection, body, now, caller.name), True),
    )


@router.post(
    "/receipts",
    status_code=201,
    response_model=Receipt,
    summary="A line on order has come",
    responses={
        200: {"model": Receipt, "description": "It was received so already: nothing was changed"},
        409: {"description": "It was received otherwise"},
    },
)
def add_receipt(
    caller: Stocker,
    database: OpenDatabase,
    now: Now,
    body: Annotated[ReceiptIn, Body(examples=[RECEIPT_EXAMPLE])],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """Puts it away, lot by lot, and marks the line as received. The picks of open work are renewed at the next pass.

    A line is received once and ends with that; what is still to come of it is a line of its own.
    """
    return _once(
        *(database, caller, idempotency_key, "stock/receipts", body, now),
        lambda connection: receive(connection, body, now, caller.name),
    )


@router.post("/moves", status_code=201, response_model=Moved, summary="Move stock, or take it out with the reason")
def add_move(
    caller: Stocker,
    database: OpenDatabase,
    now: Now,
    body: Annotated[MoveIn, Body(examples=[MOVE_EXAMPLE])],
    idempotency_key: IdempotencyKey = None,
) -> JSONResponse:
    """From a lot to another store or lot, or out: scrapped, expired. Told twice it is done twice: send an
    `Idempotency-Key`. The picks of open work are renewed at the next pass."""
    return _once(
        *(database, caller, idempotency_key, "stock/moves", body, now),
        lambda connection: (move(connection, body, now, caller.name), True),
    )


def _once(
    database: Database,
    caller: Caller,
    idempotency_key: str | None,
    route: str,
    body: BaseModel,
    now: datetime,
    work: Callable[[sa.Connection], tuple[BaseModel, bool]],
) -> JSONResponse:
    """What `work` makes of the body, 201 where it is new. Stores belong to all plants, and so must the key."""

    def answered(connection: sa.Connection) -> Answer:
        made, is_new = work(connection)
        return Answer(201 if is_new else 200, made.model_dump(mode="json"))

    digest = digest_of(route, body.model_dump(mode="json"))
    return response_of(answer_once(database, caller, idempotency_key, digest, now, answered))
