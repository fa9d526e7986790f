"""Drafts raised, grouped, moved and withdrawn; issued work only spoken about; everything else left alone."""

from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.stops import Stop
from scheduler.planning.work_orders import (
    GROUPS_WITHIN_D,
    KEEPS_DRAFT_FOR_D,
    DraftOrder,
    OpenOrder,
    OpenTask,
    Proposal,
    WantedTask,
    WorkPlan,
    plan_work,
    within_horizon,
)
from scheduler.vocabulary import TaskKind, Trigger, WorkOrderState

NOW = 20_000.0
SATURDAY, NEXT_SATURDAY = Stop(NOW + 6.0, NOW + 6.5), Stop(NOW + 13.0, NOW + 13.5)
CHANGE = TaskKind.CHANGE_ELEMENT
LEFT_ALONE = [
    (WorkOrderState.UNDERWAY, False),
    (WorkOrderState.HELD, False),
    (WorkOrderState.DRAFT, True),
    (WorkOrderState.ISSUED, True),
]


def want(
    position: str = "P1",
    due_day: float = NOW + 8.0,
    stop: Stop | None = None,
    system: str = "S1",
    kind: TaskKind = CHANGE,
) -> WantedTask:
    return WantedTask("PLANT", system, position, kind, due_day, Trigger.HOURS, {"code": "hours", "facts": {}}, stop)


@dataclass(frozen=True)
class Open:
    """Orders and tasks as they stand."""

    orders: tuple[OpenOrder, ...] = ()
    tasks: tuple[OpenTask, ...] = ()


def plan(wanted: list[WantedTask], standing: Open = Open(), issue_ahead_d: float | None = None) -> WorkPlan:
    until = {} if issue_ahead_d is None else {"PLANT": NOW + issue_ahead_d}
    return plan_work(wanted, standing.orders, standing.tasks, until)


def after(found: WorkPlan, standing: Open = Open()) -> Open:
    """What stands open once a plan has been carried out, as a store would keep it."""
    orders = {order.id: order for order in standing.orders if order.id not in found.withdrawn_orders}
    tasks = {task.id: task for task in standing.tasks if task.id not in found.withdrawn_tasks}
    for proposal in found.proposals:
        tasks[proposal.task] = replace(tasks[proposal.task], proposal=proposal.proposal)
    for draft in found.drafts:
        order = max(orders, default=0) + 1 if draft.id is None else draft.id
        state = WorkOrderState.ISSUED if draft.issue else WorkOrderState.DRAFT
        orders[order] = OpenOrder(order, draft.plant, draft.system, state, False, draft.planned_day, draft.stop)
        for task_id, task in draft.tasks:
            number = max(tasks, default=100) + 1 if task_id is None else task_id
            tasks[number] = OpenTask(number, order, task.system, task.position, task.kind, task.due_day, None)
    return Open(tuple(orders.values()), tuple(tasks.values()))


def standing(*wanted: WantedTask, state: WorkOrderState = WorkOrderState.DRAFT, acknowledged: bool = False) -> Open:
    raised = after(plan(list(wanted)))
    return Open(
        tuple(replace(order, state=state, acknowledged=acknowledged) for order in raised.orders), raised.tasks
    )


def positions_of(drafts: tuple[DraftOrder, ...]) -> list[list[str]]:
    return [[task.position for _, task in draft.tasks] for draft in drafts]


NOTHING = WorkPlan((), (), (), ())


def test_nothing_wanted_and_nothing_open_is_no_plan() -> None:
    assert plan([]) == NOTHING


def test_new_work_becomes_a_draft_in_its_stop() -> None:
    task = want(stop=SATURDAY)
    assert plan([task]).drafts == (
        DraftOrder(None, "PLANT", "S1", SATURDAY.start_day, SATURDAY, ((None, task),), issue=False),
    )


def test_without_a_stop_the_work_is_planned_for_the_day_it_is_due() -> None:
    [draft] = plan([want(due_day=NOW + 8.0)]).drafts
    assert (draft.planned_day, draft.stop) == (NOW + 8.0, None)


