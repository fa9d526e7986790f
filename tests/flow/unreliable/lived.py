"""The history that twenty clients, a bad line and a server that is killed make together."""

import random
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx

from service.imports.importing import import_folder
from tests.databases import ON_POSTGRESQL
from tests.flow.unreliable import plant
from tests.flow.unreliable.clients import KINDS, Client
from tests.flow.unreliable.history import History
from tests.flow.unreliable.line import Fate, UnreliableLine
from tests.service.served import ServerProcess, opened

_PROCESSES = 2 if ON_POSTGRESQL else 1
"""Serving processes on one database; a SQLite file has one."""


@dataclass
class Lived:
    """The history, the database that it left, and what the service said of it in the end."""

    file: Path
    history: History
    line: UnreliableLine
    followed: list[dict[str, Any]]
    feed: list[dict[str, Any]]
    faults: list[BaseException]


def live(folder: Path, *, kills: int, seed: int) -> Lived:
    """Kill a serving process `kills` times at drawn moments while everybody works; then let them finish."""
    file = folder / "plant.sqlite"
    with opened(file) as database:
        import_folder(database, plant.write_quay(folder / "quay"), name="quay", now=datetime.now(UTC), by="test")
    draw = random.Random(seed)  # noqa: S311
    history = History()
    with ExitStack() as ended:
        servers = [ServerProcess(file, "--no-clock") for _ in range(_PROCESSES)]
        line = ended.enter_context(UnreliableLine(lambda: draw_upstream(servers, draw), seed))
        for server in servers:
            server.start()
            ended.callback(server.stop)
        _ask(servers[0], servers[0].key, "POST", "/v1/passes")
        clients = [
            Client(system, line.url, servers[0].key, history, seed + number)
            for number, system in enumerate(plant.SYSTEMS)
        ]
        reader = Follower(line.url, servers[0].key)
        for thread in (*clients, reader):
            thread.start()
        for _ in range(kills):
            enough = len(history.writes) + 3  # the kill comes while the work is going on
            _until(lambda: len(history.writes) >= enough, clients)  # noqa: B023 - it is over before the next
            time.sleep(draw.uniform(0.0, 0.4))
            killed = draw.choice(servers)
            killed.kill()
            history.kills += 1
            killed.start()
        _until(lambda: set(line.fates) == set(Fate), clients)
        line.good = True
        _until(lambda: _everything_was_tried(history), clients)
        for client in clients:
            client.leave()
        for client in clients:
            client.join()
        feed = whole_feed(servers[0], servers[0].key)
        reader.leave_after(feed[-1]["number"] if feed else 0)
        reader.join()
    return Lived(file, history, line, reader.seen, feed, [each.fault for each in (*clients, reader) if each.fault])


def draw_upstream(servers: list[ServerProcess], draw: random.Random) -> str:
    """Any of them, dead or alive: the line does not know."""
    return draw.choice(servers).url


def _until(happened: Callable[[], bool], clients: list[Client]) -> None:
    """However slow the machine is; or until a client has found a fault, or a minute has passed."""
    patience = time.monotonic() + 60.0
    while not happened() and time.monotonic() < patience and not any(client.fault for client in clients):
        time.sleep(0.01)


def _everything_was_tried(history: History) -> bool:
    """A verb comes late for its order while close-outs plan anew under it: on a good line one gets through."""
    kinds = {write.what for write in history.writes}
    return kinds == KINDS and history.repeated > 0 and history.refused_reuse > 0


def _ask(server: ServerProcess, key: str, method: str, path: str, **query: Any) -> Any:
    answer = httpx.request(
        *(method, server.url + path), params=query, headers={"Authorization": f"Bearer {key}"}, timeout=60.0
    )
    assert answer.status_code in {200, 201}, answer.text
    return answer.json()


def whole_feed(server: ServerProcess, key: str) -> list[dict[str, Any]]:
    """Every change that the service keeps, page by page."""
    found: list[dict[str, Any]] = []
    after = 0
    while True:
        page = _ask(server, key, "GET", "/v1/feed", after=after, limit=500)
        found += page["items"]
        if not page["items"]:
            return found
        after = page["next"]


class Follower(threading.Thread):
    """Reads the feed over the bad line from where it left off, while it is written."""

    def __init__(self, url: str, key: str) -> None:
        super().__init__(name="follower", daemon=True)
        self._url, self._headers = url, {"Authorization": f"Bearer {key}", "Connection": "close"}
        self._last: int | None = None
        self.seen: list[dict[str, Any]] = []
        self.fault: BaseException | None = None

    def leave_after(self, number: int) -> None:
        """End when it has read up to there."""
        self._last = number

    def run(self) -> None:
        try:
            with httpx.Client(base_url=self._url, headers=self._headers, timeout=5.0, trust_env=False) as line:
                after = 0
                while self._last is None or after < self._last:
                    try:
                        answer = line.get("/v1/feed", params={"after": after, "wait": 2, "limit": 50})
                    except httpx.TransportError:
                        continue
                    if answer.status_code == 503:
                        continue
                    assert answer.status_code == 200, answer.text
                    page = answer.json()
                    self.seen += page["items"]
                    after = page["next"]
        except BaseException as fault:
            self.fault = fault
