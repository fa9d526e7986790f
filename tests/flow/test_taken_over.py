"""Work that another system takes over: passes and persons leave it alone until it is closed or given back."""

from typing import Any

import httpx
import pytest

from scheduler.vocabulary import Scope
from tests.flow.running_plant import RunningPlant
from tests.flow.small_folder import HOURS_NOW, RETURN, STRAINER, small_plant

REF = "WO-2026-0417"


@pytest.fixture
def other_system(plant: RunningPlant) -> httpx.Client:
    return plant.client_with(Scope.INTEGRATE, Scope.READ, name="maintenance system")


def issued(plant: RunningPlant, position: str) -> dict[str, Any]:
    order = plant.order_of(position)
    return dict(plant.post(f"/v1/work-orders/{order['id']}/issue"))


def take_over(client: httpx.Client, order: dict[str, Any], ref: str = REF, **headers: str) -> httpx.Response:
    return client.post(f"/v1/work-orders/{order['id']}/acknowledge", json={"external_ref": ref}, headers=headers)


def give_back(client: httpx.Client, order: dict[str, Any], ref: str = REF, **more: str) -> httpx.Response:
    return client.post(f"/v1/work-orders/{order['id']}/give-back", json={"external_ref": ref} | more)


def test_an_order_that_was_taken_over_says_who_has_it_and_under_which_code(
    plant: RunningPlant, other_system: httpx.Client
) -> None:
    order = issued(plant, STRAINER)
    answer = take_over(other_system, order)
    assert answer.status_code == 200
    taken = answer.json()
    assert (taken["acknowledged_by"], taken["external_ref"]) == ("maintenance system", REF)
    assert (taken["state"], taken["version"]) == ("issued", order["version"] + 1)
    assert answer.headers["ETag"].removesuffix('-gzip"').strip('"') == str(taken["version"])
    assert [found["id"] for found in plant.orders(external_ref=REF)] == [order["id"]]
    assert plant.orders(external_ref="WO-0") == []
    last = plant.get(f"/v1/work-orders/{order['id']}/history")["items"][-1]
    assert (last["step"], last["by"], last["note"]) == ("acknowledged", "maintenance system", REF)


def test_saying_so_again_changes_nothing_and_another_code_is_told_who_has_it(
    plant: RunningPlant, other_system: httpx.Client
) -> None:
    order = issued(plant, STRAINER)
    version = f'"{order["version"]}"'
    taken = take_over(other_system, order, **{"If-Match": version}).json()
    before = plant.dump("work_orders", "tasks", "order_history")
    assert take_over(other_system, order).json() == taken
    assert take_over(other_system, order, **{"If-Match": version}).json() == taken  # RFC 9110, 13.1.1: done already
    refused = take_over(other_system, order, "WO-2")
    assert refused.status_code == 409
    assert (refused.json()["acknowledged_by"], refused.json()["external_ref"]) == ("maintenance system", REF)
    assert plant.dump("work_orders", "tasks", "order_history") == before


def test_only_issued_work_of_the_version_that_was_read_is_taken_over(
    plant: RunningPlant, other_system: httpx.Client
) -> None:
    draft = plant.order_of(STRAINER)
    assert take_over(other_system, draft).json()["state"] == "draft"
    order = issued(plant, STRAINER)
    assert take_over(other_system, order, **{"If-Match": f'"{draft["version"]}"'}).status_code == 412
    plant.post(f"/v1/work-orders/{order['id']}/start")
    assert take_over(other_system, order).json()["state"] == "underway"
    assert other_system.post("/v1/work-orders/9999/acknowledge", json={"external_ref": REF}).status_code == 404


def test_a_pass_neither_changes_it_nor_plans_its_work_again_nor_proposes_anything(
    plant: RunningPlant, other_system: httpx.Client
) -> None:
    order = issued(plant, STRAINER)
    taken = take_over(other_system, order).json()
    plant.take_in(small_plant().changed("positions", "position", STRAINER, max_hours__h=9000))  # its reason is gone
    plant.run_pass()
    assert plant.get(f"/v1/work-orders/{order['id']}") == taken
    plant.take_in(small_plant().changed("positions", "position", STRAINER, max_hours__h=10))  # long overdue
    plant.later(days=2)
    plant.run_pass()
    stands = plant.get(f"/v1/work-orders/{order['id']}")
    assert (stands["version"], stands["planned_for"]) == (taken["version"], taken["planned_for"])
    assert [task["proposal"] for task in stands["tasks"]] == [None] * len(stands["tasks"])
    assert [found["id"] for found in plant.orders(position=STRAINER)] == [order["id"]]


