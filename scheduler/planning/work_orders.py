"""What work orders a plant should have: drafts raised, moved and withdrawn, issued work only spoken about.

The planner compares the work that the due dates want with the tasks that are open. It changes drafts only; for
issued work it proposes, and work underway, held or taken over by another system it leaves alone.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from scheduler.planning.stops import Stop
from scheduler.vocabulary import TaskKind, Trigger, WorkOrderState

GROUPS_WITHIN_D = 7.0
"""Work of one system without a stop goes into one order when it falls due within a week (ours)."""

KEEPS_DRAFT_FOR_D = 7.0
"""A draft stays until its work is due a week beyond the horizon, so that it does not come and go (ours)."""

MOVES_BEYOND_D = 1.0
"""A move by less than a day is worth neither a proposal to the person who issued the work nor a new version of a
draft that somebody may be reading (ours)."""


@dataclass(frozen=True, slots=True)
class WantedTask:
    """Work that a due date or a diagnosis asks for."""

    plant: str
    system: str
    position: str
    kind: TaskKind
    due_day: float
    trigger: Trigger | None
    because: dict[str, Any]
    stop: Stop | None

    @property
    def subject(self) -> tuple[str, str, TaskKind]:
        return (self.system, self.position, self.kind)


@dataclass(frozen=True, slots=True)
class OpenTask:
    """A task that is not ended, with the order that it stands in."""

    id: int
    order: int
    system: str
    position: str
    kind: TaskKind
    due_day: float
    proposal: dict[str, Any] | None
    because: Mapping[str, Any] = field(default_factory=dict)

    @property
    def subject(self) -> tuple[str, str, TaskKind]:
        return (self.system, self.position, self.kind)


@dataclass(frozen=True, slots=True)
class OpenOrder:
    id: int
    plant: str
    system: str
    state: WorkOrderState
    acknowledged: bool
    planned_day: float
    stop: Stop | None


@dataclass(frozen=True, slots=True)
class DraftOrder:
    """A draft as it should stand: `id` None is a new one; `issue` where the plant's setting issues it."""

    id: int | None
    plant: str
    system: str
    planned_day: float
    stop: Stop | None
    tasks: tuple[tuple[int | None, WantedTask], ...]  # the open task that each carries on, None for a new one
    issue: bool = False


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change to issued work that a person accepts: `None` takes an earlier proposal back."""

    task: int
    proposal: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class WorkPlan:
    drafts: tuple[DraftOrder, ...]
    withdrawn_tasks: tuple[int, ...]
    withdrawn_orders: tuple[int, ...]
    proposals: tuple[Proposal, ...]


def within_horizon(due_day: float, as_of_day: float, horizon_d: float, *, is_open: bool) -> bool:
    """Whether work due on `due_day` belongs into the plan; open work stays a little longer."""
    return due_day <= as_of_day + horizon_d + (KEEPS_DRAFT_FOR_D if is_open else 0.0)


def plan_work(
    wanted: Iterable[WantedTask],
    orders: Iterable[OpenOrder],
    tasks: Iterable[OpenTask],
    issue_until_day: Mapping[str, float],
) -> WorkPlan:
    """The drafts, withdrawals and proposals that bring the open work in line with the wanted.

    `issue_until_day` says for each plant up to which planned day its drafts are issued without a person.
    """
    wanted_by_subject = {task.subject: task for task in wanted}
    order_by_id = {order.id: order for order in orders}
    open_tasks = list(tasks)
    drafts = {id_ for id_, order in order_by_id.items() if _may_change(order)}

    carried = {task.subject: task for task in open_tasks if task.order in drafts}
    spoken_for = {task.subject for task in open_tasks if task.order not in drafts}
    proposals = [
        proposal
        for task in open_tasks
        if _may_propose(order_by_id[task.order])
        for proposal in _proposals(task, order_by_id[task.order], wanted_by_subject.get(task.subject))
    ]
    to_place = [task for task in wanted_by_subject.values() if task.subject not in spoken_for]
    placed = _place(to_place, [order_by_id[id_] for id_ in sorted(drafts)], carried, issue_until_day)
    kept_orders = {draft.id for draft in placed}
    return WorkPlan(
        drafts=tuple(placed),
        withdrawn_tasks=tuple(
            sorted(task.id for subject, task in carried.items() if subject not in wanted_by_subject)
        ),
        withdrawn_orders=tuple(sorted(drafts - kept_orders)),
        proposals=tuple(proposals),
    )


def _may_change(order: OpenOrder) -> bool:
    return order.state is WorkOrderState.DRAFT and not order.acknowledged


def _may_propose(order: OpenOrder) -> bool:
    return order.state is WorkOrderState.ISSUED and not order.acknowledged


def _proposals(task: OpenTask, order: OpenOrder, wanted: WantedTask | None) -> list[Proposal]:
    proposal: dict[str, Any] | None = None
    if wanted is None:
        proposal = {"change": "withdraw"}
    elif _planned_day([wanted]) < order.planned_day - MOVES_BEYOND_D:
        # Only an earlier date is proposed: work that may wait a little longer is left where a person put it.
        proposal = {"change": "move", "due_day": wanted.due_day, "planned_day": _planned_day([wanted])}
    return [Proposal(task.id, proposal)] if _differs(proposal, task.proposal) else []


def _differs(new: dict[str, Any] | None, old: dict[str, Any] | None) -> bool:
    if new is None or old is None:
        return new is not old
    moved = abs(new.get("planned_day", 0.0) - old.get("planned_day", 0.0)) > MOVES_BEYOND_D
    return bool(new["change"] != old["change"] or moved)


def _place(
    wanted: Sequence[WantedTask],
    drafts: Sequence[OpenOrder],
    carried: dict[tuple[str, str, TaskKind], OpenTask],
    issue_until_day: Mapping[str, float],
) -> list[DraftOrder]:
    free = list(drafts)
    placed: list[DraftOrder] = []
    for group in _groups([_since_first_asked(task, carried.get(task.subject)) for task in wanted]):
        order = _matching(group, free, carried)
        if order is not None:
            free.remove(order)
        first = group[0]
        planned_day = _planned_day(group) if order is None else _kept_day(order, group)
        placed.append(
            DraftOrder(
                id=None if order is None else order.id,
                plant=first.plant,
                system=first.system,
                planned_day=planned_day,
                issue=planned_day <= issue_until_day.get(first.plant, float("-inf")),
                stop=first.stop,
                tasks=tuple((carried[task.subject].id if task.subject in carried else None, task) for task in group),
            )
        )
    return placed


def _since_first_asked(task: WantedTask, stands: OpenTask | None) -> WantedTask:
    """A look has no date but "now": it stays due since it was first asked for, or nobody sees how long it waits."""
    if task.trigger is not None or stands is None:
        return task
    return replace(task, due_day=min(task.due_day, stands.due_day))


def _kept_day(order: OpenOrder, group: Sequence[WantedTask]) -> float:
    """The draft's day, unless the work moved by more than `MOVES_BEYOND_D` or into another stop."""
    day = _planned_day(group)
    same_stop = order.stop == group[0].stop
    return order.planned_day if same_stop and abs(day - order.planned_day) <= MOVES_BEYOND_D else day


