"""Pages of master data, by code: a row that comes or goes doubles and loses no other."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from service.cursors import read_cursor, write_cursor
from service.keys.keeping import Caller
from service.master.resources import Resource, Wording


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
        query = query.where(resource.code > read_cursor(cursor, resource.path, str)[0])
    rows = connection.execute(query).mappings().all()
    wording = Wording(connection, resource)
    page = rows[:limit]
    return {
        "items": [wording.told(row) for row in page],
        "next": write_cursor(resource.path, page[-1][resource.key]) if len(rows) > limit else None,
    }
