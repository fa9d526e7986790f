"""The typed client: what it sends again and what it does not, and what it makes of answers."""

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from api_schemas.checks import CheckIn
from api_schemas.client import Client, NotReached, Patience, ProblemRefused
from api_schemas.close_outs import CloseOutIn, CorrectionIn, DpReading, FittedElement, LaterReadings
from api_schemas.quantities import PressureDifference
from scheduler.vocabulary import CheckVerdict, WorkOrderState
from tests.client.technician import Technician, answer_lost, busy, cut
from tests.flow.small_folder import BREATHER, RETURN
from tests.service.evidence_files import jpeg

ME = {"name": "shift A", "scopes": ["read"]}


class AskedClient(Client):
    """With what it asked."""

    asked: list[httpx.Request]


def a_client(answers: Callable[[httpx.Request, int], httpx.Response], slept: list[float], **how: Any) -> AskedClient:
    """Over a network that gives these answers, each with the number of the request, from 1."""
    asked: list[httpx.Request] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return answers(request, len(asked))

    transport = httpx.MockTransport(answer)
    client = AskedClient(
        "https://due.plant.example", "key", transport=transport, sleep=slept.append, draw=lambda: 1.0, **how
    )
    client.asked = asked
    return client


def test_a_look_is_sent_again_with_waits_that_double() -> None:
    slept: list[float] = []

    def third_time(request: httpx.Request, number: int) -> httpx.Response:
        return httpx.Response(200, json=ME) if number == 4 else httpx.Response(502, text="gone")

    assert a_client(third_time, slept).me().name == "shift A"
    assert slept == [0.5, 1.0, 2.0]


def test_who_is_busy_is_given_the_time_that_it_asks_for() -> None:
    slept: list[float] = []

    def busy_once(request: httpx.Request, number: int) -> httpx.Response:
        return httpx.Response(200, json=ME) if number == 3 else busy(request, 429, **{"Retry-After": "17"})

    a_client(busy_once, slept).me()
    assert slept == [17.0, 17.0]


def test_a_time_to_come_again_is_held_against_the_servers_own_clock() -> None:
    slept: list[float] = []
    # RFC 9110, 10.2.3: Retry-After may be a date
    told = {"Retry-After": "Thu, 05 Mar 2026 09:00:40 GMT", "Date": "Thu, 05 Mar 2026 09:00:10 GMT"}

    def busy_once(request: httpx.Request, number: int) -> httpx.Response:
        return httpx.Response(200, json=ME) if number == 2 else busy(request, **told)

    a_client(busy_once, slept).me()
    assert slept == [30.0]


def test_who_asks_for_an_hour_is_not_waited_for() -> None:
    slept: list[float] = []
    client = a_client(lambda request, _: busy(request, 429, **{"Retry-After": "3600"}), slept)
    with pytest.raises(ProblemRefused) as refused:
        client.me()
    assert (refused.value.status, slept) == (429, [])


def test_it_gives_up_in_the_end_and_says_that_nothing_is_known() -> None:
    slept: list[float] = []

    def no_signal(request: httpx.Request, _number: int) -> httpx.Response:
        raise httpx.ConnectTimeout("no signal")

    with pytest.raises(NotReached, match="no signal"):
        a_client(no_signal, slept, patience=Patience(tries=3)).run_pass()
    assert len(slept) == 2


def test_each_repeat_of_a_write_has_the_same_key_and_each_write_another() -> None:
    client = a_client(
        lambda _request, number: httpx.Response(504) if number % 3 else httpx.Response(404, json={}), []
    )
    for _ in range(2):
        with pytest.raises(NotReached):
            client.run_pass()
    keys = [request.headers["Idempotency-Key"] for request in client.asked]
    assert [keys.count(key) for key in keys] == [3] * 6
    with pytest.raises(NotReached):
        client.run_pass(idempotency_key="mine")
    assert client.asked[-1].headers["Idempotency-Key"] == "mine"


