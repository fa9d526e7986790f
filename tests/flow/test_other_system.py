"""A plant's other system beside the service while both are killed: nothing is lost, nothing is there twice.

It follows the feed, takes issued orders over under codes of its own, has them done, tells of it, and pushes hours,
with a file of its own and the typed client. A planner issues what passes draft. A receiver of webhooks verifies what
it is sent, fails twice and sleeps once. `ELEMENTDUE_TEST_KILLS=200` is the long run of tests/measure/RESULTS.md.
"""

import json
import os
import random
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import ExitStack, closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from api_schemas.client import Client, NotReached, Patience, ProblemRefused
from scheduler.vocabulary import Scope, WorkOrderState
from service.database import Database
from service.imports.importing import import_folder
from service.keys.keeping import make_key
from tests.databases import url_at
from tests.flow.unreliable import plant
from tests.flow.unreliable.lived import whole_feed
from tests.flow.unreliable.receiver import Receiver
from tests.how_often import kills
from tests.service.served import CHECKOUT, ServerProcess, opened

pytestmark = (
    pytest.mark.one_database_is_enough
)  # of clients and their files; of the database see test_unreliable_line

KILLS = kills(5)
ENDS_WITHIN_S = 120.0
OF_THE_WEBHOOK = ["work_order.changed", "close_out.recorded"]


@dataclass
class Aftermath:
    """What both sides and the receiver have in the end."""

    file: Path
    told: Path
    feed: list[dict[str, Any]]
    after_webhook: int
    orders: dict[int, dict[str, Any]]
    receiver: Receiver

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """What the service keeps."""
        with closing(Database(url_at(self.file))) as database, database.reading() as connection:
            return [tuple(row) for row in connection.execute(sa.text(query))]

    def known(self, query: str) -> list[tuple[Any, ...]]:
        """What the other system keeps."""
        with closing(sqlite3.connect(self.told)) as kept:
            return kept.execute(query).fetchall()


class Planner(threading.Thread):
    """Runs passes and issues what they draft, until it is told to stop."""

    def __init__(self, url: str, key: str) -> None:
        super().__init__(daemon=True)
        self._url, self._key = url, key
        self.leave = threading.Event()
        self.fault: BaseException | None = None

    def run(self) -> None:
        patience = Patience(tries=3, first_wait_s=0.1, longest_wait_s=0.5, answer_s=10.0)
        try:
            with Client(self._url, self._key, patience=patience) as client:
                while not self.leave.is_set():
                    try:
                        client.run_pass()
                        for order in list(client.work_orders(states=[WorkOrderState.DRAFT])):
                            client.issue(order.id)
                    except (NotReached, ProblemRefused):
                        time.sleep(0.05)
                    self.leave.wait(0.5)
        except BaseException as fault:
            self.fault = fault


@pytest.fixture(scope="module")
def aftermath(tmp_path_factory: pytest.TempPathFactory) -> Aftermath:
    return _live(tmp_path_factory.mktemp("other"), seed=20260307)


def _live(folder: Path, seed: int) -> Aftermath:
    file, told, stop = folder / "plant.sqlite", folder / "other.sqlite", folder / "stop"
    draw = random.Random(seed)  # noqa: S311
    now, may = datetime.now(UTC), [Scope.INTEGRATE, Scope.READ, Scope.WORK]
    with opened(file) as database:
        import_folder(database, plant.write_quay(folder / "quay"), name="quay", now=now, by="test")
        with database.writing() as connection:
            secret = make_key(connection, "other system", may, now=now)
            office = make_key(connection, "office", [Scope.ADMINISTER], now=now)
    with ExitStack() as ended:
        receiver = ended.enter_context(Receiver())
        server = ServerProcess(
            file, ELEMENTDUE_WEBHOOK_TARGETS=receiver.authority, ELEMENTDUE_REQUESTS_PER_MINUTE="0"
        )
        server.start()
        ended.callback(server.stop)
        after_webhook = _make_webhook(server, office, receiver)
        planner = Planner(server.url, office)
        planner.start()
        other = _start_other(server, secret, told, stop, seed)
        for number in range(KILLS):
            time.sleep(draw.uniform(0.2, 1.2))
            if draw.random() < 0.5:
                server.kill()
                server.start()
            else:
                other.kill()
                other.wait()
                other = _start_other(server, secret, told, stop, seed + number + 1)
        planner.leave.set()
        planner.join()
        assert planner.fault is None, planner.fault
        stop.touch()
        assert other.wait(timeout=ENDS_WITHIN_S) == 0
        feed = whole_feed(server, office)
        _until_told(receiver, feed, after_webhook)
        with Client(server.url, office) as client:
            orders = {
                each.id: json.loads(each.model_dump_json()) for each in client.work_orders(states=[*WorkOrderState])
            }
    return Aftermath(file, told, feed, after_webhook, orders, receiver)


def _start_other(server: ServerProcess, key: str, told: Path, stop: Path, seed: int) -> subprocess.Popen[bytes]:
    words = [sys.executable, "-m", "tests.flow.unreliable.other_system", server.url, key, str(told), str(stop)]
    return subprocess.Popen([*words, str(seed)], cwd=CHECKOUT, env={**os.environ, "PYTHONPATH": str(CHECKOUT)})


