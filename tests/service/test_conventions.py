"""What holds on every route alike: names of requests, pages, versions, repeats, limits and compression."""

import logging
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.keys import answering
from service.keys.answering import KEPT_FOR, Answer, answer_once, digest_of, forget_answers, response_of
from service.keys.keeping import Caller
from service.keys.tables import kept_answers
from service.problems import PROBLEMS, KeyInFlight
from service.work_orders.tables import work_orders
from tests.service.evidence_files import jpeg, png
from tests.service.served import Served, opened, served
from tests.service.small_plant import POSITIONS, TABLES, close_out
from tests.service.test_problems import _zip, the_problem

pytestmark = pytest.mark.one_database_is_enough

NOW = datetime(2026, 3, 5, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("conventions")) as running:
        yield running


@pytest.fixture(scope="module")
def client(service: Served) -> Iterator[httpx.Client]:
    with service.client(service.key(Scope.ADMINISTER)) as opened_client:
        assert opened_client.post("/v1/passes").status_code == 201
        for number, position in enumerate(POSITIONS[:3], 1):
            assert opened_client.post("/v1/close-outs", json=close_out(position, number)).status_code == 201
            opened_client.post("/v1/checks", json={"position": position, "part_number": "E-10"})
        yield opened_client


def order(client: httpx.Client) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/v1/work-orders", params={"limit": 1}).json()["items"][0]
    return found


# names of requests


@pytest.mark.parametrize("path", ["/v1/due", "/v1/nowhere", "/", "/v1/close-outs/%00", "/v1/due?limit=0"])
def test_a_request_is_called_what_its_caller_calls_it(client: httpx.Client, path: str) -> None:
    answer = client.get(path, headers={"X-Request-Id": "shift-B/17"})
    assert answer.headers["X-Request-Id"] == "shift-B/17"
    if answer.status_code >= 400:
        assert answer.json()["request_id"] == "shift-B/17"


@pytest.mark.parametrize("name", ["", "two words", "é".encode(), "x" * 101, "a\tb"])
def test_a_name_that_no_log_should_hold_is_replaced(client: httpx.Client, name: str) -> None:
    first, second = (client.get("/v1/nowhere", headers={"X-Request-Id": name}) for _ in range(2))
    made = first.headers["X-Request-Id"]
    assert made != name
    assert made.isalnum()
    assert first.json()["request_id"] == made
    assert second.headers["X-Request-Id"] != made


