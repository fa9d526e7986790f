"""Waiting at the feed: answered with the first line, in nobody's way, and not beyond the server's own end."""

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import sqlalchemy as sa
import uvicorn

from scheduler.vocabulary import Scope
from service.app import create_app
from service.database import Database
from service.feed import waiting
from service.keys.keeping import make_key
from service.settings import Settings
from service.work_orders.tables import work_orders
from tests.flow.running_plant import RunningPlant, add_plant, copied, make_planned, running
from tests.flow.small_folder import NOW, small_plant
from tests.service.served import ServerProcess


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("feed") / "plant.sqlite", small_plant())


@pytest.fixture
def plant(planned: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned, tmp_path / "plant.sqlite")) as opened:
        yield opened


def newest(plant: RunningPlant) -> int:
    found: int = plant.get("/v1/feed", limit=1)["newest"]
    return found


@contextmanager
def listening(database: Database) -> Iterator[str]:
    """The application over HTTP in a thread of this process."""
    app = create_app(database, Settings(), ticks=False)
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning"))
    app.state.feed_watch.is_ending = lambda: server.should_exit
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join()


def touch(database: Database, note: str) -> None:
    with database.writing() as connection:
        first = sa.select(sa.func.min(work_orders.c.id)).scalar_subquery()
        connection.execute(sa.update(work_orders).where(work_orders.c.id == first).values(note=note))


def test_who_waits_is_answered_with_the_first_line_and_fifty_who_wait_hold_nobody_up(plant: RunningPlant) -> None:
    with plant.database.writing() as connection:
        key = make_key(connection, "follower", [Scope.READ], now=NOW)
    after, waiters = newest(plant), 50
    with (
        listening(plant.database) as url,
        ThreadPoolExecutor(waiters) as pool,
        httpx.Client(
            base_url=url,
            headers={"Authorization": f"Bearer {key}"},
            timeout=30,
            limits=httpx.Limits(max_connections=None),
            trust_env=False,
        ) as client,
    ):

        def follow(_who: int) -> list[int]:
            page = client.get("/v1/feed", params={"after": after, "wait": 30}).json()
            return [line["number"] for line in page["items"]]

        followed = [pool.submit(follow, who) for who in range(waiters)]
        time.sleep(1.0)
        assert not any(each.done() for each in followed)
        began = time.monotonic()
        for _ in range(10):
            assert client.get("/v1/due", params={"limit": 1}).status_code == 200
        took_s = time.monotonic() - began
        assert took_s < 5.0
        began = time.monotonic()
        touch(plant.database, "news")
        assert [each.result(timeout=20) for each in followed] == [[after + 1]] * waiters
        assert time.monotonic() - began < 10.0


def test_who_waits_in_vain_is_answered_when_the_time_is_up(plant: RunningPlant) -> None:
    after = newest(plant)
    began = time.monotonic()
    page = plant.get("/v1/feed", after=after, wait=1)
    assert 1.0 <= time.monotonic() - began < 10.0
    assert (page["items"], page["next"]) == ([], after)


def test_a_line_of_another_plant_does_not_end_the_wait_of_a_key_that_does_not_see_it(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    with plant.database.writing() as connection:
        add_plant(connection, "ELSEWHERE")
        key = make_key(connection, "elsewhere", [Scope.READ], now=NOW, plants=["ELSEWHERE"])
    monkeypatch.setattr(waiting, "_LOOKS_EVERY_S", 0.05)
    after = newest(plant)
    teller = threading.Timer(0.3, touch, [plant.database, "not for everybody"])
    teller.start()
    began = time.monotonic()
    page = plant.client.get(
        "/v1/feed", params={"after": after, "wait": 1}, headers={"Authorization": f"Bearer {key}"}
    ).json()
    teller.join()
    assert time.monotonic() - began >= 1.0
    assert (page["items"], page["next"]) == ([], after + 1)


def test_the_server_ends_without_waiting_for_those_who_wait(tmp_path: Path) -> None:
    server = ServerProcess(tmp_path / "plant.sqlite", "--no-clock")
    server.start()
    headers = {"Authorization": f"Bearer {server.key}"}
    with ThreadPoolExecutor(1) as pool:
        waits = pool.submit(
            lambda: httpx.get(f"{server.url}/v1/feed?wait=30", headers=headers, timeout=40, trust_env=False)
        )
        time.sleep(0.5)
        began = time.monotonic()
        assert server.stop() in (0, -15)
        assert time.monotonic() - began < 10.0
        assert waits.result(timeout=10).json()["items"] == []
