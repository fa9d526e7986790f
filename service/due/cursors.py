"""Cursors of pages: two whole numbers, written so that nobody is tempted to count with them."""

import base64
import binascii
import json
from typing import Any

from api_schemas.problems import MemberProblem
from service.problems import BadInput


def write_cursor(anchor: int, after: int) -> str:
    """A cursor that holds the row or pass that a list hangs on, and how far it was read."""
    return base64.urlsafe_b64encode(json.dumps([anchor, after]).encode()).decode()


def read_cursor(cursor: str) -> tuple[int, int]:
    """What `write_cursor` was given. Raises BadInput for anything else."""
    try:
        told: Any = json.loads(base64.urlsafe_b64decode(cursor.encode("ascii")))
    except (ValueError, binascii.Error, RecursionError):
        told = None
    well_formed = isinstance(told, list) and len(told) == 2 and all(type(part) is int for part in told)
    if not well_formed or not (0 < told[0] < 2**53 and 0 <= told[1] < 2**53):
        says = "take the cursor from `next` of the page before"
        raise BadInput(f"the cursor cannot be read: {says}", [MemberProblem(member="cursor", says=says)])
    return told[0], told[1]
