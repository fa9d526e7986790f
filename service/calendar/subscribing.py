"""The calendar as one file: open work, work withdrawn of late, and the stops around it."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from icalendar import Calendar, Event

from scheduler.vocabulary import WorkOrderState
from service.calendar.events import stop_event, work_event
from service.exports.units import volume_unit
from service.imports.tables import imports
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.work_orders.cards import work_order_cards
from service.work_orders.history import order_history
from service.work_orders.planning import OPEN_STATES
from service.work_orders.tables import work_orders

KEPT_BACK = timedelta(days=30)
"""How long withdrawn work is told as cancelled, so that every subscriber hears of it; ours."""

_ORDERS_AT_ONCE = 500
_ASK_AGAIN = timedelta(hours=1)


def calendar_of(
    connection: sa.Connection,
    caller: Caller,
    now: datetime,
    *,
    plant: str | None = None,
    system: str | None = None,
    public_address: str | None = None,
) -> bytes:
    """As `text/calendar`, in UTF-8, in the order of starts; with a `public_address` work names its card."""
    calendar = Calendar()
    calendar.add("prodid", "-//elementdue//Work and stops//EN")
    calendar.add("version", "2.0")
    name = " ".join(word for word in ("elementdue", plant, system) if word)
    calendar.add("name", name)  # RFC 7986, 5.1
    calendar.add("x-wr-calname", name)  # what programs show that do not know the former; from memory
    calendar.add("refresh-interval", _ASK_AGAIN, parameters={"VALUE": "DURATION"})  # RFC 7986, 5.7
    events = _stops(connection, caller, now, plant, system)
    for number, event in _work(connection, caller, now, plant, system):
        if public_address is not None:
            event.add("url", f"{public_address}/cards/{number}")
        events.append(event)
    for event in sorted(events, key=lambda event: (event["dtstart"].to_ical(), event["uid"])):
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def _work(
    connection: sa.Connection, caller: Caller, now: datetime, plant: str | None, system: str | None
) -> Iterator[tuple[int, Event]]:
    """With the number of each order."""
    late = sa.and_(work_orders.c.state == WorkOrderState.WITHDRAWN, work_orders.c.ended_at > now - KEPT_BACK)
    query = sa.select(work_orders).where(
        caller.only(work_orders.c.plant), sa.or_(work_orders.c.state.in_(OPEN_STATES), late)
    )
    if plant is not None:
        query = query.where(work_orders.c.plant == plant)
    if system is not None:
        query = query.where(work_orders.c.system == system)
    rows = connection.execute(query.order_by(work_orders.c.id)).mappings().all()
    zones = _zones(connection)
    volumes = {each: volume_unit(connection, [each]) for each in zones}
    for at in range(0, len(rows), _ORDERS_AT_ONCE):
        some = rows[at : at + _ORDERS_AT_ONCE]
        changed = _changed_at(connection, some)
        for card in work_order_cards(connection, some):
            yield card.id, work_event(card, zones[card.plant], changed[card.id], volumes[card.plant])


def _changed_at(connection: sa.Connection, rows: Sequence[sa.RowMapping]) -> dict[int, datetime]:
    """Of each order its last step; orders of before steps were kept have at least been raised."""
    steps = order_history
    query = (
        sa.select(steps.c.work_order, sa.func.max(steps.c.at).label("at"))
        .where(steps.c.work_order.in_([row["id"] for row in rows]))
        .group_by(steps.c.work_order)
    )
    last = {row.work_order: row.at for row in connection.execute(query)}
    return {row["id"]: max(row["raised_at"], last.get(row["id"], row["raised_at"])) for row in rows}


def _stops(
    connection: sa.Connection, caller: Caller, now: datetime, plant: str | None, system: str | None
) -> list[Event]:
    stops = t.stops
    # stops come with imports alone, and have no time of their own at which they were told
    told_at: datetime | None = connection.scalar(sa.select(sa.func.max(imports.c.recorded_at)))
    plant_of = {row.system: row.plant for row in connection.execute(sa.select(t.systems.c.system, t.systems.c.plant))}
    query = sa.select(stops).where(stops.c.ends_at > now - KEPT_BACK)
    events = []
    for row in connection.execute(query).mappings():
        whose = row["plant"] or plant_of[row["system"]]
        if not caller.sees(whose) or plant not in (None, whose) or not _concerns(row, whose, system, plant_of):
            continue
        events.append(stop_event(dict(row), whose, told_at or row["starts_at"]))
    return events


def _concerns(stop: Any, whose: str, system: str | None, plant_of: dict[str, str]) -> bool:
    """A stop of the whole plant is one of each of its systems."""
    if system is None or stop["system"] == system:
        return True
    return not stop["system"] and plant_of.get(system) == whose


def _zones(connection: sa.Connection) -> dict[str, ZoneInfo]:
    rows = connection.execute(sa.select(t.plants.c.plant, t.plants.c.time_zone))
    return {row.plant: ZoneInfo(row.time_zone) for row in rows}
