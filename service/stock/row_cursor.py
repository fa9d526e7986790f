"""Cursors that hold the key of the last row shown, so that a row that comes or goes moves no other."""

import base64
import binascii
import json
from collections.abc import Sequence
from typing import Any

from api_schemas.problems import MemberProblem
from service.problems import BadInput


def write_key(key: Sequence[str | float]) -> str:
    """A cursor."""
    return base64.urlsafe_b64encode(json.dumps(list(key), ensure_ascii=False).encode()).decode()


def read_key(cursor: str, kinds: Sequence[type]) -> tuple[Any, ...]:
    """The key that `write_key` was given, of these types. Raises BadInput for anything else."""
    try:
        told: Any = json.loads(base64.urlsafe_b64decode(cursor.encode("ascii")))
    except (ValueError, binascii.Error, RecursionError):
        told = None
    if not isinstance(told, list) or [type(part) for part in told] != list(kinds):
        raise unreadable()
    return tuple(told)


def unreadable() -> BadInput:
    """What is said of a cursor that nobody gave."""
    says = "take the cursor from `next` of the page before"
    return BadInput(f"the cursor cannot be read: {says}", [MemberProblem(member="cursor", says=says)])
