"""What was told with no signal arrives once, in order; what cannot be done waits for a person."""

import random
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from api_schemas.client import NotReached, ProblemRefused
from api_schemas.client.outbox import Deed, Entry, Fate
from api_schemas.client.sync import greet, sync
from tests.client.technician import SERVER, BadNetwork, Network, Technician, answer_lost, busy, cut
from tests.flow.running_plant import RunningPlant
from tests.flow.small_folder import HOURS_NOW, RETURN, SIDE_A, SIDE_B
from tests.how_often import kills
from tests.service.evidence_files import jpeg

BAD_DAYS = kills(1)


def issued(plant: RunningPlant, position: str = RETURN) -> tuple[int, int]:
    """The issued order at the position, and its task there."""
    order = plant.order_of(position)
    if order["state"] == "draft":
        plant.post(f"/v1/work-orders/{order['id']}/issue")
    return order["id"], plant.task_of(position)["id"]


def attached(technician: Technician, close_out: Entry) -> Entry:
    order, file = close_out.told.target or 0, {"file_name": "inlet.jpg", "content": jpeg()}
    return technician.tell(Deed.ATTACH, order, {"shows": "flakes"}, follows=close_out.id, **file)


def test_a_job_is_started_closed_and_shown_in_the_order_in_which_it_was_told(technician: Technician) -> None:
    plant = technician.plant
    order, task = issued(plant)
    technician.tell(Deed.START, order)
    closed = technician.close(order, task, element={"lot": "L-1"}, hours=HOURS_NOW)
    picture = attached(technician, closed)
    done = technician.sync()
    assert (done.sent, done.refused, done.waiting, done.stopped) == ([1, 2, 3], [], [], None)
    (row,) = plant.rows("close_outs")
    assert technician.outbox.entry(closed.id).number == row["id"]
    assert [file["close_out"] for file in plant.rows("evidence_files")] == [row["id"]]
    assert technician.outbox.entry(picture.id).number == plant.rows("evidence_files")[0]["id"]
    assert technician.sync().sent == []


@pytest.mark.parametrize("disturb", [cut, answer_lost])
def test_with_no_signal_everything_waits_and_is_done_once_later(technician: Technician, disturb: Any) -> None:
    order, task = issued(technician.plant)
    technician.close(order, task, element={"lot": "L-1"})
    greeting = greet(technician.client, technician.plant.now)
    technician.network.disturb = disturb
    done = sync(technician.outbox, technician.client, greeting, SERVER, technician.plant.now)
    assert (done.sent, done.waiting) == ([], [1])
    assert done.stopped is not None
    technician.network.disturb = None
    assert technician.sync().sent == [1]
    assert len(technician.plant.rows("close_outs")) == 1
    assert technician.plant.on_hand("EL-10") == 3


@pytest.mark.parametrize("seed", range(BAD_DAYS))
def test_over_a_bad_network_everything_that_was_told_is_done_exactly_once(technician: Technician, seed: int) -> None:
    """Requests and answers are lost at random, proxies and login pages answer; it is synced until all is through."""
    plant, draw = technician.plant, random.Random(seed)  # noqa: S311
    order, task = issued(plant)
    technician.tell(Deed.START, order)
    closed = technician.close(order, task, element={"lot": "L-1"}, note="the return element")
    attached(technician, closed)
    for number, position in enumerate((SIDE_A, SIDE_B, SIDE_A)):
        technician.close_at(position, 30 - number, element={"lot": "L-2"}, note=f"{number}")
    technician.network.disturb = BadNetwork(draw)
    for _ in range(60):
        try:
            technician.sync()
        except (NotReached, ProblemRefused):  # before anything was sent
            continue
        if not technician.outbox.entries(Fate.WAITING):
            break
    assert set(technician.fates().values()) == {Fate.SENT}
    notes = [row["told"].get("note") for row in plant.rows("close_outs")]
    assert sorted(notes) == ["0", "1", "2", "the return element"]
    assert len(plant.rows("evidence_files")) == 1
    lots = [row["lot"] for row in plant.rows("stock_movements", part_number="EL-10")]
    assert sorted(lots) == ["L-1", "L-2", "L-2", "L-2"]
    steps = [entry["step"] for entry in plant.get(f"/v1/work-orders/{order}/history")["items"]]
    assert steps.count("started") == 1


def test_what_somebody_else_closed_meanwhile_waits_for_a_person_and_so_does_its_picture(
    technician: Technician,
) -> None:
    plant = technician.plant
    order, task = issued(plant)
    closed = technician.close(order, task, element={"lot": "L-1"})
    picture = attached(technician, closed)
    other = technician.close_at(SIDE_A)
    plant.close(task=task, element={"lot": "L-2"})
    done = technician.sync()
    assert (done.sent, done.refused, done.waiting) == ([other.id], [closed.id], [picture.id])
    assert "was closed by close-out 1 of tester" in str(technician.outbox.entry(closed.id).problem)
    assert technician.sync().sent == []
    technician.outbox.drop(closed.id, "the night shift was there before me", plant.now)
    done = technician.sync()  # the picture has nothing to be attached to, which is for a person, too
    assert (done.sent, done.refused) == ([], [picture.id])
    technician.outbox.drop(picture.id, "it shows what the other one shows", plant.now)
    assert technician.sync().waiting == []
    assert len(plant.rows("close_outs")) == 2
    assert plant.rows("evidence_files") == []


