"""An integrator's end of a webhook, on this machine, and how a test makes one and gives it something to hear of."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import sqlalchemy as sa
from standardwebhooks import Webhook

from service.clock.now import now_utc
from service.webhooks.courier import Courier
from service.webhooks.outbox import Job, Outcome
from service.webhooks.sending import Sender
from service.webhooks.targets import Targets
from service.work_orders.tables import work_orders
from tests.flow.running_plant import RunningPlant

SOURCE = "https://due.mill.example/v1/feed"
Answer = int | Callable[[], int]


@dataclass
class Receiver:
    """An integrator's end on this machine: verifies with the public library and answers as it is told to."""

    url: str
    secret: str = ""
    answers: list[Answer] = field(default_factory=list)  # one an attempt, then 204
    seen: list[dict[str, Any]] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)

    @property
    def entry(self) -> str:
        return self.url.removesuffix("/hooks")

    def take(self, headers: dict[str, str], body: bytes) -> int:
        told = Webhook(self.secret).verify(body, headers)  # raises where it was not signed by us
        self.ids.append(headers["webhook-id"])
        assert headers["content-type"] == "application/cloudevents+json"
        answer = self.answers.pop(0) if self.answers else 204
        status = answer if isinstance(answer, int) else answer()
        if 200 <= status < 300:
            self.seen.append(told)
        return status


@contextmanager
def receiving() -> Iterator[Receiver]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status = receiver.take({name.lower(): value for name, value in self.headers.items()}, body)
            self.send_response(status)
            self.send_header("Location", receiver.url)
            self.send_header("Content-Length", "5000" if status >= 300 else "0")
            self.end_headers()
            if status >= 300:
                self.wfile.write(b"no " * 1666 + b"no")

        def log_message(self, *_told: Any) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    receiver = Receiver(f"http://127.0.0.1:{server.server_address[1]}/hooks")
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def listed(plant: RunningPlant, *entries: str) -> None:
    plant.app.state.webhook_targets = Targets(entries)


def made(plant: RunningPlant, receiver: Receiver, **more: Any) -> int:
    listed(plant, receiver.entry)
    answer = plant.post("/v1/webhooks", {"target": receiver.url} | more, expect=201)
    receiver.secret = answer["secret"]
    return int(answer["id"])


def courier(plant: RunningPlant, receiver: Receiver, timeout_s: float = 5.0) -> Courier:
    return Courier(plant.database, Sender(Targets([receiver.entry]), timeout_s), now_utc, SOURCE, jitter=lambda: 0.0)


class SignsNow(Sender):
    """For a clock that runs ahead: a receiver refuses a signature that is not of today."""

    def send(self, job: Job, _now: datetime) -> Outcome:
        return super().send(job, now_utc())


def touch(plant: RunningPlant, *notes: str) -> None:
    """So many lines about the first order."""
    for note in notes:
        with plant.database.writing() as connection:
            first = sa.select(sa.func.min(work_orders.c.id)).scalar_subquery()
            connection.execute(sa.update(work_orders).where(work_orders.c.id == first).values(note=note))


def states(plant: RunningPlant, webhook: int) -> list[str]:
    items = plant.get(f"/v1/webhooks/{webhook}/deliveries")["items"]
    return [item["state"] for item in reversed(items)]


def notes(receiver: Receiver) -> list[str]:
    return [event["data"]["note"] for event in receiver.seen]
