"""Drafts follow the plant; issued work is only spoken about; a person's verbs say what they found in the way.

contract.md, "Facts and refusals": a pass may change or withdraw `draft` work only; for `issued` work it proposes a
change that a person accepts; work `underway` is never touched.
"""

from datetime import datetime, timedelta
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from tests.flow.running_plant import RunningPlant, iso, warm
from tests.flow.small_folder import BREATHER, HOURS_NOW, RETURN, STRAINER, SmallPlant, moment, small_plant


def _interval_raised(plant: RunningPlant) -> None:
    """The strainer is not due any more: the plant allows it more hours."""
    plant.take_in(small_plant().changed("positions", "position", STRAINER, max_hours__h=9000))
    plant.run_pass()


def _risen(plant: RunningPlant, dp_bar: float = 2.3) -> None:
    """Two readings today bring the return element's change nearer."""
    rows: list[dict[str, Any]] = [
        {
            "position": RETURN,
            "at": moment(plant.now, days),
            "dp [bar]": dp_bar - days,
            "flow [L/min]": 180,
            "oil_temperature [degC]": 50,
        }
        for days in (0.2, 0.1)
    ]
    plant.take_in(SmallPlant(plant.now, {"dp_readings": rows}))
    plant.run_pass()


def _issued(plant: RunningPlant, position: str) -> dict[str, Any]:
    order = plant.order_of(position)
    issued = plant.post(f"/v1/work-orders/{order['id']}/issue")
    assert issued["state"] == "issued"
    assert issued["issued_by"] == plant.get("/v1/me")["name"]
    return dict(issued)


def _now_is(plant: RunningPlant, order: dict[str, Any]) -> dict[str, Any]:
    return dict(plant.get(f"/v1/work-orders/{order['id']}"))


def _version_of(plant: RunningPlant, order: dict[str, Any]) -> str:
    return f'"{_now_is(plant, order)["version"]}"'


def test_a_draft_is_withdrawn_when_its_reason_is_gone(plant: RunningPlant) -> None:
    order = plant.order_of(STRAINER)
    _interval_raised(plant)
    gone = _now_is(plant, order)
    assert (gone["state"], gone["version"]) == ("withdrawn", order["version"] + 1)
    assert plant.orders(position=STRAINER) == []
    assert plant.rows("picks", task=order["tasks"][0]["id"]) != []  # what it would have needed stays on record


