"""Clients that write until they are told to stop, and give no write up before it is answered."""

import random
import threading
import time
import uuid
from typing import Any

import httpx

from tests.flow.unreliable import plant
from tests.flow.unreliable.history import Acknowledged, History

PATIENCE_S = 4.0
"""Shorter than a server under load needs now and then: a time-out whose write was done all the same."""

_IN_FLIGHT, _BUSY = "idempotency-key-in-flight", frozenset({429, 503})
_VERBS = ("issue", "start", "hold", "release")
_OUT_OF_PLACE = frozenset({404, 409, 412, 428})
KINDS = frozenset({"change", "meter", "verb"})
"""Of writes that are acknowledged."""

_PAUSE_S, _LONGEST_PAUSE_S = 0.02, 0.5


class Client(threading.Thread):
    """Works at a system of its own, and now and then takes a verb to an order of anybody's."""

    def __init__(self, system: str, url: str, key: str, history: History, seed: int) -> None:
        super().__init__(name=system, daemon=True)
        self._system, self._url, self._key, self._history = system, url, key, history
        self._draw = random.Random(seed)  # noqa: S311
        self._leave = threading.Event()
        self._acts = 0
        self._mine: list[Acknowledged] = []
        self.fault: BaseException | None = None

    def leave(self) -> None:
        """End after the write that is under way is answered."""
        self._leave.set()

    def run(self) -> None:
        self._line = httpx.Client(
            base_url=self._url,
            headers={"Authorization": f"Bearer {self._key}", "Connection": "close"},
            limits=httpx.Limits(max_keepalive_connections=0),
            timeout=PATIENCE_S,
            trust_env=False,
        )
        try:
            while not self._leave.is_set():
                self._draw.choices(
                    (self._change, self._meter, self._verb, self._say_again, self._take_the_key_for_another),
                    (25, 35, 20, 15, 5),
                )[0]()
        except BaseException as fault:
            self.fault = fault
        finally:
            self._line.close()

    # what it does

    def _change(self) -> None:
        self._acts += 1
        self._write("change", "/v1/close-outs", plant.close_out(self._system, self._acts), {201})

    def _meter(self) -> None:
        count = self._draw.randint(1, 5)
        body = plant.meter_rows(self._system, self._acts + 1, count)
        self._acts += count
        self._write("meter", "/v1/meter-readings", body, {200})

    def _verb(self) -> None:
        listed = self._ask("GET", "/v1/work-orders?limit=100")
        if listed is None or not (orders := listed.json()["items"]):
            return
        order = self._draw.choice(orders)
        verb = self._draw.choice(_VERBS)
        body = {"note": f"by {self._system}"} if verb == "hold" else None
        version = {"If-Match": f'"{order["version"]}"'}
        path = f"/v1/work-orders/{order['id']}/{verb}"
        self._write("verb", path, body, {200}, may_be=_OUT_OF_PLACE, headers=version)

    def _say_again(self) -> None:
        if not self._mine:
            return
        earlier = self._draw.choice(self._mine)
        path = earlier.body["path"]
        answer = self._ask(
            "POST", path, earlier.body["body"], {**earlier.body["headers"], "Idempotency-Key": earlier.key}
        )
        if answer is None or _is_busy(answer):
            return
        assert (answer.status_code, answer.text) == (earlier.status, earlier.text), (answer.text, earlier.text)
        assert answer.headers.get("Idempotency-Replayed") == "true"
        self._history.repeated += 1

    def _take_the_key_for_another(self) -> None:
        if not self._mine:
            return
        earlier = self._draw.choice(self._mine)
        other = plant.close_out(self._system, 1) | {"note": "another thing"}
        answer = self._ask("POST", "/v1/close-outs", other, {"Idempotency-Key": earlier.key})
        if answer is None or _is_busy(answer):
            return
        assert answer.status_code == 422, answer.text
        assert answer.json()["type"].endswith("idempotency-key-reused"), answer.text
        self._history.refused_reuse += 1

    # how it does it

    def _write(
        self,
        what: str,
        path: str,
        body: Any,
        done: set[int],
        may_be: frozenset[int] = frozenset(),
        headers: dict[str, str] | None = None,
    ) -> None:
        """Until it is answered, with one key, whatever the line does."""
        key, tries = str(uuid.UUID(int=self._draw.getrandbits(128))), 0
        sent = time.monotonic()
        while True:
            tries += 1
            answer = self._ask("POST", path, body, {**(headers or {}), "Idempotency-Key": key})
            if answer is not None and not _is_busy(answer):
                break
            time.sleep(min(_PAUSE_S * 2**tries, _LONGEST_PAUSE_S))
        if answer.status_code in may_be:
            return
        assert answer.status_code in done, (path, body, answer.status_code, answer.text)
        told = {"path": path, "body": body, "headers": headers or {}}
        write = Acknowledged(
            *(self._system, what, key, told, answer.status_code, answer.json(), answer.text),
            *(sent, time.monotonic(), tries),
        )
        self._mine.append(write)
        self._history.add(write)

    def _ask(
        self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None
    ) -> httpx.Response | None:
        """The answer, or None where none came whole."""
        try:
            return self._line.request(method, path, json=body, headers=headers)
        except httpx.TransportError:
            return None


def _is_busy(answer: httpx.Response) -> bool:
    if answer.status_code in _BUSY:
        return True
    return answer.status_code == 409 and answer.json()["type"].endswith(_IN_FLIGHT)
