"""A file as the answer of a route."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import Query, Response

from service.exports.sheet import FILE_TYPES, Sheet, as_file, file_name

FileFormat = Annotated[Literal["csv", "xlsx"], Query(alias="format", description="CSV, or a workbook.")]

_EXAMPLE = '"position","due_at","hours_left [h]"\r\n"PRESS1-RET","2026-03-12T06:00+01:00",98.5\r\n'

FILES: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {
            FILE_TYPES["csv"]: {"schema": {"type": "string"}, "example": _EXAMPLE},
            FILE_TYPES["xlsx"]: {"schema": {"type": "string", "format": "binary"}},
        }
    }
}
"""What such a route answers."""


def file_answer(kind: str, sheets: Sequence[Sheet], as_of: datetime) -> Response:
    """To be kept under the name of its first sheet and its moment."""
    name = file_name(sheets[0].name, as_of, kind)
    return Response(
        as_file(kind, sheets),
        media_type=FILE_TYPES[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
