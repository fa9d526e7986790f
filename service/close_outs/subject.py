"""Which task a close-out ends: the one it names, the position's open one, or one made where there was no order."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from api_schemas.close_outs import CloseOutIn
from api_schemas.problems import MemberProblem
from scheduler.planning.kits import RENEWS
from scheduler.planning.wanted_work import task_kind_of
from scheduler.vocabulary import ElementKind, OrderStep, TaskKind, Trigger, WorkOrderState
from service.close_outs.tables import close_outs, happened
from service.keys.keeping import Caller
from service.plant_folder import tables as t
from service.problems import BadInput, CannotBeTrue, InTheWay, NotFound
from service.work_orders.history import note_step
from service.work_orders.tables import tasks, work_orders

_UNPLANNED = "unplanned"
WITHOUT_ORDER = "work without a work order"


@dataclass(frozen=True, slots=True)
class Subject:
    """The task with its place; `ordered` is false where the close-out made the order itself."""

    task: int
    order: int
    system: str
    position: sa.RowMapping | None
    kind: TaskKind
    trigger: Trigger | None
    due_at: datetime
    ordered: bool

    @property
    def meter(self) -> str:
        """The meter that the job's hours are of; the system's main one is ''."""
        return "" if self.position is None else self.position["meter"] or ""


def subject_of(connection: sa.Connection, told: CloseOutIn, now: datetime, caller: Caller) -> Subject:
    """Find or make the task, where the caller sees its plant.

    Raises NotFound, CannotBeTrue for an unknown position, InTheWay where it is closed.
    """
    if told.task is not None:
        return _named(connection, told, told.task, caller)
    if told.position is None and told.system is None:
        says = "say which position was worked on, which task this closes, or the system and the kind of work"
        raise BadInput("neither task nor position is given", [MemberProblem(member="position", says=says)])
    position = None if told.position is None else _position(connection, told.position, caller)
    system = _system_of(connection, told, position, caller)
    kind = _kind_of(told, position)
    row = (
        connection.execute(
            sa.select(tasks).where(
                tasks.c.system == system,
                tasks.c.position == ("" if position is None else position["position"]),
                tasks.c.kind == kind,
                tasks.c.state == "open",
            )
        )
        .mappings()
        .one_or_none()
    )
    if row is not None:
        return _as_subject(row, position, ordered=True)
    return _made(connection, told, system, position, kind, now, caller.name)


def subject_again(connection: sa.Connection, task: int) -> Subject:
    """The task of a close-out that was recorded before."""
    row = connection.execute(sa.select(tasks).where(tasks.c.id == task)).mappings().one()
    position = _position(connection, row["position"]) if row["position"] else None
    return _as_subject(row, position, ordered=row["because"].get("code") != _UNPLANNED)


def _system_of(connection: sa.Connection, told: CloseOutIn, position: sa.RowMapping | None, caller: Caller) -> str:
    if position is None:
        known = sa.select(t.systems.c.system).where(t.systems.c.system == told.system, caller.only(t.systems.c.plant))
        if connection.scalar(known) is None:
            says = f"there is no system '{told.system}'"
            raise CannotBeTrue(says, [MemberProblem(member="system", value=told.system, says=says)])
        return str(told.system)
    if told.system not in (None, position["system"]):
        says = f"position '{told.position}' is of system {position['system']}, not of '{told.system}'"
        raise BadInput(says, [MemberProblem(member="system", value=told.system, says=says)])
    return str(position["system"])


def _kind_of(told: CloseOutIn, position: sa.RowMapping | None) -> TaskKind:
    if position is not None:
        return told.kind or _usual_kind(told, position)
    if told.kind is None:
        says = "say what kind of work was done on the whole system"
        raise BadInput(says, [MemberProblem(member="kind", says=says)])
    if told.kind in RENEWS:
        says = f"{told.kind} is work on a position: say which"
        raise BadInput(says, [MemberProblem(member="position", says=says)])
    return told.kind


def _usual_kind(told: CloseOutIn, position: sa.RowMapping) -> TaskKind:
    """The position's renewal; where the element is said to have stayed in, somebody only looked."""
    return TaskKind.INSPECT if told.element_changed is False else task_kind_of(ElementKind(position["element_kind"]))


