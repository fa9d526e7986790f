"""A change that nobody had ordered, or that comes in beside an order: the service makes and closes the work itself.

contract.md, "Facts and refusals": a change without a work order is closed by position; a close-out for a withdrawn
order is accepted and settles it.
"""

from datetime import datetime, timedelta

from tests.flow.running_plant import RunningPlant, iso
from tests.flow.small_folder import HOURS_NOW, RETURN, SIDE_A, STRAINER, UNKNOWN, moment, small_plant


def test_a_change_without_an_order_makes_and_closes_one(plant: RunningPlant) -> None:
    assert plant.orders(position=SIDE_A) == []
    answer = plant.close(position=SIDE_A, reason="failure", element={"lot": "L-2"})
    order = plant.get(f"/v1/work-orders/{answer['work_order']}")
    assert (order["state"], order["system"]) == ("done", "CONV")
    assert [(task["id"], task["state"], task["kind"]) for task in order["tasks"]] == [
        (answer["task"], "done", "change_element")
    ]
    assert order["tasks"][0]["reason"]
    (ended,) = [row for row in plant.holds_now("installations", position=SIDE_A) if row["removed_at"]]
    assert (ended["removed_at"], ended["reason"]) == (plant.now, "failure")
    assert plant.on_hand("EL-10") == 3
    assert plant.due(SIDE_A) == answer["next_due"]


def test_without_an_order_and_without_a_word_the_reason_of_the_change_is_unknown(plant: RunningPlant) -> None:
    plant.close(position=SIDE_A)
    (ended,) = [row for row in plant.holds_now("installations", position=SIDE_A) if row["removed_at"]]
    assert ended["reason"] == "unknown"


