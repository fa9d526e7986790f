"""Corrections under a later change, corrections of what never happened, and two jobs told at one moment."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.flow.command_line import said_by
from tests.flow.corrections import Told, as_of, assert_sound, correct, facts_now, moved
from tests.flow.running_plant import RunningPlant, iso, oil, warm
from tests.flow.small_folder import HOURS_NOW, RETURN, SIDE_A, STRAINER, small_plant

pytestmark = pytest.mark.one_database_is_enough


def _two_changes(plant: RunningPlant) -> tuple[int, int]:
    first = plant.close(position=RETURN, hours=HOURS_NOW, element={"lot": "L-1"}, oil=[oil("OIL-46", 4)])
    plant.later(days=10)
    second = plant.close(position=RETURN, hours=HOURS_NOW + 80, element={"lot": "L-2"})
    plant.later(days=1)
    return first["id"], second["id"]


def _stays(plant: RunningPlant, position: str = RETURN) -> list[dict[str, Any]]:
    return sorted(plant.holds_now("installations", position=position), key=lambda row: row["fitted_at"])


def test_a_correction_that_fits_between_its_neighbours_leaves_the_later_change_alone(plant: RunningPlant) -> None:
    first, second = _two_changes(plant)
    at = datetime.fromisoformat(plant.get(f"/v1/close-outs/{first}")["at"]) + timedelta(days=1)
    last_before = _stays(plant)[-1]
    correct(plant, first, at=iso(at), hours=HOURS_NOW + 8, element={"lot": "L-2"}, oil=[])
    oldest, middle, last = _stays(plant)[-3:]
    assert (oldest["removed_at"], oldest["removed_hours"]) == (at, HOURS_NOW + 8)
    assert (middle["fitted_at"], middle["fitted_hours"], middle["lot"]) == (at, HOURS_NOW + 8, "L-2")
    assert (middle["removed_at"], middle["removed_hours"]) == (last["fitted_at"], HOURS_NOW + 80)
    assert last == last_before
    assert plant.on_hand("EL-10") == 2
    assert (plant.rows("stock_discrepancies"), plant.holds_now("top_ups")) == ([], [])
    assert plant.get(f"/v1/close-outs/{second}")["corrections"] == []
    assert_sound(plant)


@pytest.mark.parametrize(
    ("wrong", "status"),
    [
        ({"hours": HOURS_NOW + 90}, 422),
        ({"undo": True}, 409),
        ({"element_changed": False, "element": None}, 409),
        ({"at": "after the second"}, 422),
    ],
    ids=["hours above", "never happened", "no change", "after"],
)
def test_what_a_later_change_rules_out_is_refused_by_its_name(plant: RunningPlant, wrong: Told, status: int) -> None:
    first, second = _two_changes(plant)
    if "at" in wrong:
        wrong = {"at": iso(plant.now - timedelta(hours=1))}
    before = plant.dump()
    problem = correct(plant, first, expect=status, **wrong)
    assert f"close-out {second}" in problem["detail"]
    assert plant.dump() == before


def test_the_later_change_may_not_come_before_the_earlier_one(plant: RunningPlant) -> None:
    first, second = _two_changes(plant)
    before = plant.dump()
    too_early = iso(plant.now - timedelta(days=12))
    problem = correct(plant, second, expect=422, at=too_early, hours=None)
    assert [error["member"] for error in problem["errors"]] == ["at"]
    assert f"close-out {first}" in problem["detail"]
    assert plant.dump() == before


def test_a_change_that_stood_in_the_way_may_be_taken_back_first(plant: RunningPlant) -> None:
    before = (facts_now(plant), plant.on_hand("EL-10"))
    first, second = _two_changes(plant)
    correct(plant, second, undo=True)
    correct(plant, first, undo=True)
    assert (facts_now(plant), plant.on_hand("EL-10")) == before
    assert moved(plant) == {"parts": {}, "oil": {}, "missing": {}}
    assert_sound(plant)


def test_a_job_that_never_happened_leaves_the_plant_as_it_was(plant: RunningPlant) -> None:
    before, due = facts_now(plant), plant.due(RETURN)["due_at"]
    told_at = plant.now
    told: Told = {"hours": HOURS_NOW, "dp_after": warm(0.45), "oil": [oil("OIL-46", 4)], "condition": "torn"}
    answer = plant.close(position=RETURN, element={"lot": "L-1"}, **told)
    then = as_of(plant, told_at)
    plant.later(hours=2)
    plant.post(f"/v1/close-outs/{answer['id']}/readings", {"dp_before": warm(1.6)}, expect=201)
    plant.later(hours=2)
    undone = correct(plant, answer["id"], undo=True, why="it was the other press")
    assert facts_now(plant) == before
    assert moved(plant) == {"parts": {}, "oil": {}, "missing": {}}
    assert (undone["undone_at"], undone["corrections"][0]["undone"]) == (undone["corrections"][0]["at"], True)
    assert undone["next_due"]["trigger"] == "pressure"
    again = datetime.fromisoformat(undone["next_due"]["due_at"])
    assert abs(again - datetime.fromisoformat(due)) < timedelta(days=2)
    assert as_of(plant, told_at) == then
    # its order had ended with it: the next pass, which the correction brings, has raised the work anew
    assert plant.get(f"/v1/work-orders/{answer['work_order']}")["state"] == "withdrawn"
    assert plant.task_of(RETURN)["id"] != answer["task"]
    assert_sound(plant)


def test_what_was_taken_back_is_taken_back_once_and_corrected_no_more(plant: RunningPlant) -> None:
    answer = plant.close(position=RETURN, hours=HOURS_NOW)
    plant.later(hours=2)
    correct(plant, answer["id"], undo=True)
    before = plant.dump()
    correct(plant, answer["id"], expect=200, undo=True)
    correct(plant, answer["id"], expect=409, hours=HOURS_NOW + 1)
    plant.post(f"/v1/close-outs/{answer['id']}/readings", {"dp_after": warm(0.4)}, expect=409)
    assert plant.dump() == before


def test_in_an_order_that_is_open_the_task_is_open_again_and_can_be_closed_again(plant: RunningPlant) -> None:
    plant.take_in(small_plant().changed("positions", "position", RETURN, max_hours__h=1240))
    plant.run_pass()
    order = plant.order_of(STRAINER)
    assert len(order["tasks"]) == 2
    plant.post(f"/v1/work-orders/{order['id']}/issue")
    task = plant.task_of(RETURN)["id"]
    first = plant.close(task=task, hours=HOURS_NOW)
    plant.later(hours=1)
    correct(plant, first["id"], undo=True)
    assert plant.task_of(RETURN)["id"] == task
    plant.later(hours=1)
    second = plant.close(task=task, hours=HOURS_NOW)
    assert (second["task"], second["id"] != first["id"]) == (task, True)
    assert "was closed by close-out 2" in plant.close(expect=409, task=task)["detail"]
    assert_sound(plant)


def test_an_unplanned_change_that_never_happened_leaves_no_work_behind(plant: RunningPlant) -> None:
    answer = plant.close(position=SIDE_A, element={"lot": "L-2"})
    plant.later(hours=1)
    correct(plant, answer["id"], undo=True)
    assert plant.orders(position=SIDE_A) == []
    assert plant.on_hand("EL-10") == 4
    plant.later(hours=1)
    assert plant.close(position=SIDE_A, element={"lot": "L-2"})["id"] != answer["id"]
    assert_sound(plant)


def test_a_look_that_never_happened_is_asked_for_again(plant: RunningPlant) -> None:
    told: Told = {"element": {"part_number": "EL-25", "lot": "X-1"}, "confirm_mismatch": {"reason": "night shift"}}
    plant.close(position=RETURN, hours=HOURS_NOW, **told)
    plant.later(hours=1)
    look = plant.close(task=plant.task_of(RETURN, "inspect")["id"])
    plant.later(hours=1)
    correct(plant, look["id"], undo=True)
    assert plant.task_of(RETURN, "inspect")["state"] == "open"


def test_one_reading_that_two_jobs_told_stands_as_long_as_one_of_them_says_it(plant: RunningPlant) -> None:
    one = plant.close(position=RETURN, hours=HOURS_NOW, element={"lot": "L-1"}, oil=[oil("OIL-46", 3)])["id"]
    two = plant.close(position=STRAINER, hours=HOURS_NOW, oil=[oil("OIL-46", 2)])["id"]
    at = plant.now
    plant.later(days=1)
    for wrong in (HOURS_NOW + 4, HOURS_NOW - 4):
        assert f"close-out {two}" in correct(plant, one, expect=422, hours=wrong)["detail"]
    correct(plant, one, hours=None, oil=[])
    (kept,) = plant.holds_now("meter_readings", system="PRESS", at=at)
    assert (kept["hours"], kept["source"]) == (HOURS_NOW, f"close-out {two}")
    assert [row["volume_L"] for row in plant.holds_now("top_ups")] == [2.0]
    correct(plant, two, hours=HOURS_NOW + 4)
    correct(plant, one, hours=HOURS_NOW + 4)
    (kept,) = plant.holds_now("meter_readings", system="PRESS", at=at)
    assert kept["hours"] == HOURS_NOW + 4
    assert_sound(plant)


def test_a_reading_that_the_close_out_had_replaced_holds_again(plant: RunningPlant) -> None:
    at = plant.now - timedelta(days=1)
    (imported,) = plant.holds_now("meter_readings", system="PRESS", at=at)
    answer = plant.close(position=STRAINER, kind="inspect", at=iso(at), hours=imported["hours"])
    plant.later(hours=1)
    correct(plant, answer["id"], undo=True)
    (kept,) = plant.holds_now("meter_readings", system="PRESS", at=at)
    assert kept == imported


def test_what_was_corrected_can_be_exported_and_imported_again(plant: RunningPlant) -> None:
    """contract.md: import(export(x)) changes nothing."""
    first, second = _two_changes(plant)
    correct(plant, first, at=iso(plant.now - timedelta(days=9)), element={"lot": "L-2"})
    correct(plant, second, undo=True)
    target = plant.path.with_name("written.zip")
    said_by(plant, "export", str(target), as_json=False)
    outcome = said_by(plant, "import", str(target), "--json")
    assert {name for counts in outcome["tables"].values() for name, n in counts.items() if n} == {"unchanged"}