def test_a_fault_is_logged_under_the_name_that_its_answer_bears(
    client: httpx.Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("inside")

    monkeypatch.setattr("service.due.routes.run_pass", fail)
    with caplog.at_level(logging.ERROR, "elementdue.requests"):
        answer = client.post("/v1/passes", headers={"X-Request-Id": "night-7"})
    assert (answer.status_code, answer.headers["X-Request-Id"]) == (500, "night-7")
    assert answer.json()["request_id"] == "night-7"
    assert [record.getMessage() for record in caplog.records] == [
        "request night-7, POST /v1/passes, failed with RuntimeError"
    ]


def test_every_problem_type_has_a_page_that_says_more_than_its_title(client: httpx.Client) -> None:
    for kind in PROBLEMS:
        page = client.get(f"/problems/{kind.slug}")
        assert page.status_code == 200
        assert kind.title.split("'")[0] in page.text
        assert kind.__doc__
        assert kind.__doc__.split("`")[0][:30] in page.text


# pages


LISTS = ["/v1/due", "/v1/due/changes", "/v1/work-orders?state=draft&state=done", "/v1/checks"]


@pytest.mark.parametrize("path", LISTS)
def test_following_the_links_shows_what_one_long_page_shows(client: httpx.Client, path: str) -> None:
    whole = client.get(path)
    assert "Link" not in whole.headers  # RFC 8288: where there is no next one, none is told
    walked: list[Any] = []
    answer = client.get(f"{path}{'&' if '?' in path else '?'}limit=1")
    while True:
        walked += answer.json()["items"]
        following = answer.links.get("next")
        assert (following is None) == (answer.json()["next"] is None)
        if following is None:
            break
        assert len(walked) < 100
        answer = client.get(following["url"])
        assert answer.status_code == 200
    assert [_named(item) for item in walked] == [_named(item) for item in whole.json()["items"]]
    assert len(walked) > 1


def _named(item: dict[str, Any]) -> Any:
    return item.get("id") or item.get("position") or item.get("item")


def test_an_order_that_goes_while_pages_are_turned_hides_no_other(service: Served, client: httpx.Client) -> None:
    query = {"limit": 2, "state": ["draft", "issued", "done", "withdrawn"]}
    whole = [each["id"] for each in client.get("/v1/work-orders", params=query | {"limit": 500}).json()["items"]]
    first = client.get("/v1/work-orders", params=query).json()
    gone = first["items"][0]["id"]
    with service.database.engine.begin() as connection:
        before = connection.scalar(sa.select(work_orders.c.state).where(work_orders.c.id == gone))
        connection.execute(sa.update(work_orders).where(work_orders.c.id == gone).values(state="held"))
    try:
        rest = client.get("/v1/work-orders", params=query | {"cursor": first["next"], "limit": 500}).json()["items"]
    finally:
        with service.database.engine.begin() as connection:
            connection.execute(sa.update(work_orders).where(work_orders.c.id == gone).values(state=before))
    assert [each["id"] for each in first["items"]] + [each["id"] for each in rest] == whole


@pytest.mark.parametrize("path", LISTS)
def test_the_cursor_of_another_list_is_refused(client: httpx.Client, path: str) -> None:
    other = "/v1/checks" if path != "/v1/checks" else "/v1/due"
    cursor = client.get(other, params={"limit": 1}).json()["next"]
    problem = the_problem(client.get(f"{path}{'&' if '?' in path else '?'}cursor={cursor}"))
    assert (problem.status, [error.member for error in problem.errors]) == (422, ["cursor"])
    assert problem.errors[0].value == cursor


# versions


@pytest.mark.parametrize("path", ["/v1/due", "/v1/work-orders", "/v1/work-orders/1", "/v1/close-outs/1", "/v1/me"])
def test_what_the_caller_has_is_not_sent_again(client: httpx.Client, path: str) -> None:
    first = client.get(path)
    etag = first.headers["ETag"]
    for told in (etag, f'"other", {etag}', "*", etag.replace('"', 'W/"', 1) if etag.startswith('"') else etag):
        again = client.get(path, headers={"If-None-Match": told})
        assert (again.status_code, again.content) == (304, b"")  # RFC 9110, 15.4.5
        assert again.headers["ETag"] in (etag, etag.replace("-gzip", ""))
    assert client.get(path, headers={"If-None-Match": '"other"'}).json() == first.json()


def test_what_has_changed_is_sent(client: httpx.Client) -> None:
    before = client.get("/v1/due").headers["ETag"]
    assert client.post("/v1/close-outs", json=close_out(POSITIONS[3], 20)).status_code == 201
    after = client.get("/v1/due", headers={"If-None-Match": before})
    assert after.status_code == 200
    assert after.headers["ETag"] != before


def test_a_change_to_what_was_changed_meanwhile_is_told_the_present_version(client: httpx.Client) -> None:
    found = order(client)
    path = f"/v1/work-orders/{found['id']}"
    etag = client.get(path).headers["ETag"]
    issued = client.post(f"{path}/issue", headers={"If-Match": etag})
    assert issued.status_code == 200
    refused = client.post(f"{path}/hold", json={"note": "late"}, headers={"If-Match": etag})
    assert the_problem(refused).status == 412
    assert refused.json()["version"] == issued.json()["version"]
    assert refused.headers["ETag"] == f'"{issued.json()["version"]}"'
    again = client.post(f"{path}/hold", json={"note": "late"}, headers={"If-Match": issued.headers["ETag"]})
    assert again.status_code == 200
    assert client.post(f"{path}/release", headers={"If-Match": "*"}).status_code == 200


@pytest.mark.parametrize(("verb", "body"), [("withdraw", {"note": "sold"}), ("accept-proposal", None)])
def test_what_could_undo_another_ones_act_needs_a_version(
    client: httpx.Client, verb: str, body: dict[str, str] | None
) -> None:
    path = f"/v1/work-orders/{order(client)['id']}/{verb}"
    assert the_problem(client.post(path, json=body)).status == 428  # RFC 6585, 3
    assert client.post(path, json=body, headers={"If-Match": '"999"'}).status_code == 412


# repeats


def twice(client: httpx.Client, path: str, key: str, **told: Any) -> tuple[httpx.Response, httpx.Response]:
    first, again = (client.post(path, headers={"Idempotency-Key": key}, **told) for _ in range(2))
    assert first.is_success, first.text
    assert "Idempotency-Replayed" not in first.headers
    assert again.headers["Idempotency-Replayed"] == "true"
    assert (again.status_code, again.content) == (first.status_code, first.content)
    assert [again.headers.get(name) for name in ("ETag", "Location")] == [
        first.headers.get(name) for name in ("ETag", "Location")
    ]
    return first, again


def test_a_repeated_verb_of_an_order_is_answered_as_before_though_the_order_went_on(client: httpx.Client) -> None:
    found = order(client)
    path = f"/v1/work-orders/{found['id']}"
    held, _ = twice(client, f"{path}/hold", "hold it", json={"note": "no crane"})
    client.post(f"{path}/release")
    again = client.post(f"{path}/hold", json={"note": "no crane"}, headers={"Idempotency-Key": "hold it"})
    assert again.json() == held.json()
    assert client.get(path).json()["state"] == "issued"
    other = client.post(f"{path}/hold", json={"note": "no oil"}, headers={"Idempotency-Key": "hold it"})
    assert the_problem(other).type == "/problems/idempotency-key-reused"
    elsewhere = client.post(f"{path}/start", headers={"Idempotency-Key": "hold it"})
    assert the_problem(elsewhere).type == "/problems/idempotency-key-reused"


def test_a_repeated_pass_is_not_run_again(client: httpx.Client) -> None:
    first, again = twice(client, "/v1/passes", "pass 1")
    assert client.post("/v1/passes").json()["id"] == first.json()["id"] + 1
    assert again.json() == first.json()


def test_a_repeated_import_is_answered_with_the_first_ones_outcome(client: httpx.Client) -> None:
    tables = {f"{name}.csv": text for name, text in TABLES.items()}
    file = {"file": ("plant.zip", _zip(tables))}
    first, _ = twice(client, "/v1/imports", "folder 1", files=file)
    assert first.headers["Location"] == f"/v1/imports/{first.json()['id']}"
    changed = tables | {"fluids.csv": "fluid,grade\nHM46,46\nHM68,68\n"}
    other = {"file": ("plant.zip", _zip(changed))}
    refused = client.post("/v1/imports", files=other, headers={"Idempotency-Key": "folder 1"})
    assert the_problem(refused).type == "/problems/idempotency-key-reused"


def test_a_repeated_file_is_attached_once_and_another_one_is_not_taken_for_it(client: httpx.Client) -> None:
    path = "/v1/close-outs/1/files"
    twice(client, path, "picture 1", files={"file": ("bowl.jpg", jpeg())})
    other = {"file": ("bowl.png", png())}
    refused = client.post(path, files=other, headers={"Idempotency-Key": "picture 1"})
    assert the_problem(refused).type == "/problems/idempotency-key-reused"
    assert len(client.get(path).json()["items"]) == 1


CALLER = Caller("tablet", frozenset({Scope.WORK}))


def test_answers_are_kept_for_thirty_days_and_forgotten_after_them(tmp_path: Path) -> None:
    assert timedelta(days=30) == KEPT_FOR
    with opened(tmp_path / "plant.sqlite") as database:
        done: list[int] = []

        def work(_connection: sa.Connection) -> Answer:
            done.append(1)
            return Answer(201, {"n": len(done)})

        def ask(at: datetime) -> Answer:
            return answer_once(database, CALLER, "k", digest_of("x", None), at, work)

        ask(NOW)
        for days, count in ((7, 1), (30, 1), (30.1, 0)):
            with database.writing() as connection:
                forget_answers(connection, NOW + timedelta(days=days))
                kept = connection.scalar(sa.select(sa.func.count()).select_from(kept_answers))
            assert kept == count
        assert ask(NOW + timedelta(days=31)).body == {"n": 2}


def test_a_secret_is_answered_once_and_kept_nowhere(tmp_path: Path) -> None:
    with opened(tmp_path / "plant.sqlite") as database:

        def ask() -> Answer:
            return answer_once(
                database,
                CALLER,
                "k",
                digest_of("x", None),
                NOW,
                lambda _: Answer(201, {"name": "gate", "secret": "edk_hush"}, withheld=frozenset({"secret"})),
            )

        assert ask().body == {"name": "gate", "secret": "edk_hush"}
        assert (ask().body, ask().repeated) == ({"name": "gate", "secret": None}, True)
        with database.reading() as connection:
            assert "hush" not in str(connection.execute(sa.select(kept_answers)).all())


def test_a_request_under_way_is_not_begun_again_beside_itself(tmp_path: Path) -> None:
    under_way, may_end = threading.Event(), threading.Event()
    with opened(tmp_path / "plant.sqlite") as database:

        def slow(_connection: sa.Connection) -> Answer:
            under_way.set()
            assert may_end.wait(20)
            return Answer(200, {"by": "the first"})

        def ask() -> Answer:
            return answer_once(database, CALLER, "k", digest_of("x", None), NOW, slow)

        first = threading.Thread(target=ask)
        first.start()
        try:
            assert under_way.wait(20)
            with pytest.raises(KeyInFlight) as told:
                ask()
        finally:
            may_end.set()
            first.join()
        assert told.value.headers == {"Retry-After": "1"}
        repeat = ask()
        assert (repeat.body, repeat.repeated) == ({"by": "the first"}, True)
        assert response_of(repeat).headers["Idempotency-Replayed"] == "true"
        assert not answering._under_way


# limits and compression


@pytest.mark.one_database_is_enough
def test_a_key_that_asks_too_often_is_told_when_to_come_back_and_others_are_answered(tmp_path: Path) -> None:
    with served(tmp_path, requests_per_minute=5) as service:
        key, other = service.key(Scope.READ, name="poller"), service.key(Scope.READ, name="planner")
        with service.client(key) as client:
            answers = [client.get("/v1/me") for _ in range(8)]
        refused = the_problem(answers[-1])
        assert (refused.status, refused.type) == (429, "/problems/too-many-requests")
        assert 1 <= int(answers[-1].headers["Retry-After"]) <= 60  # RFC 6585, 4
        assert "X-Request-Id" in answers[-1].headers
        # the first one was counted for its address, since the key was not known yet
        assert [answer.status_code for answer in answers] == [200] * 6 + [429] * 2
        with service.client(other) as client:
            assert client.get("/v1/me").status_code == 200


@pytest.mark.one_database_is_enough
def test_an_address_that_tries_bad_keys_is_shut_out_but_for_keys_that_are_known(tmp_path: Path) -> None:
    with served(tmp_path, requests_per_minute=1000) as service:
        with service.client(service.key(Scope.READ)) as good:
            assert good.get("/v1/me").status_code == 200
            tried = []
            for number in range(62):
                with service.client(f"edk_{number}") as bad:
                    tried.append(bad.get("/v1/me").status_code)
            assert tried == [401] * 60 + [429] * 2
            assert good.get("/v1/me").status_code == 200
        with service.client() as nobody:
            assert nobody.get("/v1/me").status_code == 429


def test_a_long_answer_is_compressed_for_who_takes_it_and_says_the_same(client: httpx.Client) -> None:
    plain = client.get("/v1/work-orders/1", headers={"Accept-Encoding": "identity"})
    packed = client.get("/v1/work-orders/1", headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert packed.json() == plain.json()
    assert int(packed.headers["Content-Length"]) < len(plain.content) / 2
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert "Accept-Encoding" in plain.headers["Vary"]
    assert packed.headers["ETag"] == plain.headers["ETag"][:-1] + '-gzip"'  # RFC 9110, 8.8.3.3
    assert client.get("/v1/me").headers.get("Content-Encoding") is None
    book = client.get("/v1/demand/file", params={"format": "xlsx"})
    assert "Content-Encoding" not in book.headers