def test_the_work_of_one_system_in_one_stop_is_one_order() -> None:
    together = [want("P1", NOW + 8.0, SATURDAY), want("P2", NOW + 30.0, SATURDAY)]
    other_stop, other_system = want("P3", NOW + 15.0, NEXT_SATURDAY), want("P4", NOW + 9.0, SATURDAY, "S2")
    drafts = plan([*together, other_stop, other_system]).drafts
    assert sorted(positions_of(drafts)) == [["P1", "P2"], ["P3"], ["P4"]]


def test_work_without_a_stop_is_grouped_by_the_week() -> None:
    week = [want("P1", NOW + 1.0), want("P2", NOW + 1.0 + GROUPS_WITHIN_D), want("P3", NOW + 1.1 + GROUPS_WITHIN_D)]
    drafts = plan(week).drafts
    assert positions_of(drafts) == [["P1", "P2"], ["P3"]]
    assert drafts[0].planned_day == NOW + 1.0


def test_work_with_and_without_a_stop_does_not_share_an_order() -> None:
    assert len(plan([want("P1", stop=SATURDAY), want("P2")]).drafts) == 2


def test_a_draft_that_still_holds_is_carried_on() -> None:
    task = want(stop=SATURDAY)
    open_work = standing(task)
    [draft] = plan([task], open_work).drafts
    assert draft.id == open_work.orders[0].id
    assert draft.tasks == ((open_work.tasks[0].id, task),)


def test_a_draft_moves_to_another_stop_with_its_due_date() -> None:
    open_work = standing(want(due_day=NOW + 15.0, stop=NEXT_SATURDAY))
    found = plan([want(due_day=NOW + 8.0, stop=SATURDAY)], open_work)
    [draft] = found.drafts
    assert (draft.id, draft.stop, draft.planned_day) == (open_work.orders[0].id, SATURDAY, SATURDAY.start_day)
    assert (found.withdrawn_orders, found.withdrawn_tasks) == ((), ())


def test_one_task_moves_to_the_draft_of_its_new_stop_and_the_rest_stays() -> None:
    first = [want("P1", NOW + 15.0, NEXT_SATURDAY), want("P2", NOW + 16.0, NEXT_SATURDAY), want("P3", stop=SATURDAY)]
    open_work = standing(*first)
    found = plan([replace(first[0], due_day=NOW + 7.0, stop=SATURDAY), *first[1:]], open_work)
    assert {draft.stop: [task.position for _, task in draft.tasks] for draft in found.drafts} == {
        SATURDAY: ["P1", "P3"],
        NEXT_SATURDAY: ["P2"],
    }
    assert {draft.id for draft in found.drafts} == {order.id for order in open_work.orders}
    assert (found.withdrawn_orders, found.withdrawn_tasks) == ((), ())


def test_a_draft_emptied_by_a_move_is_withdrawn_without_its_task() -> None:
    first = [want("P1", NOW + 15.0, NEXT_SATURDAY), want("P2", stop=SATURDAY)]
    open_work = standing(*first)
    found = plan([replace(first[0], due_day=NOW + 7.0, stop=SATURDAY), first[1]], open_work)
    [draft] = found.drafts
    assert positions_of(found.drafts) == [["P1", "P2"]]
    assert {task_id for task_id, _ in draft.tasks} == {task.id for task in open_work.tasks}
    assert found.withdrawn_tasks == ()
    assert found.withdrawn_orders == tuple({order.id for order in open_work.orders} - {draft.id})


def test_a_draft_is_withdrawn_with_its_reason() -> None:
    open_work = standing(want())
    found = plan([], open_work)
    assert found.withdrawn_orders == (open_work.orders[0].id,)
    assert found.withdrawn_tasks == (open_work.tasks[0].id,)
    assert found.drafts == ()


def test_a_draft_loses_only_the_task_whose_reason_is_gone() -> None:
    tasks = [want("P1", stop=SATURDAY), want("P2", stop=SATURDAY)]
    open_work = standing(*tasks)
    found = plan(tasks[1:], open_work)
    assert found.withdrawn_orders == ()
    assert found.withdrawn_tasks == tuple(task.id for task in open_work.tasks if task.position == "P1")
    assert positions_of(found.drafts) == [["P2"]]


