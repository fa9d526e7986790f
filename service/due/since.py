"""From when on changes are asked for: the last pass, the last week, a time or a date."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from api_schemas.moments import EARLIEST, LATEST
from api_schemas.problems import MemberProblem
from service.due.tables import due_moves
from service.plant_folder import tables as t
from service.problems import BadInput, shown

LAST_PASS, LAST_WEEK = "last-pass", "last-week"

_SAYS = "last-pass, last-week, a time with an offset like 2026-03-05T14:30+01:00, or a date: from its first minute on"


@dataclass(frozen=True, slots=True)
class Since:
    """What was asked; `day` is a bare date, which begins when it does in each plant."""

    asked: str
    moment: datetime | None = None
    is_date: bool = False


def read_since(text: str) -> Since:
    """The words, the time or the date in `text`. Raises BadInput."""
    if text in (LAST_PASS, LAST_WEEK):
        return Since(text)
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        raise _refused(text, "cannot be read") from None
    if not EARLIEST.year < told.year < LATEST.year:
        raise _refused(text, f"is not between {EARLIEST.year} and {LATEST.year}")
    is_date = len(text) == len("2026-03-05")
    if told.tzinfo is None and not is_date:
        raise _refused(text, "has no offset")
    return Since(text, told, is_date)


def told_since(connection: sa.Connection, since: Since, pass_id: int, as_of: datetime) -> sa.ColumnElement[bool]:
    """Of the moves up to pass `pass_id`, taken as of `as_of`: those since then."""
    until = due_moves.c.pass_id <= pass_id
    if since.asked == LAST_PASS:
        return due_moves.c.pass_id == pass_id
    if since.moment is None:
        return sa.and_(until, due_moves.c.at > as_of - timedelta(days=7))
    if not since.is_date:
        return sa.and_(until, due_moves.c.at >= since.moment)
    plants = connection.execute(sa.select(t.plants.c.plant, t.plants.c.time_zone)).all()
    begins = {row.plant: datetime.combine(since.moment, time.min, ZoneInfo(row.time_zone)) for row in plants}
    each = [sa.and_(due_moves.c.plant == plant, due_moves.c.at >= at) for plant, at in begins.items()]
    return sa.and_(until, sa.or_(sa.false(), *each))


def _refused(text: str, why: str) -> BadInput:
    says = f"'{text}' {why}; expected {_SAYS}"
    return BadInput(says, [MemberProblem(member="since", value=shown(text), says=says)])
