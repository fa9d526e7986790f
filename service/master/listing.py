"""Pages of master data, by code: a row that comes or goes doubles and loses no other."""

import base64
import binascii
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from api_schemas.problems import MemberProblem
from service.keys.keeping import Caller
from service.master.resources import Resource, Wording
from service.problems import BadInput


def page_of(
    connection: sa.Connection,
    resource: Resource,
    caller: Caller,
    filters: Mapping[sa.Column[Any], str | None],
    *,
    limit: int,
    cursor: str | None,
) -> dict[str, Any]:
    """`items` and `next`. Raises BadInput for a cursor that no page gave."""
    query = resource.rows_of(caller).order_by(resource.code).limit(limit + 1)
    for column, value in filters.items():
        if value is not None:
            query = query.where(column == value)
    if cursor is not None:
        query = query.where(resource.code > _code_in(cursor))
    rows = connection.execute(query).mappings().all()
    wording = Wording(connection, resource)
    page = rows[:limit]
    return {
        "items": [wording.told(row) for row in page],
        "next": _cursor_after(page[-1][resource.key]) if len(rows) > limit else None,
    }


def _cursor_after(code: str) -> str:
    return base64.urlsafe_b64encode(code.encode()).decode()


def _code_in(cursor: str) -> str:
    try:
        code = base64.b64decode(cursor.encode("ascii"), altchars=b"-_", validate=True).decode()
    except (ValueError, binascii.Error):
        code = ""
    if not code or "\x00" in code:
        says = "take the cursor from `next` of the page before"
        raise BadInput(f"the cursor cannot be read: {says}", [MemberProblem(member="cursor", says=says)])
    return code