def test_a_write_without_a_key_is_never_sent_again() -> None:
    client = a_client(lambda _request, _number: httpx.Response(503), [])
    with pytest.raises(NotReached):
        client.sender.send("POST", "/v1/passes")
    assert len(client.asked) == 1


def test_one_that_is_being_answered_is_waited_for_and_another_conflict_is_not() -> None:
    def in_flight(request: httpx.Request, number: int) -> httpx.Response:
        slug = "idempotency-key-in-flight" if number == 1 else "state-in-the-way"
        document = {"type": f"/problems/{slug}", "title": "t", "status": 409, "detail": "d", "errors": []}
        return httpx.Response(409, json=document, headers={"Content-Type": "application/problem+json"})

    client = a_client(in_flight, [])
    with pytest.raises(ProblemRefused) as refused:
        client.start(4)
    assert (refused.value.type, len(client.asked)) == ("/problems/state-in-the-way", 2)


@pytest.mark.parametrize(
    "answer",
    [
        httpx.Response(200, html="<h1>Log in to the guests' network</h1>"),
        httpx.Response(200, json={"status": "ok"}),
        httpx.Response(302, headers={"Location": "https://login.example/"}),
        httpx.Response(403, text="blocked"),
        httpx.Response(400, content=b"{", headers={"Content-Type": "application/problem+json"}),
    ],
    ids=str,
)
def test_what_somebody_else_answers_is_no_answer(answer: httpx.Response) -> None:
    with pytest.raises(NotReached):
        a_client(lambda _request, _number: answer, []).me()


def test_a_key_goes_to_https_or_to_this_machine_only() -> None:
    for server in ("http://due.plant.example", "http://10.0.0.7:8420", "ftp://x", "due.plant.example"):
        with pytest.raises(ValueError, match=r"in the clear|no address"):
            Client(server, "key")
    for server in ("https://due.plant.example", "http://127.0.0.1:8420", "http://localhost", "http://[::1]:8420"):
        Client(server, "key").disconnect()


