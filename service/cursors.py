"""Cursors of pages: the key of the last row that was shown, so that a row that comes or goes moves no other.

A cursor names its list, and is written so that nobody is tempted to make one.
"""

import base64
import binascii
import json
from datetime import datetime
from types import UnionType
from typing import Annotated, Any

from fastapi import Query

from api_schemas.moments import EARLIEST, LATEST
from api_schemas.problems import MemberProblem
from service.problems import BadInput, shown

PageAfter = Annotated[str | None, Query(max_length=2000, description="`next` of the page before.")]

Part = str | int | float | datetime | None
_LARGEST = 2**53


def write_cursor(of: str, *key: Part) -> str:
    """A cursor behind the row with this key in the list `of`."""
    told = [part.isoformat() if isinstance(part, datetime) else part for part in key]
    return base64.urlsafe_b64encode(json.dumps([of, *told], ensure_ascii=False).encode()).decode()


def read_cursor(cursor: str, of: str, *kinds: type | UnionType) -> tuple[Any, ...]:
    """The key that `write_cursor` was given, its parts of these kinds. Raises BadInput for any other list's.

    >>> read_cursor(write_cursor("orders", 7, "PRESS1"), "orders", int, str)
    (7, 'PRESS1')
    """
    try:
        told: Any = json.loads(base64.b64decode(cursor.encode("ascii"), altchars=b"-_", validate=True))
        name, *parts = told if isinstance(told, list) else [None]
        if name == of and len(parts) == len(kinds):
            return tuple(_part(part, kind) for part, kind in zip(parts, kinds, strict=True))
    except (ValueError, binascii.Error, RecursionError):
        pass
    says = "take the cursor from `next` of the page before, of the same list"
    raise BadInput(
        f"the cursor cannot be read: {says}", [MemberProblem(member="cursor", value=shown(cursor), says=says)]
    )


def _part(told: Any, kind: type | UnionType) -> Part:
    """Raises ValueError for what no row has."""
    if isinstance(told, str) and not isinstance("", kind):
        moment = datetime.fromisoformat(told)
        if moment.tzinfo is None or not EARLIEST <= moment <= LATEST:
            raise ValueError(told)
        return moment
    fits = isinstance(told, kind) and not isinstance(told, bool)
    if isinstance(told, str):
        told.encode()  # half of a surrogate pair is no text
        fits = fits and "\x00" not in told
    elif isinstance(told, int | float):
        fits = fits and -_LARGEST < told < _LARGEST
    if not fits:
        raise ValueError(told)
    result: Part = told
    return result
