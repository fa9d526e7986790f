"""Sending one request, and sending it again where that is safe.

Safe is a GET, and a write that carries an Idempotency-Key: the same key goes with every repeat, so that the service
does it once however often it is asked. Anything else is sent once and never again.
"""

import math
import random
import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from email.utils import parsedate_to_datetime
from ipaddress import ip_address
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
from pydantic import ValidationError

from api_schemas.client.errors import NotReached, ProblemRefused
from api_schemas.problems import ProblemDocument

IN_FLIGHT = "/problems/idempotency-key-in-flight"
_AGAIN = frozenset({429, 502, 503, 504})
_PROBLEM = "application/problem+json"


@dataclass(frozen=True, slots=True)
class Patience:
    """How often and how long. The waits double from `first_wait_s` up to `longest_wait_s`, each shortened at random.

    A `Retry-After` is waited for up to `longest_asked_s`; who asks for more is asked again another time. All ours.
    """

    tries: int = 5
    first_wait_s: float = 0.5
    longest_wait_s: float = 20.0
    longest_asked_s: float = 120.0
    answer_s: float = 60.0

    def __post_init__(self) -> None:
        if self.tries < 1:
            raise ValueError(f"tries {self.tries} must be at least 1")

    def wait_s(self, tried: int, drawn: float) -> float:
        """Seconds after the `tried`th try; `drawn` from 0 to 1 decides between half of it and all.

        >>> [Patience().wait_s(tried, 1.0) for tried in (1, 2, 3)]
        [0.5, 1.0, 2.0]
        """
        longest_s = min(self.first_wait_s * 2.0 ** (tried - 1), self.longest_wait_s)
        return longest_s * (0.5 + 0.5 * drawn)


class Sender:
    """Sends requests of one key to one server."""

    def __init__(
        self,
        server: str,
        key: str,
        *,
        ca_file: Path | None = None,
        patience: Patience | None = None,
        transport: httpx.BaseTransport | None = None,
        sleep: Callable[[float], None] = time.sleep,
        draw: Callable[[], float] = random.random,
    ) -> None:
        refuse_clear_text(server)
        self.patience = patience or Patience()
        self._sleep, self._draw = sleep, draw
        verify: ssl.SSLContext | bool = True if ca_file is None else ssl.create_default_context(cafile=ca_file)
        self._http = httpx.Client(
            base_url=server.rstrip("/"),
            headers={"Authorization": f"Bearer {key}"},
            verify=verify,
            transport=transport,
            timeout=self.patience.answer_s,
            follow_redirects=False,  # a redirect would take the key elsewhere
        )

    def close(self) -> None:
        """Close its connections."""
        self._http.close()

    def send(
        self,
        method: str,
        path: str,
        *,
        query: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
        **content: Any,
    ) -> httpx.Response:
        """The answer to a request that went well; `content` is httpx's: json, data, files.

        Raises ProblemRefused for a problem document. Raises NotReached where nobody answered, or somebody who is
        not the service, such as the page of a network that wants a login.
        """
        told = {name: value for name, value in (headers or {}).items() if value is not None}
        asked = {name: value for name, value in (query or {}).items() if value is not None}
        is_safe = method == "GET" or "Idempotency-Key" in told
        tries = self.patience.tries if is_safe else 1
        for tried in range(1, tries + 1):
            failed: Exception
            asked_s = 0.0
            try:
                answer = self._http.request(method, path, params=asked, headers=told, **content)
            except httpx.TransportError as error:
                failed = NotReached(f"the server did not answer: {error or type(error).__name__}")
            else:
                if answer.is_success:
                    return answer
                failed = failure_of(answer)
                if not _may_pass(answer, failed):
                    raise failed
                asked_s = _retry_after_s(answer)
            if tried == tries or asked_s > self.patience.longest_asked_s:
                raise failed
            self._sleep(max(self.patience.wait_s(tried, self._draw()), asked_s))
        raise AssertionError("every try ends with an answer or an error")


def failure_of(answer: httpx.Response) -> ProblemRefused | NotReached:
    """The service's problem, or that somebody else answered."""
    if answer.headers.get("Content-Type", "").startswith(_PROBLEM):
        try:
            return ProblemRefused(ProblemDocument.model_validate_json(answer.content))
        except ValidationError:
            pass
    return NotReached(f"what answered is not the service: {answer.status_code} {answer.reason_phrase}")


def server_time(answer: httpx.Response) -> datetime | None:
    """What the server's clock shows, by its Date header (RFC 9110, 6.6.1); None where it has none."""
    return _date(answer.headers.get("Date", ""))


def refuse_clear_text(server: str) -> None:
    """Raises ValueError for an address that is none, and for http to another machine, which others could listen to.

    >>> refuse_clear_text("https://due.plant.example")
    """
    address = urlsplit(server)
    if address.scheme not in {"http", "https"} or not address.hostname:
        raise ValueError(f"'{server}' is no address of a server; like https://due.plant.example")
    if address.scheme == "http" and not _is_this_machine(address.hostname):
        raise ValueError(f"'{server}' is not https: the key would travel in the clear")


def _is_this_machine(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _may_pass(answer: httpx.Response, failed: Exception) -> bool:
    in_flight = isinstance(failed, ProblemRefused) and failed.type == IN_FLIGHT
    return answer.status_code in _AGAIN or (answer.status_code == 409 and in_flight)


def _retry_after_s(answer: httpx.Response) -> float:
    """RFC 9110, 10.2.3: seconds, or a date, which is held against the server's own clock."""
    told = answer.headers.get("Retry-After", "")
    if told.isascii() and told.isdigit():
        return float(told) if len(told) < 10 else math.inf
    until, now = _date(told), server_time(answer)
    return 0.0 if until is None or now is None else max((until - now).total_seconds(), 0.0)


def _date(text: str) -> datetime | None:
    try:
        found = parsedate_to_datetime(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None