def test_a_proposal_that_stood_is_not_for_a_person_here_any_more(
    plant: RunningPlant, other_system: httpx.Client
) -> None:
    order = issued(plant, STRAINER)
    plant.take_in(small_plant().changed("positions", "position", STRAINER, max_hours__h=9000))
    plant.run_pass()
    assert plant.get(f"/v1/work-orders/{order['id']}")["tasks"][0]["proposal"] is not None
    assert take_over(other_system, order).json()["tasks"][0]["proposal"] is None
    give_back(other_system, order)
    plant.run_pass()
    assert plant.get(f"/v1/work-orders/{order['id']}")["tasks"][0]["proposal"] is not None


def test_what_is_reserved_for_it_stays_reserved(plant: RunningPlant, other_system: httpx.Client) -> None:
    order = issued(plant, RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/reserve", {"as_far_as_possible": True})
    held = plant.rows("picks", task=order["tasks"][0]["id"])
    assert [row for row in held if row["reserved_at"] is not None]
    take_over(other_system, order)
    plant.later(days=1)
    plant.run_pass()
    assert plant.rows("picks", task=order["tasks"][0]["id"]) == held


VERBS: dict[str, dict[str, Any] | None] = {
    "start": None,
    "hold": {"note": "no crane"},
    "withdraw": {"note": "not wanted"},
    "not-done": {"task": 0, "why": "no time"},
    "accept-proposal": None,
    "reserve": {"as_far_as_possible": True},
    "release-kit": None,
}


@pytest.mark.parametrize("verb", VERBS)
def test_a_person_is_told_who_has_it(plant: RunningPlant, other_system: httpx.Client, verb: str) -> None:
    order = issued(plant, RETURN)
    take_over(other_system, order)
    before = plant.dump("work_orders", "tasks", "picks", "order_history")
    body = VERBS[verb]
    if body is not None and "task" in body:
        body = body | {"task": order["tasks"][0]["id"]}
    refused = plant.post(f"/v1/work-orders/{order['id']}/{verb}", body, expect=409, If_Match="*")
    assert "maintenance system" in refused["detail"]
    assert REF in refused["detail"]
    assert plant.dump("work_orders", "tasks", "picks", "order_history") == before
    plant.post(f"/v1/work-orders/{order['id']}/issue")  # an answer that was lost is asked for again


def test_it_is_closed_out_here_as_ever_and_then_there_is_nothing_to_give_back(
    plant: RunningPlant, other_system: httpx.Client
) -> None:
    order = issued(plant, RETURN)
    take_over(other_system, order)
    plant.close(task=order["tasks"][0]["id"], hours=HOURS_NOW)
    done = plant.get(f"/v1/work-orders/{order['id']}")
    assert (done["state"], done["external_ref"]) == ("done", REF)
    assert give_back(other_system, order).status_code == 409


def test_given_back_it_is_ours_again(plant: RunningPlant, other_system: httpx.Client) -> None:
    order = issued(plant, STRAINER)
    take_over(other_system, order)
    assert give_back(other_system, order, "WO-2").status_code == 409
    back = give_back(other_system, order, why="no crew").json()
    assert (back["state"], back["acknowledged_at"], back["external_ref"]) == ("issued", None, None)
    assert give_back(other_system, order).json() == back
    last = plant.get(f"/v1/work-orders/{order['id']}/history")["items"][-1]
    assert (last["step"], last["note"]) == ("given_back", f"{REF}: no crew")
    plant.post(f"/v1/work-orders/{order['id']}/start")


def test_the_same_idempotency_key_gets_the_same_answer(plant: RunningPlant, other_system: httpx.Client) -> None:
    order = issued(plant, STRAINER)
    key = {"Idempotency-Key": "take 1"}
    first = take_over(other_system, order, **key)
    give_back(other_system, order)
    again = take_over(other_system, order, **key)
    assert (again.json(), again.headers["ETag"]) == (first.json(), first.headers["ETag"])
    assert plant.get(f"/v1/work-orders/{order['id']}")["acknowledged_by"] is None