def test_an_authority_of_ones_own_is_read_from_its_file(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        Client("https://due.plant.example", "key", ca_file=tmp_path / "missing.pem")


def test_a_time_without_an_offset_is_refused_before_it_is_sent() -> None:
    client = a_client(lambda _request, _number: httpx.Response(500), [])
    with pytest.raises(ValueError, match="no offset"):
        next(client.due(as_of=datetime(2026, 3, 5, 9)))  # noqa: DTZ001
    with pytest.raises(ValueError, match="timezone"):
        CloseOutIn.model_validate_json(json.dumps({"position": RETURN, "at": "2026-03-05T09:00:00"}))
    assert client.asked == []


def test_members_that_a_newer_service_adds_do_no_harm() -> None:
    body = ME | {"colour": "blue"}
    assert a_client(lambda _request, _number: httpx.Response(200, json=body), []).me().scopes == ["read"]


def test_pages_are_turned_only_as_they_are_wanted(technician: Technician) -> None:
    orders = technician.client.work_orders()
    assert technician.network.asked == []
    first = next(orders)
    assert len(technician.network.asked) == 1
    assert [first.id, *(order.id for order in orders)] == [order["id"] for order in technician.plant.orders()]

    def turning(request: httpx.Request, number: int) -> httpx.Response:
        answer = {"items": [], "next": f"page-{number + 1}" if number < 3 else None}
        return httpx.Response(200, json=answer)

    client = a_client(turning, [])
    assert list(client.work_orders()) == []
    cursors = [request.url.params.get("cursor") for request in client.asked]
    assert cursors == [None, "page-2", "page-3"]


def test_every_look_answers_as_its_model(technician: Technician) -> None:
    client, plant = technician.client, technician.plant
    order = plant.order_of(RETURN)["id"]
    assert client.me().name == "technician"
    assert client.clock().passes
    assert client.server_time() == plant.now
    assert {item.position for item in client.due(system="PRESS")} >= {RETURN, BREATHER}
    assert client.due_item(RETURN).position == RETURN
    assert next(client.due_history(RETURN)).position == RETURN
    assert {each.position for each in client.due_changes(plant.now - timedelta(days=1))} >= {RETURN}
    assert client.work_order(order).tasks[0].steps
    assert client.history(order)[0].step == "raised"
    assert client.oil(system="PRESS").items[0].system == "PRESS"
    assert next(client.demand(periods=1)).periods
    assert {line.item for line in client.buying(periods=3)} >= {"BR-1"}
    assert client.demand_learned().items == []
    assert client.run_pass().id is not None


def test_an_order_goes_its_way_and_a_version_guards_it(technician: Technician) -> None:
    client = technician.client
    order = technician.plant.order_of(RETURN)
    held = client.reserve(order["id"], as_far_as_possible=True)
    assert held.version == order["version"] + 1
    assert client.release_kit(held.id, if_version=held.version).version == held.version + 1
    with pytest.raises(ProblemRefused) as refused:
        client.issue(held.id, if_version=held.version)
    assert refused.value.type == "/problems/changed-meanwhile"
    assert client.issue(held.id).state is WorkOrderState.ISSUED
    assert client.start(held.id).state is WorkOrderState.UNDERWAY
    assert client.hold(held.id, "crane is away").note == "crane is away"
    assert client.release(held.id).state is WorkOrderState.ISSUED
    assert client.withdraw(held.id, "press is sold").state is WorkOrderState.WITHDRAWN
    assert [order.id for order in client.work_orders(states=[WorkOrderState.WITHDRAWN])] == [held.id]


def test_a_job_is_checked_closed_read_later_corrected_and_shown(technician: Technician) -> None:
    client, plant = technician.client, technician.plant
    task = plant.task_of(RETURN)["id"]
    assert client.check(CheckIn(task=task, part_number="EL-10", lot="L-1")).verdict is CheckVerdict.AS_SPECIFIED
    refused = client.check(CheckIn(task=task, part_number="EL-25"))
    assert (refused.verdict, refused.findings[0].mistake) == (CheckVerdict.REFUSED, "wrong_part")
    assert [check.id for check in client.checks(task=task)] == [refused.id, refused.id - 1]
    job = CloseOutIn(task=task, at=plant.now, element=FittedElement(lot="L-1"))
    closed = client.close(job, idempotency_key="k")
    assert client.close(job, idempotency_key="k") == closed
    after = DpReading(dp=PressureDifference(value=0.4, unit="bar"))
    assert client.later_readings(closed.id, LaterReadings(dp_after=after)).id == closed.id
    corrected = client.correct(closed.id, CorrectionIn(why="the wrong box", element=FittedElement(lot="L-2")))
    assert [change.member for change in corrected.corrections[0].changed] == ["element.lot"]
    file = client.attach(closed.id, "inlet.jpg", jpeg(), shows="bright flakes")
    assert client.attach(closed.id, "inlet.jpg", jpeg(), shows="bright flakes") == file
    assert [each.id for each in client.files(closed.id)] == [file.id]
    assert client.file(file.id).startswith(b"\xff\xd8")
    assert client.close_out(closed.id).files == 1


@pytest.mark.parametrize("disturb", [cut, answer_lost])
def test_a_write_without_an_answer_may_have_been_done_and_its_key_finds_out(
    technician: Technician, disturb: Any
) -> None:
    client, plant = technician.client, technician.plant
    body = CloseOutIn(task=plant.task_of(RETURN)["id"], at=plant.now, element=FittedElement(lot="L-1"))
    technician.network.disturb = disturb
    with pytest.raises(NotReached):
        client.close(body, idempotency_key="one")
    technician.network.disturb = None
    closed = client.close(body, idempotency_key="one")
    assert [row["id"] for row in plant.rows("close_outs")] == [closed.id]
