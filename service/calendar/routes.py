"""`/v1/calendar`: stops and work for calendar programs."""

import hashlib
from typing import Annotated

from fastapi import APIRouter, Header, Query, Response

from service.calendar.subscribing import calendar_of
from service.conditional import names
from service.dependencies import AskedPlant, Now, OpenDatabase, PublicAddress, Subscriber, refuse_other_plant

router = APIRouter(tags=["calendar"])

_EXAMPLE = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//elementdue//Work and stops//EN\r\nEND:VCALENDAR\r\n"


@router.get(
    "/calendar",
    summary="Stops and work as a calendar to subscribe to (RFC 5545)",
    response_class=Response,
    responses={
        200: {"content": {"text/calendar": {"schema": {"type": "string"}, "example": _EXAMPLE}}},
        304: {"description": "It is still as `If-None-Match` says"},
    },
)
def show_calendar(
    caller: Subscriber,
    database: OpenDatabase,
    now: Now,
    address: PublicAddress,
    plant: AskedPlant = None,
    system: Annotated[
        str | None, Query(max_length=200, description="Only this system's, with its plant's stops.")
    ] = None,
    if_none_match: Annotated[str | None, Header(alias="If-None-Match", max_length=1000)] = None,
) -> Response:
    """Open work in its stop, or all day on its planned day; withdrawn work as cancelled for 30 days.

    A program that sends no bearer key sends the key as the password of HTTP Basic, with any user name; no other
    route takes that. Give it a key that may only `read`.
    """
    refuse_other_plant(caller, plant)
    with database.reading() as connection:
        content = calendar_of(connection, caller, now, plant=plant, system=system, public_address=address)
    etag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    if if_none_match is not None and names(if_none_match, etag):
        return Response(status_code=304, headers=headers)
    headers["Content-Disposition"] = 'inline; filename="elementdue.ics"'
    return Response(content, media_type="text/calendar; charset=utf-8", headers=headers)