def test_a_mismatch_is_sent_once_a_person_has_confirmed_it_and_its_picture_follows(technician: Technician) -> None:
    plant = technician.plant
    order, task = issued(plant)
    closed = technician.close(order, task, element={"part_number": "EL-25", "lot": "X-1"})
    attached(technician, closed)
    assert technician.sync().refused == [closed.id]
    assert plant.rows("close_outs") == []
    refused = technician.outbox.entry(closed.id)
    assert (refused.problem or {})["type"] == "/problems/confirmation-needed"
    body = dict(refused.told.body or {}) | {"confirm_mismatch": {"reason": "the only one on the shelf"}}
    new = technician.outbox.replace(closed.id, body, plant.now)
    assert technician.sync().sent == [new.id, 2]
    assert [row["close_out"] for row in plant.rows("evidence_files")] == [technician.outbox.entry(new.id).number]
    assert technician.fates() == {1: Fate.REPLACED, 2: Fate.SENT, 3: Fate.SENT}


def test_impossible_hours_are_changed_and_sent_again(technician: Technician) -> None:
    plant = technician.plant
    order, task = issued(plant)
    closed = technician.close(order, task, element={"lot": "L-1"}, hours=123.0)
    assert technician.sync().refused == [closed.id]
    assert (technician.outbox.entry(closed.id).problem or {})["type"] == "/problems/cannot-be-true"
    body = dict(closed.told.body or {}) | {"hours": HOURS_NOW}
    technician.outbox.replace(closed.id, body, plant.now)
    assert technician.sync().sent == [2]
    assert [row["told"]["hours"] for row in plant.rows("close_outs")] == [HOURS_NOW]


def test_work_on_an_order_that_was_withdrawn_is_for_a_person(technician: Technician) -> None:
    plant = technician.plant
    order, task = issued(plant)
    technician.tell(Deed.START, order)
    technician.close(order, task, element={"lot": "L-1"})
    plant.post(f"/v1/work-orders/{order}/withdraw", {"note": "the press stands still"}, If_Match="*")
    done = technician.sync()
    assert (done.refused, done.waiting) == ([1], [2])
    technician.outbox.drop(1, "it was withdrawn, and done all the same", plant.now)
    assert technician.sync().sent == [2]  # what really happened is never refused
    assert plant.get(f"/v1/work-orders/{order}")["state"] == "done"


def test_two_phones_with_the_same_job_do_it_once_and_the_second_hears_of_the_first(
    technician: Technician, tmp_path: Path
) -> None:
    plant = technician.plant
    order, task = issued(plant)
    with Technician.at(plant, tmp_path / "other", "second phone") as second:
        for one in (technician, second):
            one.fetch(order)
            one.tell(Deed.START, order)
            one.close(order, task, element={"lot": "L-1"})
        assert technician.sync().sent == [1, 2]
        done = second.sync()
        assert (done.sent, done.refused) == ([], [1])
        second.outbox.drop(1, "begun by the other phone", plant.now)
        assert second.sync().refused == [2]
        assert "technician" in str(second.outbox.entry(2).problem)
    assert len(plant.rows("close_outs")) == 1
    assert plant.on_hand("EL-10") == 3


def test_a_key_that_holds_no_longer_stops_the_sending_and_refuses_nothing(technician: Technician) -> None:
    order, task = issued(technician.plant)
    technician.close(order, task, element={"lot": "L-1"})
    greeting = greet(technician.client, technician.plant.now)

    def no_key(_network: Network, request: httpx.Request) -> httpx.Response:
        return busy(request, 401, "key-needed")

    technician.network.disturb = no_key
    done = sync(technician.outbox, technician.client, greeting, SERVER, technician.plant.now)
    assert (done.refused, done.waiting) == ([], [1])


def test_a_fault_of_the_server_holds_up_its_job_and_not_the_others(technician: Technician) -> None:
    plant = technician.plant
    order, task = issued(plant)
    started = technician.tell(Deed.START, order)
    technician.close(order, task, element={"lot": "L-1"})
    other = technician.close_at(SIDE_A)

    def faulty(network: Network, request: httpx.Request) -> httpx.Response:
        return (
            busy(request, 500, "internal-fault")
            if request.url.path.endswith(f"/{order}/start")
            else network.through(request)
        )

    technician.network.disturb = faulty
    done = technician.sync()
    assert (done.sent, done.refused, done.waiting) == ([other.id], [], [1, 2])
    technician.network.disturb = None
    assert technician.sync().sent == [started.id, 2]


def test_what_was_sent_with_another_key_and_not_answered_is_looked_at_by_a_person(
    technician: Technician, tmp_path: Path
) -> None:
    plant = technician.plant
    technician.close_at(SIDE_A, element={"lot": "L-1"})
    greeting = greet(technician.client, plant.now)
    technician.network.disturb = answer_lost
    sync(technician.outbox, technician.client, greeting, SERVER, plant.now)
    with Technician.at(plant, tmp_path / "other", "new key") as other:
        done = sync(technician.outbox, other.client, greet(other.client, plant.now), SERVER, plant.now)
    assert done.refused == [1]  # the new key's Idempotency-Keys are others: sent with it, the job would be done twice
    assert len(plant.rows("close_outs")) == 1


def test_a_clock_that_is_off_is_found_out_before_anything_is_sent(technician: Technician) -> None:
    for minutes, is_off in ((4.9, False), (5.1, True), (-90.0, True)):
        greeting = greet(technician.client, technician.plant.now + timedelta(minutes=minutes))
        assert greeting.clock_is_off is is_off
        assert greeting.ahead == timedelta(minutes=minutes)