def test_a_draft_moves_to_the_earlier_date(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    _risen(plant)
    moved = plant.order_of(RETURN)
    assert datetime.fromisoformat(moved["planned_for"]) < datetime.fromisoformat(order["planned_for"])
    (task,) = [task for task in moved["tasks"] if task["position"] == RETURN]
    assert task["id"] == order["tasks"][0]["id"]  # the same task, moved


def test_issued_work_is_left_alone_and_a_proposal_is_made(plant: RunningPlant) -> None:
    order = _issued(plant, STRAINER)
    _interval_raised(plant)
    stands = _now_is(plant, order)
    assert (stands["state"], stands["planned_for"]) == ("issued", order["planned_for"])
    assert stands["tasks"][0]["proposal"] == {"change": "withdraw", "to": None}


def test_accepting_the_withdrawal_withdraws(plant: RunningPlant) -> None:
    order = _issued(plant, STRAINER)
    _interval_raised(plant)
    plant.post(f"/v1/work-orders/{order['id']}/accept-proposal", If_Match=_version_of(plant, order))
    assert _now_is(plant, order)["state"] == "withdrawn"
    plant.run_pass()
    assert plant.orders(position=STRAINER) == []


def test_accepting_the_earlier_date_moves_the_work(plant: RunningPlant) -> None:
    order = _issued(plant, RETURN)
    _risen(plant)
    proposal = _now_is(plant, order)["tasks"][0]["proposal"]
    assert proposal["change"] == "move"
    assert datetime.fromisoformat(proposal["to"]) < datetime.fromisoformat(order["planned_for"])
    moved = plant.post(f"/v1/work-orders/{order['id']}/accept-proposal", If_Match=_version_of(plant, order))
    assert (moved["planned_for"], moved["state"]) == (proposal["to"], "issued")
    assert moved["tasks"][0]["proposal"] is None
    plant.run_pass()
    assert _now_is(plant, order)["tasks"][0]["proposal"] is None  # nothing is left to propose


def test_a_proposal_is_taken_back_when_the_reason_comes_back(plant: RunningPlant) -> None:
    order = _issued(plant, STRAINER)
    _interval_raised(plant)
    plant.take_in(small_plant())
    plant.run_pass()
    assert _now_is(plant, order)["tasks"][0]["proposal"] is None


def test_there_is_nothing_to_accept_without_a_proposal(plant: RunningPlant) -> None:
    order = _issued(plant, RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/accept-proposal", expect=409, If_Match="*")


def test_work_underway_is_never_touched(plant: RunningPlant) -> None:
    order = _issued(plant, STRAINER)
    started = plant.post(f"/v1/work-orders/{order['id']}/start")
    _interval_raised(plant)
    assert _now_is(plant, order) == started


def test_held_work_keeps_its_reason_and_comes_back_by_release(plant: RunningPlant) -> None:
    order = _issued(plant, RETURN)
    held = plant.post(f"/v1/work-orders/{order['id']}/hold", {"note": "crane in repair"})
    assert (held["state"], held["note"]) == ("held", "crane in repair")
    plant.run_pass()
    assert _now_is(plant, order)["state"] == "held"
    plant.post(f"/v1/work-orders/{order['id']}/start", expect=409)
    released = plant.post(f"/v1/work-orders/{order['id']}/release")
    assert released["state"] == "issued"


def test_held_work_may_be_closed_all_the_same(plant: RunningPlant) -> None:
    order = _issued(plant, RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/hold", {"note": "crane in repair"})
    plant.close(task=order["tasks"][0]["id"], hours=HOURS_NOW)
    assert _now_is(plant, order)["state"] == "done"


def test_a_hold_without_a_reason_is_refused(plant: RunningPlant) -> None:
    order = _issued(plant, RETURN)
    plant.post(f"/v1/work-orders/{order['id']}/hold", {}, expect=422)
    assert _now_is(plant, order) == order


def test_a_verb_in_the_wrong_state_says_which_state_it_needs(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    problem = plant.post(f"/v1/work-orders/{order['id']}/start", expect=409)
    assert problem["state"] == "draft"
    assert "issued" in problem["detail"]
    plant.post("/v1/work-orders/999/start", expect=404)


def test_a_verb_said_again_changes_nothing(plant: RunningPlant) -> None:
    order = _issued(plant, RETURN)
    assert plant.post(f"/v1/work-orders/{order['id']}/issue") == order


def test_a_change_to_another_version_is_refused(plant: RunningPlant) -> None:
    order = plant.order_of(RETURN)
    answer = plant.client.get(f"/v1/work-orders/{order['id']}")
    etag = answer.headers["ETag"]
    assert etag.startswith(f'"{order["version"]}-')
    plant.post(f"/v1/work-orders/{order['id']}/issue", If_Match=etag)
    before = plant.dump()
    problem = plant.post(f"/v1/work-orders/{order['id']}/hold", {"note": "late"}, expect=412, If_Match=etag)
    assert problem["type"] == "/problems/changed-meanwhile"
    assert plant.dump() == before


@pytest.mark.parametrize(
    ("verb", "body", "needs"),
    [("issue", None, Scope.PLAN), ("withdraw", {"note": "not needed"}, Scope.PLAN), ("start", None, Scope.WORK)],
)
def test_a_verb_needs_its_scope(plant: RunningPlant, verb: str, body: Any, needs: Scope) -> None:
    order = plant.order_of(RETURN) if verb == "issue" else _issued(plant, RETURN)
    path = f"/v1/work-orders/{order['id']}/{verb}"
    without = [scope for scope in Scope if scope not in (needs, Scope.ADMINISTER)]
    assert plant.client_with(*without, name="other").post(path, json=body).status_code == 403
    right = plant.client_with(Scope.READ, needs, name="right")
    assert right.post(path, json=body, headers={"If-Match": "*"}).status_code == 200


def test_a_withdrawn_order_whose_reason_stands_is_raised_anew(plant: RunningPlant) -> None:
    order = plant.order_of(STRAINER)
    plant.post(f"/v1/work-orders/{order['id']}/withdraw", {"note": "no people"}, If_Match="*")
    plant.run_pass()
    again = plant.order_of(STRAINER)
    assert (again["id"] != order["id"], again["state"]) == (True, "draft")


def test_a_partly_done_order_whose_rest_is_not_needed_is_done(plant: RunningPlant) -> None:
    plant.take_in(small_plant().changed("positions", "position", BREATHER, max_age__d=348))
    plant.run_pass()
    order = plant.order_of(STRAINER)
    assert {task["position"] for task in order["tasks"]} == {STRAINER, BREATHER}
    plant.close(position=BREATHER)
    _interval_raised(plant)
    settled = _now_is(plant, order)
    assert settled["state"] == "done"
    assert [(task["position"], task["state"]) for task in settled["tasks"]] == [(BREATHER, "done")]


def test_the_plants_setting_issues_near_work_by_itself(plant: RunningPlant) -> None:
    plant.take_in(small_plant().changed("plants", "plant", "MILL", issue_ahead__d=14))
    plant.run_pass()
    states = {code: plant.order_of(code)["state"] for code in (STRAINER, RETURN, BREATHER)}
    assert states == {STRAINER: "issued", RETURN: "issued", BREATHER: "draft"}
    assert plant.order_of(STRAINER)["issued_by"] == "plant setting issue_ahead"
    before = plant.dump("work_orders", "tasks", "picks")
    plant.run_pass()
    assert plant.dump("work_orders", "tasks", "picks") == before


def test_without_the_setting_nothing_is_issued(plant: RunningPlant) -> None:
    assert {order["state"] for order in plant.orders()} == {"draft"}


def test_two_passes_raise_no_second_order_for_the_same_work(plant: RunningPlant) -> None:
    _issued(plant, RETURN)
    for _ in range(3):
        plant.later(days=1)
        plant.run_pass()
    assert len(plant.orders(position=RETURN)) == 1
    assert len([row for row in plant.rows("tasks", position=RETURN) if row["state"] == "open"]) == 1


def test_the_cautions_come_first_on_every_card(plant: RunningPlant) -> None:
    answer = plant.close(
        position=RETURN, hours=HOURS_NOW, dp_after=warm(0.4), at=iso(plant.now - timedelta(minutes=1))
    )
    assert answer["cautions"]
    for order in plant.orders():
        assert order["cautions"], order["id"]
