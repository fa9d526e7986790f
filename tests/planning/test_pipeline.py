"""A whole pass: from what is known to due dates, work and picks, and a second pass that changes nothing."""

import json
import time
from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.kits import Arrival, KitSpec, ShelfLot
from scheduler.planning.pipeline import Known, Planned, Shelves, plan
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.stops import Stop
from scheduler.planning.work_orders import OpenOrder, OpenTask
from scheduler.statistics.life_model import LifePrior
from scheduler.vocabulary import IndicatorState, Place, RemovalReason, Status, TaskKind, Trigger, WorkOrderState
from tests.planning.small_plant import (
    BREATHER,
    NAN,
    NOW,
    STRAINER,
    Life,
    Plant,
    Position,
    Reading,
    StopSpec,
    System,
    life_of,
    only_plain,
    plant,
    prior_of_life,
    rising_readings,
)

KITS = {code: KitSpec("EL-10", 1, ("EL-10-ALT",), "SK-10") for code in ("P1", "P2", "P3")}
SHELF = (
    ShelfLot("EL-10", "MAIN", "L1", "A-1", 1, None),
    ShelfLot("SK-10", "MAIN", "L1", "A-2", 9, None),
)
SUPPLY = (Arrival("EL-10", "PO-7", "1", 5, NOW + 9.0),)
SATURDAYS = tuple(StopSpec(NOW + day, NOW + day + 0.5) for day in (6.0, 13.0, 20.0))


def known(columns: PlantColumns, life: LifePrior | None = None, **more: object) -> Known:
    positions = len(columns.positions.code)
    given: dict[str, object] = {"orders": (), "tasks": (), "kits": KITS, "shelves": Shelves(SHELF, SUPPLY)}
    prior = prior_of_life(columns, life or life_of(1e6, 0.1, positions))
    return Known(columns, prior, **(given | more))  # type: ignore[arg-type]


def due_in(code: str, days: float, **more: object) -> Position:
    return Position(code, max_age_d=100.0 + days, **more)  # type: ignore[arg-type]


def carried_out(known: Known, planned: Planned) -> Known:
    """What is known once the plan stands in the store."""
    orders = {order.id: order for order in known.orders if order.id not in planned.work.withdrawn_orders}
    tasks = {task.id: task for task in known.tasks if task.id not in planned.work.withdrawn_tasks}
    for proposal in planned.work.proposals:
        tasks[proposal.task] = replace(tasks[proposal.task], proposal=proposal.proposal)
    for draft in planned.work.drafts:
        number = max(orders, default=0) + 1 if draft.id is None else draft.id
        state = WorkOrderState.ISSUED if draft.issue else WorkOrderState.DRAFT
        orders[number] = OpenOrder(number, draft.plant, draft.system, state, False, draft.planned_day, draft.stop)
        for task_id, task in draft.tasks:
            key = max(tasks, default=100) + 1 if task_id is None else task_id
            tasks[key] = OpenTask(key, number, task.system, task.position, task.kind, task.due_day, None)
    return replace(known, orders=tuple(orders.values()), tasks=tuple(tasks.values()))


def in_state(before: Known, state: WorkOrderState) -> Known:
    return replace(before, orders=tuple(replace(order, state=state) for order in before.orders))


def lived_in(now: float = NOW) -> PlantColumns:
    """Two systems with most of what a plant has."""
    trip = Reading(NOW - 1.0, NAN, NAN, NAN, IndicatorState.TRIPPED)
    return plant(
        due_in("P1", 8.0),
        due_in("P2", 15.0, system="S2"),
        due_in("P3", -4.0),
        Position("P4", terminal_dp_bar=2.5, readings=rising_readings(118.0)),
        Position("P5", system="S2", fitted=None),
        Position("P6", readings=(trip,)),
        Position("P7", place=Place.BREATHER, part=BREATHER, fitted=BREATHER, max_age_d=120.0),
        Position("P8", place=Place.SUCTION, part=STRAINER, fitted=STRAINER, max_hours=900.0),
        systems=[System(), System("S2")],
        stops=SATURDAYS,
        lives=[Life(NOW - 300.0, NOW - 100.0, RemovalReason.FAILURE, "P4")],
        now=now,
    )