def _make_webhook(server: ServerProcess, office: str, receiver: Receiver) -> int:
    with Client(server.url, office) as client:
        body = {"target": f"http://{receiver.authority}/hooks", "types": OF_THE_WEBHOOK}
        made = client.sender.send("POST", "/v1/webhooks", json=body).json()
        newest: int = client.sender.send("GET", "/v1/feed", query={"limit": 1}).json()["newest"]
    receiver.secret = made["secret"]
    return newest


def _until_told(receiver: Receiver, feed: list[dict[str, Any]], after: int) -> None:
    wanted = {line["id"] for line in feed if line["number"] > after and line["type"] in OF_THE_WEBHOOK}
    give_up = time.monotonic() + ENDS_WITHIN_S
    while time.monotonic() < give_up and not wanted <= {each["webhook-id"] for each in receiver.taken}:
        time.sleep(0.1)


def test_both_did_something_that_could_be_lost(aftermath: Aftermath) -> None:
    said = Counter(what for (what,) in aftermath.known("SELECT what FROM outbox WHERE answer NOT LIKE 'refused%'"))
    assert all(said[what] > 0 for what in ("acknowledge", "close", "hours")), said
    assert aftermath.known("SELECT count(*) FROM outbox WHERE answer IS NULL") == [(0,)]


def test_nothing_that_it_said_was_refused_but_what_others_had_changed(aftermath: Aftermath) -> None:
    refused = aftermath.known("SELECT what, answer FROM outbox WHERE answer LIKE 'refused%'")
    assert [each for each in refused if each[0] != "acknowledge" or "/problems/state-in-the-way" not in each[1]] == []


def test_it_heard_every_line_of_the_feed_once(aftermath: Aftermath) -> None:
    heard = aftermath.known("SELECT number, id FROM lines ORDER BY number")
    assert heard == [(line["number"], line["id"]) for line in aftermath.feed]
    assert [number for number, _ in heard] == list(range(1, len(heard) + 1))


def test_its_picture_of_the_orders_is_the_one_that_the_service_has(aftermath: Aftermath) -> None:
    rows = aftermath.known("SELECT data FROM pictures WHERE type = 'work_order.changed'")
    pictures = {order["work_order"]: order for order in (json.loads(data) for (data,) in rows)}
    assert pictures.keys() == aftermath.orders.keys()
    for number, order in aftermath.orders.items():
        assert pictures[number]["state"] == order["state"]
        assert pictures[number]["version"] == order["version"]
        assert pictures[number]["external_ref"] == order["external_ref"]
        still_open = {task["id"] for task in order["tasks"] if task["state"] == "open"}
        assert {task["id"] for task in pictures[number]["tasks"]} == still_open


def test_every_order_that_it_took_over_has_its_code_and_no_other_has(aftermath: Aftermath) -> None:
    mine = dict(aftermath.known("SELECT work_order, ref FROM mine"))
    taken = {number: order["external_ref"] for number, order in aftermath.orders.items() if order["external_ref"]}
    assert taken
    assert taken.items() <= mine.items()
    history = Counter(aftermath.rows("SELECT work_order FROM order_history WHERE step = 'acknowledged'"))
    assert history == Counter((number,) for number in taken)


def test_every_job_that_it_told_of_is_there_once(aftermath: Aftermath) -> None:
    told = aftermath.known("SELECT body FROM outbox WHERE what = 'close' AND answer NOT LIKE 'refused%'")
    refs = Counter(json.loads(body)["external_ref"] for (body,) in told)
    kept = Counter(ref for (ref,) in aftermath.rows("SELECT external_ref FROM close_outs"))
    assert kept == refs
    assert set(kept.values()) == {1}
    used = aftermath.rows("SELECT count(*), count(DISTINCT source) FROM stock_movements")
    assert used == [(len(kept), len(kept))]


def test_every_reading_that_it_pushed_is_there_once(aftermath: Aftermath) -> None:
    told = [json.loads(body) for (body,) in aftermath.known("SELECT body FROM outbox WHERE what = 'hours'")]
    kept = aftermath.rows(
        "SELECT system, hours FROM meter_readings WHERE superseded_at IS NULL AND source NOT LIKE 'close-out %'"
    )
    pushed = Counter((system, hours) for system, hours in kept if hours > plant.LAST_HOURS)
    assert pushed == Counter((row["system"], row["hours"]) for row in told)


def test_the_receiver_was_told_of_every_line_in_order_and_could_verify_each(aftermath: Aftermath) -> None:
    wanted = [
        line["id"]
        for line in aftermath.feed
        if line["number"] > aftermath.after_webhook and line["type"] in OF_THE_WEBHOOK
    ]
    taken = aftermath.receiver.taken
    first_time = list(dict.fromkeys(each["webhook-id"] for each in taken))
    assert aftermath.receiver.unsigned == []
    assert first_time == wanted
    by_id: dict[str, Any] = {}
    for each in taken:
        assert by_id.setdefault(each["webhook-id"], each["event"]) == each["event"]
        assert each["event"]["specversion"] == "1.0"
        assert each["event"]["id"] == each["webhook-id"]
    assert aftermath.receiver.attempts >= len(taken) + 2  # it failed twice
