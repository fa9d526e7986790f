"""Moments on the wire: ISO 8601 with an offset, within the years in which a filter element can have been fitted."""

from datetime import UTC, datetime
from typing import Annotated

from pydantic import AwareDatetime, Field

EARLIEST = datetime(1950, 1, 1, tzinfo=UTC)
LATEST = datetime(2200, 1, 1, tzinfo=UTC)
"""Ours: the oldest machine and a reader's farthest forecast lie well inside."""

Moment = Annotated[AwareDatetime, Field(strict=False, ge=EARLIEST, le=LATEST)]
