"""Due dates that are no longer as last told: one line a position for news, one a system for what only drifted.

Most dates move an hour in an hour when nothing is read, and the reader's picture is to be that of `GET /v1/due`. So
every difference is told; but what is no move (`service.due.telling`) goes together, as a line that a person can skip.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from scheduler.vocabulary import FeedType
from service.due.tables import due_items, passes
from service.feed.pictures import date_told
from service.feed.tables import feed_told_dates

_COMPARED = ("system", "plant", "due_at", "due_early", "due_median", "due_late", "trigger")
_AT_ONCE = 400

Told = tuple[FeedType, str, str, str | None, str, Mapping[str, Any]]
"""Type, plant, system, position, subject and data of a line."""


def dates_that_changed(connection: sa.Connection, moved: set[str]) -> Iterator[Told]:
    """The lines of the newest due list, which from now on is what was told. `moved` are those that are news."""
    told = feed_told_dates
    newest = sa.select(sa.func.max(passes.c.id)).scalar_subquery()
    listed = sa.select(due_items).where(due_items.c.pass_id == newest).subquery()
    differs = sa.or_(*(listed.c[name].is_distinct_from(told.c[name]) for name in _COMPARED))
    query = (
        sa.select(listed, told.c.trigger.label("was"), told.c.position.label("told"))
        .outerjoin(told, told.c.position == listed.c.position)
        .where(sa.or_(told.c.position.is_(None), differs))
        .order_by(listed.c.position)
    )
    changed = connection.execute(query).mappings().all()
    gone_query = sa.select(told).where(told.c.position.not_in(sa.select(listed.c.position))).order_by(told.c.position)
    gone = connection.execute(gone_query).mappings().all()
    _keep(connection, changed, gone)
    drifted: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for row in changed:
        says = date_told(row, in_service=True)
        if row["told"] is None or row["position"] in moved or row["trigger"] != row["was"]:
            yield _news(row, says)
        else:
            drifted[row["plant"], row["system"]].append(says)
    for row in gone:
        yield _news(row, date_told(row, in_service=False))
    for (plant, system), dates in drifted.items():
        yield FeedType.DUE_DRIFTED, plant, system, None, f"system/{system}", {"dates": dates}


def _news(row: sa.RowMapping, says: dict[str, Any]) -> Told:
    position = row["position"]
    return FeedType.DUE_CHANGED, row["plant"], row["system"], position, f"position/{position}", says


def _keep(connection: sa.Connection, changed: Sequence[sa.RowMapping], gone: Sequence[sa.RowMapping]) -> None:
    positions = [row["position"] for row in (*changed, *gone)]
    for begin in range(0, len(positions), _AT_ONCE):
        chosen = feed_told_dates.c.position.in_(positions[begin : begin + _AT_ONCE])
        connection.execute(sa.delete(feed_told_dates).where(chosen))
    if changed:
        rows = [{name: row[name] for name in ("position", *_COMPARED)} for row in changed]
        connection.execute(sa.insert(feed_told_dates), rows)
