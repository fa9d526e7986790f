"""What became of a work order is kept step by step, and a task may be left undone with a reason."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from tests.flow.running_plant import RunningPlant, copied, running
from tests.flow.small_folder import BREATHER, HOURS_NOW, RETURN, STRAINER, small_plant

pytestmark = pytest.mark.one_database_is_enough


@pytest.fixture
def plant(planned_file: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned_file, tmp_path / "plant.sqlite")) as served:
        yield served


def steps(plant: RunningPlant, order: int) -> list[str]:
    return [entry["step"] for entry in plant.get(f"/v1/work-orders/{order}/history")["items"]]


def say(plant: RunningPlant, order: int, verb: str, body: Any = None, expect: int = 200) -> Any:
    return plant.post(f"/v1/work-orders/{order}/{verb}", body, expect=expect)


def test_every_step_is_kept_with_who_when_and_why(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    for verb, body in (("issue", None), ("hold", {"note": "crane in repair"}), ("release", None), ("start", None)):
        plant.later(minutes=1)
        say(plant, order, verb, body)
    for task in plant.get(f"/v1/work-orders/{order}")["tasks"]:
        plant.close(task=task["id"])
    history = plant.get(f"/v1/work-orders/{order}/history")["items"]
    done = [entry["step"] for entry in history]
    assert done[:5] == ["raised", "issued", "held", "released", "started"]
    assert set(done[5:-1]) == {"task_done"}
    assert done[-1] == "done"
    assert history[2]["note"] == "crane in repair"
    assert all(entry["at"].endswith("+01:00") for entry in history)  # the mill's zone, in March
    assert [entry["at"] for entry in history] == sorted(entry["at"] for entry in history)
    assert len({entry["by"] for entry in history[1:]}) == 1
    assert history[5]["note"] == "close-out 1"


def test_a_verb_said_again_and_a_pass_that_changes_nothing_leave_no_trace(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    say(plant, order, "issue")
    before = plant.dump("order_history")
    say(plant, order, "issue")
    plant.run_pass()
    assert plant.dump("order_history") == before


def test_a_task_left_undone_leaves_its_order_to_the_others_and_is_raised_anew(plant: RunningPlant) -> None:
    plant.take_in(small_plant().changed("positions", "position", BREATHER, max_age__d=348))
    plant.run_pass()
    order = plant.order_of(STRAINER)
    task_at = {task["position"]: task["id"] for task in order["tasks"]}
    assert set(task_at) == {STRAINER, BREATHER}
    say(plant, order["id"], "issue")
    left = say(plant, order["id"], "not-done", {"task": task_at[STRAINER], "why": "valve will not shut"})
    assert left["state"] == "issued"
    assert {task["position"]: task["state"] for task in left["tasks"]} == {STRAINER: "not_done", BREATHER: "open"}
    plant.run_pass()
    again = plant.order_of(STRAINER)
    assert again["id"] != order["id"]
    plant.close(task=task_at[BREATHER])
    assert plant.get(f"/v1/work-orders/{order['id']}")["state"] == "done"
    noted = [each for each in plant.get(f"/v1/work-orders/{order['id']}/history")["items"] if each["task"]]
    assert (noted[0]["step"], noted[0]["note"]) == ("task_not_done", "valve will not shut")


def test_an_order_of_which_nothing_was_done_is_withdrawn_and_the_repeat_changes_nothing(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    say(plant, order["id"], "issue")
    for task in order["tasks"]:
        left = say(plant, order["id"], "not-done", {"task": task["id"], "why": "no crane"})
    assert left["state"] == "withdrawn"
    before = plant.dump("work_orders", "tasks", "order_history")
    say(plant, order["id"], "not-done", {"task": order["tasks"][0]["id"], "why": "no crane"})
    assert plant.dump("work_orders", "tasks", "order_history") == before


def test_a_task_left_undone_may_be_told_as_done_after_all(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    say(plant, order["id"], "issue")
    task = next(task for task in order["tasks"] if task["position"] == RETURN)
    say(plant, order["id"], "not-done", {"task": task["id"], "why": "no crane"})
    plant.close(task=task["id"], hours=HOURS_NOW)
    shown = plant.get(f"/v1/work-orders/{order['id']}")
    assert next(each for each in shown["tasks"] if each["id"] == task["id"])["state"] == "done"


@pytest.mark.parametrize(
    ("of_order", "of_task", "status", "says"),
    [
        (0, 999, 404, "has no task 999"),
        (0, 0, 409, "an open task of issued work can be left undone"),
    ],
)
def test_what_cannot_be_left_undone_is_refused(
    plant: RunningPlant, of_order: int, of_task: int, status: int, says: str
) -> None:
    order = plant.order_of(RETURN)
    task = of_task or order["tasks"][of_order]["id"]
    assert says in say(plant, order["id"], "not-done", {"task": task, "why": "no crane"}, expect=status)["detail"]
    say(plant, order["id"], "not-done", {"task": order["tasks"][0]["id"]}, expect=422)


def test_only_who_works_may_leave_a_task_undone(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    say(plant, order["id"], "issue")
    planner = plant.client_with(Scope.READ, Scope.PLAN, name="planner")
    body = {"task": order["tasks"][0]["id"], "why": "no crane"}
    assert planner.post(f"/v1/work-orders/{order['id']}/not-done", json=body).status_code == 403


def test_there_is_no_history_of_an_order_that_is_not_there(plant: RunningPlant) -> None:
    plant.post("/v1/work-orders/999/not-done", {"task": 1, "why": "no crane"}, expect=404)
    assert plant.client.get("/v1/work-orders/999/history").status_code == 404


def test_the_steps_of_a_job_that_never_happened_stay(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)["id"]
    say(plant, order, "issue")
    task = plant.task_of(RETURN)["id"]
    closed = plant.close(task=task, hours=HOURS_NOW)
    plant.later(minutes=5)
    plant.post(f"/v1/close-outs/{closed['id']}/corrections", {"why": "another press", "undo": True}, expect=201)
    assert "task_done" in steps(plant, order)
    assert steps(plant, order)[-1] in {"task_not_done", "task_open_again", "withdrawn"}