def test_open_work_stays_a_week_longer_than_new_work_comes() -> None:
    edge = NOW + 42.0
    assert within_horizon(edge, NOW, 42.0, is_open=False)
    assert not within_horizon(edge + 0.1, NOW, 42.0, is_open=False)
    assert within_horizon(edge + KEEPS_DRAFT_FOR_D, NOW, 42.0, is_open=True)
    assert not within_horizon(edge + KEEPS_DRAFT_FOR_D + 0.1, NOW, 42.0, is_open=True)


def test_issued_work_is_never_changed_only_a_change_proposed() -> None:
    task = want(due_day=NOW + 15.0, stop=NEXT_SATURDAY)
    open_work = standing(task, state=WorkOrderState.ISSUED)
    found = plan([replace(task, due_day=NOW + 8.0, stop=SATURDAY)], open_work)
    assert (found.drafts, found.withdrawn_orders, found.withdrawn_tasks) == ((), (), ())
    assert found.proposals == (
        Proposal(
            open_work.tasks[0].id,
            {"change": "move", "due_day": NOW + 8.0, "planned_day": SATURDAY.start_day},
        ),
    )


def test_issued_work_whose_reason_is_gone_is_proposed_for_withdrawal() -> None:
    open_work = standing(want(), state=WorkOrderState.ISSUED)
    assert plan([], open_work) == replace(
        NOTHING, proposals=(Proposal(open_work.tasks[0].id, {"change": "withdraw"}),)
    )


@pytest.mark.parametrize("later_d", [-0.9, 0.0, 0.9, 20.0])
def test_a_small_or_later_change_is_not_worth_a_proposal(later_d: float) -> None:
    task = want(due_day=NOW + 8.0)
    open_work = standing(task, state=WorkOrderState.ISSUED)
    assert plan([replace(task, due_day=NOW + 8.0 + later_d)], open_work) == NOTHING


def test_a_proposal_is_made_once_and_taken_back_when_its_reason_is_gone() -> None:
    task = want(due_day=NOW + 15.0)
    earlier = replace(task, due_day=NOW + 3.0)
    issued = standing(task, state=WorkOrderState.ISSUED)
    proposed = after(plan([earlier], issued), issued)
    assert proposed.tasks[0].proposal is not None
    assert plan([earlier], proposed) == NOTHING
    assert plan([replace(earlier, due_day=NOW + 2.5)], proposed) == NOTHING
    assert len(plan([replace(earlier, due_day=NOW + 1.0)], proposed).proposals) == 1
    assert plan([task], proposed).proposals == (Proposal(issued.tasks[0].id, None),)
    assert plan([], proposed).proposals == (Proposal(issued.tasks[0].id, {"change": "withdraw"}),)


@pytest.mark.parametrize(("state", "acknowledged"), LEFT_ALONE)
@pytest.mark.parametrize("still_wanted", [True, False])
def test_work_underway_held_or_taken_over_is_left_alone(
    state: WorkOrderState, acknowledged: bool, still_wanted: bool
) -> None:
    open_work = standing(want(due_day=NOW + 15.0), state=state, acknowledged=acknowledged)
    wanted = [want(due_day=NOW + 2.0)] if still_wanted else []
    assert plan(wanted, open_work) == NOTHING


@pytest.mark.parametrize(("state", "acknowledged"), [*LEFT_ALONE, (WorkOrderState.ISSUED, False)])
def test_a_position_has_no_second_task_of_a_kind_beside_one_that_is_open(
    state: WorkOrderState, acknowledged: bool
) -> None:
    open_work = standing(want("P1"), state=state, acknowledged=acknowledged)
    found = plan([want("P1"), want("P2"), want("P1", kind=TaskKind.INSPECT)], open_work)
    assert sorted((task.position, task.kind) for draft in found.drafts for _, task in draft.tasks) == [
        ("P1", TaskKind.INSPECT),
        ("P2", CHANGE),
    ]
    assert all(draft.id is None for draft in found.drafts)


