"""Work orders and stops as events (RFC 5545, 3.6.1).

Work is an event and not a to-do: what subscribes to a calendar shows events, and mostly leaves to-dos out (from
memory). The same state gives the same bytes: nothing of an event is the time at which it was asked for.
"""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Event

from api_schemas.work_orders import Task, WorkOrder
from scheduler.vocabulary import WorkOrderState
from service.exports.units import VolumeUnit
from service.work_orders.kit_words import short_lines

NO_PERMISSION = (
    "Planned, not a permission to open anything: isolate as the plant's procedure says; the job card names the steps."
)
_STATE_WORDS = {
    WorkOrderState.DRAFT: "Draft, not issued yet",
    WorkOrderState.ISSUED: "Issued",
    WorkOrderState.UNDERWAY: "Begun",
    WorkOrderState.HELD: "On hold",
    WorkOrderState.DONE: "Done",
    WorkOrderState.WITHDRAWN: "Withdrawn",
}
_STATUS = {WorkOrderState.DRAFT: "TENTATIVE", WorkOrderState.WITHDRAWN: "CANCELLED"}
"""RFC 5545, 3.8.1.11; all other work is CONFIRMED."""


def work_event(order: WorkOrder, zone: ZoneInfo, changed_at: datetime, volumes: VolumeUnit) -> Event:
    """In the order's stop, else all day on its planned day in the plant's `zone`."""
    event = Event()
    seal = _seal(order.plant, order.system, order.raised_at.astimezone(UTC).isoformat())
    event.add("uid", f"work-order-{order.id}.{seal}@elementdue")
    event.add("sequence", order.version)
    _stamp(event, changed_at)
    if order.stop_starts_at is not None and order.stop_ends_at is not None:
        event.add("dtstart", order.stop_starts_at.astimezone(UTC))
        event.add("dtend", order.stop_ends_at.astimezone(UTC))
    else:
        day = order.planned_for.astimezone(zone).date()
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))  # the day after the last: 3.6.1
    kinds = [task for task in order.tasks if task.state == "open"] or order.tasks
    work = ", ".join(f"{_kind(task)} at {task.position or order.system}" for task in kinds)
    short = " (short of parts or oil)" if order.short and order.state != WorkOrderState.WITHDRAWN else ""
    event.add("summary", _clean(f"{order.system}: {work or 'no work left'}, work order {order.id}{short}"))
    event.add("description", _clean("\n".join(_description(order, kinds, volumes))))
    event.add("location", _clean(f"{order.plant}, {order.system}"))
    event.add("status", _STATUS.get(order.state, "CONFIRMED"))
    event.add("transp", "TRANSPARENT")  # it takes nobody's time until somebody is given it
    return event


def stop_event(stop: Mapping[str, Any], plant: str, changed_at: datetime) -> Event:
    """A period in which `plant`, or the stop's system, may be taken out of service."""
    event = Event()
    whole = f"plant {plant}" if not stop["system"] else stop["system"]
    event.add("uid", f"stop-{_seal(plant, stop['system'] or '', stop['starts_at'].isoformat())}@elementdue")
    event.add("sequence", 0)
    _stamp(event, changed_at)
    event.add("dtstart", stop["starts_at"])
    event.add("dtend", stop["ends_at"])
    event.add("summary", _clean(f"Stop: {whole}{': ' + stop['note'] if stop['note'] else ''}"))
    event.add("description", NO_PERMISSION)
    event.add("location", _clean(plant if not stop["system"] else f"{plant}, {stop['system']}"))
    event.add("status", "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    return event


def _stamp(event: Event, changed_at: datetime) -> None:
    """Without a METHOD the stamp is when it was last revised (3.8.7.2), as LAST-MODIFIED is."""
    event.add("dtstamp", changed_at)
    event.add("last-modified", changed_at)


def _description(order: WorkOrder, tasks: Sequence[Task], volumes: VolumeUnit) -> list[str]:
    lines = [NO_PERMISSION, f"{_STATE_WORDS[order.state]}{': ' + order.note if order.note else ''}."]
    for task in tasks:
        # a draft's numbers change with every pass, and who subscribes would see changed events all day
        why = "" if order.state == WorkOrderState.DRAFT else f": {task.reason}"
        lines.append(f"– {_kind(task)} at {task.position or order.system}{why}")
        lines += [f"  short: {line}" for line in short_lines(task, volumes)]
    return lines


def _kind(task: Task) -> str:
    return task.kind.replace("_", " ")


def _seal(*words: str) -> str:
    """What makes a number of ours one in the world (RFC 5545, 3.8.4.7), whatever the server is called."""
    return hashlib.sha256("\n".join(words).encode()).hexdigest()[:16]


def _clean(text: str) -> str:
    """Without control characters, which a TEXT cannot hold (3.3.11)."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(sign if sign.isprintable() or sign in "\n\t" else " " for sign in lines)
