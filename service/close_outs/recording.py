"""Recording a close-out: check it, write it with its consequences, plan anew, and say what is due next."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from api_schemas.close_outs import ChangedMember, CloseOut, CloseOutIn, Correction, LaterReadings, Mismatch
from scheduler.vocabulary import OrderStep, WorkOrderState
from service.clock.turn import moment_of_turn
from service.close_outs.checking import STAY_OUT, Checked, as_dict, check_close_out, check_later_readings
from service.close_outs.consequences import Booking, apply_consequences, catalogue_unknown, keep_dp
from service.close_outs.effects import effects_of
from service.close_outs.remarks import remarks_on
from service.close_outs.statement import check_readings, check_statement
from service.close_outs.subject import Subject, subject_of
from service.close_outs.tables import close_out_corrections, close_outs
from service.due.listing import due_of_position
from service.due.planning_pass import run_pass
from service.evidence.tables import evidence_files
from service.keys.keeping import Caller
from service.problems import InTheWay, NotFound
from service.work_orders.cards import cautions_of
from service.work_orders.history import note_step
from service.work_orders.tables import tasks, work_orders


def record_close_out(connection: sa.Connection, told: CloseOutIn, now: datetime, caller: Caller) -> CloseOut:
    """Record it and plan the system anew, in the caller's transaction.

    Raises CannotBeTrue for what contradicts the records, ConfirmationNeeded for what is not as specified and was
    not confirmed, InTheWay where the task is closed already.
    """
    check_statement(told)
    now, by = moment_of_turn(connection, now), caller.name
    subject = subject_of(connection, told, now, caller)
    checked = check_close_out(connection, told, subject, now)
    source_id = _insert(connection, told, subject, checked, now, by)
    catalogue_unknown(connection, told, subject, checked)
    effects = effects_of(connection, told, subject, checked)
    apply_consequences(connection, effects, checked.stay, Booking(told.at, now, f"close-out {source_id}"))
    _end_task(connection, subject, told.at, source_id, now, by)
    run_pass(
        connection, as_of=now, now=now, cause=f"close-out {source_id}", by=by, systems=frozenset({subject.system})
    )
    return close_out_of(connection, source_id)


def add_readings(connection: sa.Connection, id_: int, told: LaterReadings, now: datetime, by: str) -> CloseOut:
    """ΔP that was read after the close-out: kept as its own, and planned with. Raises NotFound."""
    row = close_out_row(connection, id_)
    refuse_undone(row)
    if not row["position"]:
        raise InTheWay(f"close-out {id_} is of a whole system, which has no ΔP")
    check_readings(told)
    now = moment_of_turn(connection, now)
    check_later_readings(connection, told, row, now)
    keep_dp(connection, row["position"], told, Booking(row["at"], now, f"close-out {id_}"))
    systems = frozenset({row["system"]})
    run_pass(connection, as_of=now, now=now, cause=f"readings of close-out {id_}", by=by, systems=systems)
    return close_out_of(connection, id_)


def close_out_of(connection: sa.Connection, id_: int) -> CloseOut:
    """A recorded close-out with the next due date as it stands. Raises NotFound."""
    row = close_out_row(connection, id_)
    mismatches = [] if row["undone_at"] else [Mismatch.model_validate(each) for each in row["mismatches"]]
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
        external_ref=row["external_ref"],
        undone_at=row["undone_at"],
        mismatches=mismatches,
        remarks=remarks_on(connection, row),
        next_due=due_of_position(connection, row["position"]) if row["position"] else None,
        cautions=([STAY_OUT] if mismatches else []) + cautions_of(connection, row["task"]),
        corrections=corrections_of(connection, [id_]).get(id_, []),
        files=_count_files(connection, id_),
    )


def corrections_of(connection: sa.Connection, ids: Sequence[int]) -> dict[int, list[Correction]]:
    """By close-out, the first one first; those without any are not there."""
    kept = close_out_corrections
    query = sa.select(kept).where(kept.c.close_out.in_(ids)).order_by(kept.c.close_out, kept.c.number)
    found: dict[int, list[Correction]] = {}
    for row in connection.execute(query).mappings():
        changed = [ChangedMember.model_validate(each) for each in row["changed"]]
        found.setdefault(row["close_out"], []).append(
            Correction(
                at=row["recorded_at"], by=row["recorded_by"], why=row["why"], undone=row["undone"], changed=changed
            )
        )
    return found


def _count_files(connection: sa.Connection, id_: int) -> int:
    query = sa.select(sa.func.count()).select_from(evidence_files).where(evidence_files.c.close_out == id_)
    return connection.scalar(query) or 0


def close_out_row(connection: sa.Connection, id_: int) -> sa.RowMapping:
    """The row as it stands. Raises NotFound."""
    row = connection.execute(sa.select(close_outs).where(close_outs.c.id == id_)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no close-out {id_}")
    return row


def refuse_undone(row: sa.RowMapping) -> None:
    """Raises InTheWay where it is known that the job never happened."""
    if row["undone_at"] is not None:
        since = row["undone_at"].isoformat(timespec="seconds")
        raise InTheWay(f"close-out {row['id']} was taken back {since}; a job that was done is told anew")


def _insert(
    connection: sa.Connection, told: CloseOutIn, subject: Subject, checked: Checked, now: datetime, by: str
) -> int:
    values: dict[str, Any] = {
        "task": subject.task,
        "work_order": subject.order,
        "position": "" if subject.position is None else subject.position["position"],
        "system": subject.system,
        "at": told.at,
        "told": told.model_dump(mode="json"),
        "mismatches": [as_dict(each) for each in checked.departures],
        "done_by": told.done_by,
        "external_ref": told.external_ref,
        "recorded_by": by,
        "recorded_at": now,
    }
    inserted = connection.execute(sa.insert(close_outs).values(**values)).inserted_primary_key
    assert inserted is not None  # noqa: S101 - an insert of one row has its key
    return int(inserted[0])


def _end_task(
    connection: sa.Connection, subject: Subject, at: datetime, close_out: int, now: datetime, by: str
) -> None:
    """The task is done, and with its last one the order: a withdrawn order is settled by it."""
    connection.execute(
        sa.update(tasks).where(tasks.c.id == subject.task).values(state="done", ended_at=at, proposal=None)
    )
    note = f"close-out {close_out}"
    note_step(connection, subject.order, OrderStep.TASK_DONE, at=now, by=by, task=subject.task, note=note)
    still_open = connection.scalar(
        sa.select(sa.func.count()).where(tasks.c.work_order == subject.order, tasks.c.state == "open")
    )
    if not still_open:
        connection.execute(
            sa.update(work_orders)
            .where(work_orders.c.id == subject.order)
            .values(state=WorkOrderState.DONE, ended_at=at, version=work_orders.c.version + 1)
        )
        note_step(connection, subject.order, OrderStep.DONE, at=now, by=by)