def test_a_plant_that_issues_ahead_issues_what_is_planned_near() -> None:
    near, far = want("P1", NOW + 9.0, SATURDAY), want("P2", NOW + 20.0, NEXT_SATURDAY)
    assert [draft.issue for draft in plan([near, far], issue_ahead_d=7.0).drafts] == [True, False]
    assert [draft.issue for draft in plan([near, far]).drafts] == [False, False]


def test_a_draft_is_issued_when_its_day_comes_near() -> None:
    task = want(stop=SATURDAY)
    open_work = standing(task)
    [draft] = plan([task], open_work, issue_ahead_d=7.0).drafts
    assert (draft.id, draft.issue) == (open_work.orders[0].id, True)
    issued = after(plan([task], open_work, issue_ahead_d=7.0), open_work)
    assert plan([task], issued, issue_ahead_d=7.0) == NOTHING


def test_a_setting_of_one_plant_issues_nothing_of_another() -> None:
    assert plan_work([want()], (), (), {"OTHER": NOW + 99.0}).drafts[0].issue is False


STOPS = (None, SATURDAY, NEXT_SATURDAY, Stop(NOW + 20.0, NOW + 21.0))
WANTED = st.lists(
    st.builds(
        want,
        position=st.sampled_from(["P1", "P2", "P3", "P4", "P5"]),
        due_day=st.floats(NOW - 20.0, NOW + 40.0),
        stop=st.sampled_from(STOPS),
        system=st.sampled_from(["S1", "S2"]),
        kind=st.sampled_from([CHANGE, TaskKind.INSPECT]),
    ),
    max_size=10,
    unique_by=lambda task: task.subject,
)
STATES = st.lists(
    st.tuples(
        st.sampled_from(
            [WorkOrderState.DRAFT] * 3 + [WorkOrderState.ISSUED, WorkOrderState.UNDERWAY, WorkOrderState.HELD]
        ),
        st.booleans(),
    ),
    min_size=12,
    max_size=12,
)


@settings(max_examples=300, deadline=None)
@given(WANTED, WANTED, STATES, st.sampled_from([None, 7.0]))
def test_every_plan_keeps_the_rules_and_a_second_one_changes_nothing(
    before: list[WantedTask],
    wanted: list[WantedTask],
    states: list[tuple[WorkOrderState, bool]],
    issue_ahead_d: float | None,
) -> None:
    raised = after(plan(before))
    orders = tuple(
        replace(order, state=state, acknowledged=acknowledged)
        for order, (state, acknowledged) in zip(raised.orders, states, strict=False)
    )
    open_work = Open(orders, raised.tasks)
    found = plan(wanted, open_work, issue_ahead_d)
    changeable = {o.id for o in orders if o.state is WorkOrderState.DRAFT and not o.acknowledged}
    carried_ids = [draft.id for draft in found.drafts if draft.id is not None]
    placed = [task.subject for draft in found.drafts for _, task in draft.tasks]
    spoken_for = {task.subject for task in open_work.tasks if task.order not in changeable}
    assert len(set(carried_ids)) == len(carried_ids)
    assert set(carried_ids) <= changeable
    assert set(found.withdrawn_orders) == changeable - set(carried_ids)
    assert sorted(placed) == sorted({task.subject for task in wanted} - spoken_for)
    assert all({task.system for _, task in draft.tasks} == {draft.system} for draft in found.drafts)
    withdrawn = {task.subject for task in open_work.tasks if task.id in found.withdrawn_tasks}
    assert withdrawn == {t.subject for t in open_work.tasks if t.order in changeable} - {t.subject for t in wanted}
    issued = {order.id for order in orders if order.state is WorkOrderState.ISSUED and not order.acknowledged}
    order_of = {task.id: task.order for task in open_work.tasks}
    assert {order_of[proposal.task] for proposal in found.proposals} <= issued

    settled = after(found, open_work)
    subjects = [task.subject for task in settled.tasks]
    assert len(set(subjects)) == len(subjects)
    again = plan(wanted, settled, issue_ahead_d)
    assert (again.withdrawn_orders, again.withdrawn_tasks, again.proposals) == ((), (), ())
    assert after(again, settled) == settled