def test_a_change_by_position_closes_the_task_of_the_draft_that_exists(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    answer = plant.close(position=RETURN, hours=HOURS_NOW)
    assert (answer["work_order"], answer["task"]) == (order["id"], order["tasks"][0]["id"])
    assert plant.get(f"/v1/work-orders/{order['id']}")["state"] == "done"
    assert len(plant.rows("work_orders")) == 4
    assert plant.orders(position=RETURN) == []
    # the kit that was picked for the draft counts as used
    assert (plant.on_hand("EL-10"), plant.on_hand("SK-1"), plant.on_hand("TRAY")) == (3, 1, 3)


def test_a_change_by_position_ends_the_issued_order_that_asked_for_it(plant: RunningPlant) -> None:
    order = plant.order_of(STRAINER)
    plant.post(f"/v1/work-orders/{order['id']}/issue")
    answer = plant.close(position=STRAINER, hours=HOURS_NOW)
    assert answer["work_order"] == order["id"]
    assert plant.get(f"/v1/work-orders/{order['id']}")["state"] == "done"


def test_an_order_of_two_tasks_is_done_with_the_second(plant: RunningPlant) -> None:
    plant.take_in(small_plant().changed("positions", "position", RETURN, max_hours__h=1240))
    plant.run_pass()
    order = plant.order_of(STRAINER)
    assert {task["position"] for task in order["tasks"]} == {RETURN, STRAINER}
    for task, state in zip(order["tasks"], ("draft", "done"), strict=True):
        plant.close(task=task["id"], hours=HOURS_NOW)
        assert plant.get(f"/v1/work-orders/{order['id']}")["state"] == state


def test_a_close_out_for_a_withdrawn_order_is_accepted_and_settles_it(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    task = order["tasks"][0]["id"]
    plant.post(f"/v1/work-orders/{order['id']}/withdraw", {"note": "press sold"}, If_Match="*")
    assert plant.get(f"/v1/work-orders/{order['id']}")["state"] == "withdrawn"
    answer = plant.close(task=task, hours=HOURS_NOW, element={"lot": "L-2"})
    assert (answer["task"], answer["work_order"]) == (task, order["id"])
    settled = plant.get(f"/v1/work-orders/{order['id']}")
    assert (settled["state"], settled["tasks"][0]["state"]) == ("done", "done")
    (fitted,) = plant.holds_now("installations", position=RETURN, removed_at=None)
    assert (fitted["lot"], fitted["fitted_at"]) == ("L-2", plant.now)


def test_a_close_out_for_a_withdrawn_order_takes_back_what_a_pass_raised_meanwhile(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/withdraw", {"note": "not now"}, If_Match="*")
    plant.run_pass()
    again = plant.order_of(RETURN)
    assert again["id"] != order["id"]
    plant.close(task=order["tasks"][0]["id"], hours=HOURS_NOW)
    assert plant.orders(position=RETURN) == []
    assert plant.get(f"/v1/work-orders/{again['id']}")["state"] == "withdrawn"


def test_a_change_told_days_later_counts_from_the_day_it_was_done(plant: RunningPlant) -> None:
    done_at = plant.now - timedelta(days=2)
    answer = plant.close(position=RETURN, at=iso(done_at), hours=HOURS_NOW - 16)
    (fitted,) = plant.holds_now("installations", position=RETURN, removed_at=None)
    assert (fitted["fitted_at"], fitted["recorded_at"]) == (done_at, plant.now)
    assert datetime.fromisoformat(answer["at"]) == done_at
    assert datetime.fromisoformat(answer["recorded_at"]) == plant.now
    assert answer["next_due"]["part_number"] == "EL-10"


def test_the_first_element_of_a_position_of_which_nothing_was_known(plant: RunningPlant) -> None:
    answer = plant.close(position=UNKNOWN, element={"lot": "X-1"})
    assert answer["next_due"]["part_number"] == "EL-25"
    assert [note["code"] for note in answer["next_due"]["diagnoses"]] == []
    assert plant.orders(position=UNKNOWN) == []  # nothing is left to look at
    assert plant.on_hand("EL-25") == 0


def test_a_job_of_an_unplanned_kind_is_named_by_its_kind(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, kind="inspect", note="looked at the indicator")
    (task,) = plant.rows("tasks", id=answer["task"])
    assert (task["kind"], task["state"]) == ("inspect", "done")
    assert plant.order_of(RETURN)["tasks"][0]["kind"] == "change_element"  # the change is still to be done
    (fitted,) = plant.holds_now("installations", position=RETURN, removed_at=None)
    assert fitted["lot"] == "L-OLD"


def test_a_look_without_a_change_does_not_close_the_change_that_is_planned(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    answer = plant.close(position=RETURN, element_changed=False, note="only looked at")
    assert answer["task"] != order["tasks"][0]["id"]
    assert plant.order_of(RETURN)["id"] == order["id"]


def test_two_jobs_told_at_the_same_minute_keep_the_oil_of_both(plant: RunningPlant) -> None:
    oil = [{"fluid": "OIL-46", "volume": {"value": 4, "unit": "L"}}]
    plant.close(position=RETURN, hours=HOURS_NOW, oil=oil)
    plant.close(position=STRAINER, hours=HOURS_NOW, oil=oil)
    assert sum(row["volume_L"] for row in plant.holds_now("top_ups", system="PRESS")) == 8.0
    moved = sum(row["quantity"] * row["container_L"] for row in plant.rows("oil_movements"))
    assert abs(moved + 8.0) < 1e-9


def test_what_was_fitted_during_an_inspection_is_on_record(plant: RunningPlant) -> None:
    answer = plant.close(task=plant.task_of(UNKNOWN)["id"], element={"lot": "X-1"})
    (fitted,) = plant.holds_now("installations", position=UNKNOWN, removed_at=None)
    assert (fitted["part_number"], fitted["lot"]) == ("EL-25", "X-1")
    assert answer["next_due"]["part_number"] == "EL-25"


def test_a_withdrawn_order_still_shows_what_it_was_for(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/withdraw", {"note": "press sold"}, If_Match="*")
    shown = plant.get(f"/v1/work-orders/{order['id']}")
    assert [(task["position"], task["state"]) for task in shown["tasks"]] == [(RETURN, "withdrawn")]
    assert plant.orders(position=RETURN, state="withdrawn") == [shown]


def test_a_strainer_that_cannot_be_cleaned_is_a_new_one(plant: RunningPlant) -> None:
    once = small_plant().changed("element_types", "part_number", "STR-1", cleanable="no")
    shelf = {"part_number": "STR-1", "store": "MAIN", "on_hand": 1, "counted_at": moment(plant.now, 1)}
    plant.take_in(once.with_rows("stock", shelf))
    plant.run_pass()
    assert "STR-1" in [pick["part_number"] for pick in plant.task_of(STRAINER)["picks"]]
    plant.close(position=STRAINER, hours=HOURS_NOW)
    (fitted,) = plant.holds_now("installations", position=STRAINER, removed_at=None)
    assert (fitted["lot"], fitted["serial"], fitted["cleanings"]) == (None, None, None)
    assert plant.on_hand("STR-1") == 0