def test_a_second_pass_on_the_same_facts_changes_nothing() -> None:
    first = replace(known(lived_in()), prior=None)
    planned = plan(first)
    assert len(planned.work.drafts) >= 4
    standing = carried_out(first, planned)
    again = plan(standing)
    assert (again.work.withdrawn_orders, again.work.withdrawn_tasks, again.work.proposals) == ((), (), ())
    assert carried_out(standing, again) == standing
    assert again.items == planned.items
    assert again.diagnoses == planned.diagnoses
    assert again.picks == planned.picks


@pytest.mark.parametrize("state", [WorkOrderState.ISSUED, WorkOrderState.HELD, WorkOrderState.UNDERWAY])
def test_work_that_people_have_taken_up_is_planned_no_second_time(state: WorkOrderState) -> None:
    first = known(lived_in())
    taken_up = in_state(carried_out(first, plan(first)), state)
    again = plan(taken_up)
    assert (again.work.drafts, again.work.withdrawn_tasks, again.work.proposals) == ((), (), ())


def test_the_next_days_pass_moves_and_withdraws_nothing_without_a_reason() -> None:
    first = known(lived_in())
    standing = carried_out(first, plan(first))
    tomorrow = replace(standing, columns=lived_in(NOW + 1.0))
    found = plan(tomorrow).work
    assert (found.withdrawn_orders, found.withdrawn_tasks) == ((), ())
    assert {draft.id for draft in found.drafts} == {order.id for order in standing.orders}


def test_a_position_due_gets_work_in_its_stop_with_its_parts() -> None:
    planned = plan(known(plant(due_in("P1", 15.0), stops=SATURDAYS)))
    [draft] = planned.work.drafts
    assert (draft.planned_day, draft.stop) == (NOW + 13.0, Stop(NOW + 13.0, NOW + 13.5))
    assert [(pick.part_number, pick.shelf is not None) for pick in planned.picks] == [
        ("EL-10", True),
        ("SK-10", True),
    ]


def test_the_earlier_job_gets_the_last_element_and_the_later_one_the_date_of_supply() -> None:
    planned = plan(known(plant(due_in("P1", 15.0), due_in("P2", 8.0), stops=SATURDAYS)))
    elements = {pick.subject[1]: pick for pick in planned.picks if pick.part_number == "EL-10"}
    assert elements["P2"].shelf == SHELF[0]
    assert (elements["P1"].shelf, elements["P1"].arrival) == (None, SUPPLY[0])


def test_work_already_issued_keeps_its_parts_before_an_earlier_draft() -> None:
    columns = plant(due_in("P1", 15.0), due_in("P2", 8.0), stops=SATURDAYS)
    only_p1 = known(plant(due_in("P1", 15.0), due_in("P2", 400.0), stops=SATURDAYS))
    issued = in_state(carried_out(only_p1, plan(only_p1)), WorkOrderState.ISSUED)
    planned = plan(replace(issued, columns=columns))
    elements = {pick.subject[1]: pick for pick in planned.picks if pick.part_number == "EL-10"}
    assert elements["P1"].shelf == SHELF[0]
    assert elements["P2"].shelf is None


def test_work_underway_has_its_parts_in_hand_and_is_picked_no_second_time() -> None:
    first = known(plant(due_in("P1", 8.0)))
    underway = in_state(carried_out(first, plan(first)), WorkOrderState.UNDERWAY)
    assert plan(underway).picks == ()


def test_overdue_work_is_not_given_parts_that_have_expired_meanwhile() -> None:
    expired = ShelfLot("EL-10", "MAIN", "OLD", "A-1", 5, NOW - 2.0)
    planned = plan(known(plant(due_in("P1", -20.0)), shelves=Shelves((expired, SHELF[1]), SUPPLY)))
    element = next(pick for pick in planned.picks if pick.part_number == "EL-10")
    assert (element.shelf, element.arrival) == (None, SUPPLY[0])


