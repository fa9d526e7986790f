"""A technician with a phone: the client over a network that can be cut, and the folder that is carried."""

import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any, Self

import httpx

from api_schemas.client import Client, Patience
from api_schemas.client.outbox import Deed, Entry, Fate, Outbox, Told
from api_schemas.client.pack import keep_pack, make_folder
from api_schemas.client.sync import Synced, greet, sync
from api_schemas.packs import Pack
from scheduler.vocabulary import Scope
from service.keys.keeping import make_key
from tests.flow.running_plant import RunningPlant
from tests.service.served import InProcess

SERVER = "http://127.0.0.1"


@dataclass
class Network(httpx.BaseTransport):
    """Between the phone and the application: `disturb` may lose a request, or the answer to one that was done."""

    inside: InProcess
    now: Callable[[], datetime]
    disturb: Callable[["Network", httpx.Request], httpx.Response] | None = None
    asked: list[httpx.Request] = field(default_factory=list)

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(request)
        return self.through(request) if self.disturb is None else self.disturb(self, request)

    def through(self, request: httpx.Request) -> httpx.Response:
        answer = self.inside.handle_request(request)
        answer.headers["Date"] = format_datetime(self.now(), usegmt=True)
        return answer


def cut(_network: Network, request: httpx.Request) -> httpx.Response:
    raise httpx.ConnectError("no signal", request=request)


def answer_lost(network: Network, request: httpx.Request) -> httpx.Response:
    """The service did it, and nobody heard."""
    network.through(request)
    raise httpx.ReadError("the answer was lost", request=request)


@dataclass
class BadNetwork:
    """Loses at random what goes there and what comes back, and answers like proxies and busy servers do."""

    draw: random.Random
    share: float = 0.6

    def __call__(self, network: Network, request: httpx.Request) -> httpx.Response:
        if self.draw.random() > self.share:
            return network.through(request)
        match self.draw.randrange(6):
            case 0:
                return cut(network, request)
            case 1:
                raise httpx.ReadTimeout("too slow", request=request)
            case 2:
                network.through(request)
                return httpx.Response(502, text="the proxy lost it", request=request)
            case 3:
                return httpx.Response(200, html="<p>Log in to this network</p>", request=request)
            case 4:
                return busy(request)
            case _:
                return answer_lost(network, request)


def busy(request: httpx.Request, status: int = 503, slug: str = "busy", **headers: str) -> httpx.Response:
    """As the service answers a problem that has to do with the moment, not with the request."""
    problem = {"type": f"/problems/{slug}", "title": slug, "status": status, "detail": "try again"}
    headers["Content-Type"] = "application/problem+json"
    return httpx.Response(status, json=problem, headers=headers, request=request)


@dataclass
class Technician:
    """`slept` are the waits that the client asked for; none is really waited. `dial` makes another client."""

    plant: RunningPlant
    network: Network
    client: Client
    dial: Callable[[], Client]
    folder: Path
    outbox: Outbox
    slept: list[float]
    name: str

    @classmethod
    @contextmanager
    def at(cls, plant: RunningPlant, folder: Path, name: str, *, tries: int = 4) -> Iterator[Self]:
        with plant.database.writing() as connection:
            key = make_key(connection, name, [Scope.READ, Scope.WORK, Scope.PLAN], now=plant.now)
        network = Network(InProcess(plant.app), lambda: plant.now)
        slept: list[float] = []
        draw = random.Random(7).random  # noqa: S311

        def dial() -> Client:
            return Client(
                SERVER, key, patience=Patience(tries=tries), transport=network, sleep=slept.append, draw=draw
            )

        make_folder(folder)
        with dial() as client, Outbox(folder / "outbox.sqlite") as outbox:
            yield cls(plant, network, client, dial, folder, outbox, slept, name)

    def fetch(self, order: int) -> Pack:
        pack = self.client.pack(order)
        keep_pack(self.folder, pack)
        return pack

    def tell(self, deed: Deed, order: int, body: Any = None, content: bytes | None = None, **more: Any) -> Entry:
        return self.outbox.add(Told(f"order {order}", deed, None, order, body, **more), self.plant.now, content)

    def close_at(self, position: str, minutes_ago: float = 0.0, **body: Any) -> Entry:
        """Work that nobody had ordered."""
        at = (self.plant.now - timedelta(minutes=minutes_ago)).isoformat()
        told = Told(f"at {position}", Deed.CLOSE, None, None, {"position": position, "at": at} | body)
        return self.outbox.add(told, self.plant.now)

    def close(self, order: int, task: int, **body: Any) -> Entry:
        return self.tell(Deed.CLOSE, order, {"task": task, "at": self.plant.now.isoformat()} | body)

    def sync(self) -> Synced:
        greeting = greet(self.client, self.plant.now)
        return sync(self.outbox, self.client, greeting, SERVER, self.plant.now)

    def fates(self) -> dict[int, Fate]:
        return {entry.id: entry.fate for entry in self.outbox.entries()}
