"""Telling what a write transaction changed, inside it: at its end the pictures of all that it touched are compared
with the ones last told, and what differs is appended to the feed.

Numbers run without a gap. Writers take turns on both databases (`service.database`: BEGIN IMMEDIATE on SQLite, an
advisory lock until the end of the transaction on PostgreSQL), so the newest number that is read here is the newest
there will be until this transaction ends; and one that is undone gives its numbers back. A reader sees a number only
once every lower one is committed.
"""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from scheduler.vocabulary import FeedType, WorkOrderState
from service.clock.now import now_utc
from service.diagnoses.tables import diagnoses
from service.feed.dates import Told, dates_that_changed
from service.feed.noticing import Noticed
from service.feed.pictures import Picture, close_outs_told, diagnoses_told, orders_and_shortages
from service.feed.tables import feed, feed_newest, feed_told
from service.work_orders.tables import work_orders

_ONLY_ROW = 1
_AT_ONCE = 400
_ENDED = (WorkOrderState.DONE, WorkOrderState.WITHDRAWN)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the feed before it has its number."""

    type: FeedType
    plant: str
    system: str
    position: str | None
    subject: str
    data: Mapping[str, Any]


class Teller:
    """Follows one write transaction from its beginning, and tells at its end."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        self._noticed = Noticed(connection)

    def tell(self) -> None:
        """Append what differs from what was last told. The first telling of all tells everything that stands."""
        noticed = self._noticed
        if not noticed.anything:
            return
        newest = newest_number(self._connection)
        order_ids, diagnosis_ids = noticed.orders(), noticed.diagnoses()
        if newest == 0:
            order_ids |= set(
                self._connection.scalars(sa.select(work_orders.c.id).where(work_orders.c.state.not_in(_ENDED)))
            )
            diagnosis_ids |= set(
                self._connection.scalars(sa.select(diagnoses.c.id).where(diagnoses.c.cleared_at.is_(None)))
            )
        lines = [
            *self._close_outs(noticed.close_outs()),
            *self._orders(order_ids),
            *(Line(*told) for told in self._dates(first=newest == 0)),
            *self._diagnoses(diagnosis_ids),
        ]
        if lines:
            self._append(lines, newest, noticed.at() or now_utc())

    def _append(self, lines: Iterable[Line], newest: int, at: datetime) -> None:
        rows = [
            {
                "number": number,
                "id": f"evt_{uuid.uuid4().hex}",
                "type": line.type,
                "at": at,
                "plant": line.plant,
                "system": line.system,
                "position": line.position,
                "subject": line.subject,
                "data": line.data,
            }
            for number, line in enumerate(lines, start=newest + 1)
        ]
        self._connection.execute(sa.insert(feed), rows)
        told = {"number": newest + len(rows)}
        if self._connection.execute(sa.update(feed_newest).values(**told)).rowcount == 0:
            self._connection.execute(sa.insert(feed_newest).values(id=_ONLY_ROW, **told))

    def _dates(self, *, first: bool) -> Iterable[Told]:
        if not (self._noticed.has_pass or first):
            return ()
        return dates_that_changed(self._connection, self._noticed.moved())

    def _orders(self, ids: set[int]) -> list[Line]:
        both = list(orders_and_shortages(self._connection, ids))
        orders = self._differing("work_order", [order for order, _ in both])
        lacking = self._differing("shortage", [shortage for _, shortage in both], nothing={"lines": []})
        return [
            *(_line(FeedType.WORK_ORDER_CHANGED, "work-order", each) for each, _ in orders),
            *(_line(FeedType.SHORTAGE_CHANGED, "work-order", each) for each, _ in lacking),
        ]

    def _diagnoses(self, ids: set[int]) -> list[Line]:
        lines = []
        for each, before in self._differing("diagnosis", list(diagnoses_told(self._connection, ids))):
            stands = each.says["cleared_at"] is None
            if not stands and before is None:
                continue  # raised and cleared before anybody was told
            raised = FeedType.DIAGNOSIS_RAISED if before is None else FeedType.DIAGNOSIS_CHANGED
            lines.append(_line(raised if stands else FeedType.DIAGNOSIS_CLEARED, "diagnosis", each))
        return lines

    def _close_outs(self, ids: set[int]) -> list[Line]:
        lines = []
        for each, before in self._differing("close_out", list(close_outs_told(self._connection, ids))):
            changed = FeedType.CLOSE_OUT_UNDONE if each.says["undone_at"] else FeedType.CLOSE_OUT_CORRECTED
            is_new = before is None and each.says["corrections"] == 0
            lines.append(_line(FeedType.CLOSE_OUT_RECORDED if is_new else changed, "close-out", each))
        return lines

    def _differing(
        self, kind: str, pictures: list[Picture], nothing: Mapping[str, Any] | None = None
    ) -> list[tuple[Picture, Any]]:
        """Those that are not as last told, with what was told; and from now on they are told.

        With `nothing`, a picture that says it is not worth telling of a subject that was never told.
        """
        before = self._told(kind, [each.number for each in pictures])
        changed = []
        for each in pictures:
            was = before.get(each.number)
            is_nothing = nothing is not None and nothing.items() <= each.says.items()
            if each.says == was or (was is None and is_nothing):
                continue
            changed.append((each, was))
        table = feed_told
        for begin in range(0, len(changed), _AT_ONCE):
            numbers = [each.number for each, _ in changed[begin : begin + _AT_ONCE]]
            chosen = sa.and_(table.c.kind == kind, table.c.subject.in_(numbers))
            self._connection.execute(sa.delete(table).where(chosen))
        if changed:
            rows = [{"kind": kind, "subject": each.number, "picture": each.says} for each, _ in changed]
            self._connection.execute(sa.insert(table), rows)
        return changed

    def _told(self, kind: str, numbers: list[int]) -> dict[int, Any]:
        found: dict[int, Any] = {}
        for begin in range(0, len(numbers), _AT_ONCE):
            query = sa.select(feed_told.c.subject, feed_told.c.picture).where(
                feed_told.c.kind == kind, feed_told.c.subject.in_(numbers[begin : begin + _AT_ONCE])
            )
            found |= {row.subject: row.picture for row in self._connection.execute(query)}
        return found


def newest_number(connection: sa.Connection) -> int:
    """The newest number ever given, 0 before the first."""
    return connection.scalar(sa.select(feed_newest.c.number)) or 0


def _line(type_: FeedType, named: str, each: Picture) -> Line:
    return Line(type_, each.plant, each.system, each.position, f"{named}/{each.number}", each.says)