def test_a_pass_of_some_systems_leaves_the_others_work_alone_and_shares_the_shelves_with_it() -> None:
    whole = known(plant(due_in("P1", 8.0), due_in("P2", 15.0, system="S2"), systems=[System(), System("S2")]))
    standing = carried_out(whole, plan(whole))
    only_s2 = plant(due_in("P2", 15.0, system="S2"), systems=[System("S2")], meters={})
    planned = plan(replace(standing, columns=only_s2, prior=prior_of_life(only_s2, life_of(1e6, 0.1))))
    assert [draft.system for draft in planned.work.drafts] == ["S2"]
    assert (planned.work.withdrawn_orders, planned.work.withdrawn_tasks) == ((), ())
    elements = {pick.subject[1]: pick.shelf for pick in planned.picks if pick.part_number == "EL-10"}
    assert elements == {"P1": SHELF[0], "P2": None}


def test_drafts_of_a_position_that_left_the_plant_are_withdrawn() -> None:
    first = known(plant(due_in("P1", 8.0)))
    standing = carried_out(first, plan(first))
    gone = replace(standing, columns=plant(due_in("P1", 8.0, status=Status.RETIRED)))
    planned = plan(gone)
    assert planned.work.withdrawn_orders == (standing.orders[0].id,)
    assert planned.picks == ()
    assert planned.items == ()


def test_a_plant_that_issues_ahead_gets_issued_work_and_another_does_not() -> None:
    def issued(issue_ahead_d: float) -> list[bool]:
        columns = plant(due_in("P1", 8.0), due_in("P2", 15.0), plants=[Plant(issue_ahead_d=issue_ahead_d)])
        return [draft.issue for draft in plan(known(columns)).work.drafts]

    assert issued(NAN) == [False]
    assert issued(9.0) == [True]
    assert issued(5.0) == [False]


def test_what_a_changed_element_leaves_behind_is_withdrawn() -> None:
    """The position's own story: due, drafted, changed, and due again only in its own time."""
    worn = Position("P1", terminal_dp_bar=2.5, readings=rising_readings(118.0))
    first = known(plant(worn), life_of(900.0))
    standing = carried_out(first, plan(first))
    assert [task.kind for task in standing.tasks] == [TaskKind.CHANGE_ELEMENT]
    after_change = plant(
        replace(worn, fitted_day=NOW + 1.0, readings=(*worn.readings[-1:], Reading(NOW + 1.2, 0.31))), now=NOW + 2.0
    )
    planned = plan(replace(standing, columns=after_change))
    assert planned.work.withdrawn_tasks == (standing.tasks[0].id,)
    assert planned.items[0].trigger is Trigger.PRESSURE
    assert planned.items[0].due_day is not None
    assert planned.items[0].due_day > NOW + 44.0


def test_an_empty_plant_has_an_empty_plan() -> None:
    planned = plan(replace(known(plant(systems=[])), prior=None))
    assert (planned.items, planned.diagnoses, planned.picks) == ((), (), ())
    assert planned.work.drafts == ()


def test_everything_that_is_kept_as_json_can_be_written() -> None:
    planned = plan(known(lived_in()))
    kept = [
        *(item.because for item in planned.items),
        *(found.numbers for found in planned.diagnoses),
        *(task.because for draft in planned.work.drafts for _, task in draft.tasks),
    ]
    assert [each for each in kept if not only_plain(each)] == []
    assert json.dumps(kept, allow_nan=False)
    numbers = [(item.due_day, item.hours_left, item.overdue_hours) for item in planned.items]
    assert only_plain(numbers)
    assert all(only_plain(item.pressure_hours_left) for item in planned.items)


def test_a_thousand_positions_are_planned_in_seconds() -> None:
    """Loose on purpose: it fails for work that grows with the square of the plant, not for a slow machine."""
    count = 1000
    readings = rising_readings(400.0)
    systems = [System(f"S{number}") for number in range(count // 4)]
    positions = [
        Position(f"P{number}", f"S{number // 4}", terminal_dp_bar=2.5, readings=readings) for number in range(count)
    ]
    columns = plant(*positions, systems=systems)
    began = time.perf_counter()
    planned = plan(replace(known(columns), prior=None))
    assert time.perf_counter() - began < 15.0
    assert len(planned.items) == count
    dues = np.array([item.due_day for item in planned.items], dtype=np.float64)
    assert dues == pytest.approx(dues[0], abs=0.2)
