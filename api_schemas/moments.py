"""Moments on the wire: ISO 8601 with an offset, within the years in which a filter element can have been fitted."""

import re
from datetime import UTC, datetime
from typing import Annotated, Any

from pydantic import AwareDatetime, BeforeValidator, Field

EARLIEST = datetime(1950, 1, 1, tzinfo=UTC)
LATEST = datetime(2200, 1, 1, tzinfo=UTC)
"""Ours: the oldest machine and a reader's farthest forecast lie well inside."""

_NUMBER = re.compile(r"[\s\d.+-]*", re.ASCII)


def _is_written_out(told: Any) -> Any:
    """A bare number would be taken for seconds since 1970, and nobody has said so."""
    if isinstance(told, datetime) or (isinstance(told, str) and not _NUMBER.fullmatch(told)):
        return told
    raise ValueError("expected a time with an offset, like 2026-03-05T14:30:00+01:00")


Moment = Annotated[AwareDatetime, BeforeValidator(_is_written_out), Field(strict=False, ge=EARLIEST, le=LATEST)]