def _planned_day(group: Sequence[WantedTask]) -> float:
    stop = group[0].stop
    return min(task.due_day for task in group) if stop is None else stop.start_day


def _groups(wanted: Sequence[WantedTask]) -> list[list[WantedTask]]:
    """One group per system and stop; without a stop, per system and week from the first."""
    groups: list[list[WantedTask]] = []
    by_stop: dict[tuple[str, Stop], list[WantedTask]] = {}
    open_week: dict[str, list[WantedTask]] = {}
    for task in sorted(wanted, key=lambda task: (task.due_day, task.system, task.position, task.kind)):
        if task.stop is not None:
            group = by_stop.setdefault((task.system, task.stop), [])
        else:
            group = open_week.get(task.system, [])
            if not group or task.due_day > group[0].due_day + GROUPS_WITHIN_D:
                group = open_week[task.system] = []
        if not group:
            groups.append(group)
        group.append(task)
    return groups


def _matching(
    group: Sequence[WantedTask],
    free: Sequence[OpenOrder],
    carried: dict[tuple[str, str, TaskKind], OpenTask],
) -> OpenOrder | None:
    """The draft to carry on: of the same stop, else the one that most of the group's tasks stand in."""
    of_system = [order for order in free if order.system == group[0].system]
    same_stop = [order for order in of_system if order.stop is not None and order.stop == group[0].stop]
    if same_stop:
        return same_stop[0]
    stands_in = [carried[task.subject].order for task in group if task.subject in carried]
    candidates = [order for order in of_system if order.id in stands_in]
    return max(candidates, key=lambda order: (stands_in.count(order.id), -order.id), default=None)
