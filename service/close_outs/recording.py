"""Recording a close-out: check it against what is known, write it with its consequences, and say what is due next."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import CloseOut, CloseOutIn, LaterReadings, Mismatch
from api_schemas.problems import MemberProblem
from scheduler.engineering.oil import Fluid
from scheduler.planning.close_out import CLOCKS_DIFFER_D, Departure, Told, Untruth, departures, untruths
from scheduler.vocabulary import TaskKind, WorkOrderState
from service.close_outs.consequences import Record, apply_consequences, keep_dp
from service.close_outs.known import current_stay, fitted_of, lot_expires, meter_around, specified_for
from service.close_outs.subject import Subject, subject_of
from service.close_outs.tables import close_outs
from service.due.listing import due_of_position
from service.due.planning_pass import run_pass
from service.plant_folder import tables as t
from service.plant_store.catalogue import fluid_of
from service.plant_store.time import from_day, to_day
from service.problems import CannotBeTrue, ConfirmationNeeded, InTheWay, NotFound
from service.work_orders.cards import cautions_of
from service.work_orders.tables import tasks, work_orders

_RENEWS = frozenset({TaskKind.CHANGE_ELEMENT, TaskKind.CHANGE_BREATHER, TaskKind.SERVICE_STRAINER})
_STAY_OUT = "Keep the system out of service until a competent person has assessed it."


@dataclass(frozen=True, slots=True)
class _Checked:
    stay: sa.RowMapping | None
    element: str
    changed: bool
    departures: list[Departure]


def record_close_out(connection: sa.Connection, told: CloseOutIn, now: datetime, by: str) -> CloseOut:
    """Record it and plan the system anew, in the caller's transaction.

    Raises CannotBeTrue for what contradicts the records, ConfirmationNeeded for what is not as specified and was
    not confirmed, InTheWay where the task is closed already.
    """
    subject = subject_of(connection, told, now, by)
    checked = _check(connection, told, subject, now)
    source_id = _insert(connection, told, subject, checked, now, by)
    record = Record(subject, told, checked.stay, checked.element, checked.changed, now, f"close-out {source_id}")
    apply_consequences(connection, record)
    _end_task(connection, subject, told.at)
    run_pass(
        connection, as_of=now, now=now, cause=f"close-out {source_id}", by=by, systems=frozenset({subject.system})
    )
    return close_out_of(connection, source_id)


def add_readings(connection: sa.Connection, id_: int, told: LaterReadings, now: datetime, by: str) -> CloseOut:
    """ΔP that was read after the close-out: kept as its own, and planned with. Raises NotFound."""
    row = _row(connection, id_)
    if not row["position"]:
        raise InTheWay(f"close-out {id_} is of a whole system, which has no ΔP")
    original = CloseOutIn.model_validate(row["told"])
    task = connection.execute(sa.select(tasks).where(tasks.c.id == row["task"])).mappings().one()
    subject = Subject(row["task"], row["work_order"], row["system"], None, TaskKind(task["kind"]), None, ordered=True)
    record = Record(subject, original, None, "", changed=False, now=now, source=f"close-out {id_}")
    keep_dp(connection, record, row["position"], told.dp_before, told.dp_after)
    systems = frozenset({row["system"]})
    run_pass(connection, as_of=now, now=now, cause=f"readings of close-out {id_}", by=by, systems=systems)
    return close_out_of(connection, id_)


def close_out_of(connection: sa.Connection, id_: int) -> CloseOut:
    """A recorded close-out with the next due date as it stands. Raises NotFound."""
    row = _row(connection, id_)
    mismatches = [Mismatch.model_validate(each) for each in row["mismatches"]]
    return CloseOut(
        id=row["id"],
        task=row["task"],
        work_order=row["work_order"],
        position=row["position"],
        system=row["system"],
        at=row["at"],
        recorded_at=row["recorded_at"],
        recorded_by=row["recorded_by"],
        done_by=row["done_by"],
        mismatches=mismatches,
        next_due=due_of_position(connection, row["position"]) if row["position"] else None,
        cautions=([_STAY_OUT] if mismatches else []) + cautions_of(connection, row["task"]),
    )


def _row(connection: sa.Connection, id_: int) -> sa.RowMapping:
    row = connection.execute(sa.select(close_outs).where(close_outs.c.id == id_)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no close-out {id_}")
    return row


def _check(connection: sa.Connection, told: CloseOutIn, subject: Subject, now: datetime) -> _Checked:
    position = subject.position
    stay = None if position is None else current_stay(connection, position["position"])
    changed = subject.kind in _RENEWS if told.element_changed is None else told.element_changed
    changed = changed and position is not None
    element = _element(told, position, stay, subject.kind)
    expires = lot_expires(connection, element, None if told.element is None else told.element.lot)
    statement = Told(
        at_day=to_day(told.at),
        hours=told.hours,
        changed=changed,
        part_number=element,
        lot_expires_day=None if expires is None else to_day(expires),
        fluids=tuple(_fluid(connection, oil.fluid) for oil in told.oil),
    )
    meter = "" if position is None else position["meter"] or ""
    before, after = meter_around(connection, subject.system, meter, told.at, now)
    contradictions = untruths(statement, fitted_of(stay), before, after, to_day(now))
    contradictions += _dated_after(told, now)
    if contradictions:
        errors = [_says(found) for found in contradictions]
        raise CannotBeTrue("; ".join(error.says for error in errors), errors)
    departed = departures(statement, specified_for(connection, position, subject.system, element))
    if departed and told.confirm_mismatch is None:
        raise ConfirmationNeeded(
            " ".join(each.says for each in departed)
            + " If this is what was really done, send it again with confirm_mismatch and the reason. "
            + _STAY_OUT,
            mismatches=[Mismatch(**_as_dict(each)).model_dump() for each in departed],
        )
    _catalogue_unknown(connection, statement, position)
    return _Checked(stay, element, changed, departed)


def _dated_after(told: CloseOutIn, now: datetime) -> list[Untruth]:
    readings = {"dp_before.at": told.dp_before, "dp_after.at": told.dp_after}
    return [
        Untruth(member, "in-the-future", to_day(reading.at), to_day(now))
        for member, reading in readings.items()
        if reading is not None and reading.at is not None and to_day(reading.at) > to_day(now) + CLOCKS_DIFFER_D
    ]


def _element(told: CloseOutIn, position: sa.RowMapping | None, stay: sa.RowMapping | None, kind: TaskKind) -> str:
    if told.element is not None and told.element.part_number is not None:
        return told.element.part_number
    if kind is TaskKind.SERVICE_STRAINER and told.element is None and stay is not None:
        return str(stay["part_number"])
    return "" if position is None else str(position["part_number"])


def _fluid(connection: sa.Connection, code: str) -> Fluid:
    row = connection.execute(sa.select(t.fluids).where(t.fluids.c.fluid == code)).mappings().one_or_none()
    return Fluid(code, "not in the catalogue") if row is None else fluid_of(row)


def _catalogue_unknown(connection: sa.Connection, told: Told, position: sa.RowMapping | None) -> None:
    """What was really fitted or poured may be in no catalogue: it gets an entry that says so, and nothing else."""
    note = {"x_note": "added by a close-out; data missing"}
    known = connection.scalar(sa.select(t.element_types).where(t.element_types.c.part_number == told.part_number))
    if told.changed and position is not None and known is None:
        connection.execute(
            sa.insert(t.element_types).values(part_number=told.part_number, kind=position["element_kind"], notes=note)
        )
    for fluid in told.fluids:
        if connection.scalar(sa.select(t.fluids).where(t.fluids.c.fluid == fluid.code)) is None:
            connection.execute(sa.insert(t.fluids).values(fluid=fluid.code, notes=note))


def _says(found: Untruth) -> MemberProblem:
    if found.code in {"in-the-future", "before-the-fitting"}:
        told = from_day(found.told).isoformat(timespec="minutes")
        known = from_day(found.known or 0.0).isoformat(timespec="minutes")
        says = {
            "in-the-future": f"{told} is in the future; it is {known}",
            "before-the-fitting": f"{told} is not after {known}, when the element that sits there was fitted",
        }[found.code]
        return MemberProblem(member=found.member, value=told, says=says)
    seen = "" if found.known_day is None else f" read {from_day(found.known_day).isoformat(timespec='minutes')}"
    says = {
        "below-earlier-reading": f"{found.told:g} h is below the earlier {found.known:g} h{seen}",
        "above-later-reading": f"{found.told:g} h is above the later {found.known:g} h{seen}",
        "more-than-time-allows": f"{found.told:g} h is more than 24 h a day since {found.known:g} h{seen} allow",
    }[found.code]
    hint = "; a new or changed meter is told by meter readings `last` and `first`"
    return MemberProblem(member=found.member, value=f"{found.told:g}", says=says + hint)


def _as_dict(departure: Departure) -> dict[str, str]:
    return {name: getattr(departure, name) for name in ("about", "found", "specified", "says")}


def _insert(
    connection: sa.Connection, told: CloseOutIn, subject: Subject, checked: _Checked, now: datetime, by: str
) -> int:
    values: dict[str, Any] = {
        "task": subject.task,
        "work_order": subject.order,
        "position": "" if subject.position is None else subject.position["position"],
        "system": subject.system,
        "at": told.at,
        "told": told.model_dump(mode="json"),
        "mismatches": [_as_dict(each) for each in checked.departures],
        "done_by": told.done_by,
        "recorded_by": by,
        "recorded_at": now,
    }
    inserted = connection.execute(sa.insert(close_outs).values(**values)).inserted_primary_key
    assert inserted is not None  # noqa: S101 - an insert of one row has its key
    return int(inserted[0])


def _end_task(connection: sa.Connection, subject: Subject, at: datetime) -> None:
    """The task is done, and with its last one the order: a withdrawn order is settled by it."""
    connection.execute(
        sa.update(tasks).where(tasks.c.id == subject.task).values(state="done", ended_at=at, proposal=None)
    )
    still_open = connection.scalar(
        sa.select(sa.func.count()).where(tasks.c.work_order == subject.order, tasks.c.state == "open")
    )
    if not still_open:
        connection.execute(
            sa.update(work_orders)
            .where(work_orders.c.id == subject.order)
            .values(state=WorkOrderState.DONE, ended_at=at, version=work_orders.c.version + 1)
        )