def _named(connection: sa.Connection, told: CloseOutIn, task: int, caller: Caller) -> Subject:
    query = sa.select(tasks).where(tasks.c.id == task, caller.only_systems(tasks.c.system))
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        raise NotFound(f"there is no task {task}")
    if told.position is not None and told.position != row["position"]:
        says = f"task {task} is work on {row['position'] or 'the whole system'}, not on '{told.position}'"
        raise BadInput(says, [MemberProblem(member="position", value=told.position, says=says)])
    if told.kind is not None and told.kind != row["kind"]:
        says = f"task {task} is of kind {row['kind']}, not {told.kind}; a job of another kind is told by its position"
        raise BadInput(says, [MemberProblem(member="kind", value=told.kind, says=says)])
    if row["state"] == "done":
        query = sa.select(close_outs).where(close_outs.c.task == task, happened())
        closed = connection.execute(query).mappings().one()
        raise InTheWay(
            f"task {task} was closed by close-out {closed['id']} of {closed['recorded_by']}, "
            f"recorded {closed['recorded_at'].isoformat(timespec='seconds')}",
            close_out=closed["id"],
        )
    position = _position(connection, row["position"]) if row["position"] else None
    return _as_subject(row, position, ordered=True)


def _as_subject(row: sa.RowMapping, position: sa.RowMapping | None, *, ordered: bool) -> Subject:
    return Subject(
        task=row["id"],
        order=row["work_order"],
        system=row["system"],
        position=position,
        kind=TaskKind(row["kind"]),
        trigger=Trigger(row["trigger"]) if row["trigger"] else None,
        due_at=row["due_at"],
        ordered=ordered,
    )


def _position(connection: sa.Connection, code: str, caller: Caller | None = None) -> sa.RowMapping:
    """Of the caller's plants; without one, that of a task which he was found to see."""
    query = (
        sa.select(t.positions, t.element_types.c.kind.label("element_kind"))
        .join(t.element_types, t.element_types.c.part_number == t.positions.c.part_number)
        .where(t.positions.c.position == code)
    )
    if caller is not None:
        query = query.where(caller.only_systems(t.positions.c.system))
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        says = f"there is no position '{code}'"
        raise CannotBeTrue(says, [MemberProblem(member="position", value=code, says=says)])
    return row


def _made(
    connection: sa.Connection,
    told: CloseOutIn,
    system: str,
    position: sa.RowMapping | None,
    kind: TaskKind,
    now: datetime,
    by: str,
) -> Subject:
    """The order of work that nobody had ordered; the close-out ends it at once."""
    plant = connection.scalar(sa.select(t.systems.c.plant).where(t.systems.c.system == system))
    order = connection.execute(
        sa.insert(work_orders).values(
            plant=plant,
            system=system,
            state=WorkOrderState.UNDERWAY,
            planned_for=told.at,
            raised_at=now,
            raised_by=by,
            started_at=told.at,
            started_by=by,
            note=WITHOUT_ORDER,
            version=1,
        )
    ).inserted_primary_key
    assert order is not None  # noqa: S101 - an insert of one row has its key
    note_step(connection, int(order[0]), OrderStep.RAISED, at=now, by=by, note=WITHOUT_ORDER)
    task = connection.execute(
        sa.insert(tasks).values(
            work_order=order[0],
            system=system,
            position="" if position is None else position["position"],
            kind=kind,
            state="open",
            due_at=told.at,
            because={"code": _UNPLANNED, "facts": {}},
            opened_at=now,
        )
    ).inserted_primary_key
    assert task is not None  # noqa: S101 - as above
    return Subject(int(task[0]), int(order[0]), system, position, kind, None, told.at, ordered=False)
