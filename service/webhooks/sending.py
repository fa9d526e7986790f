"""One attempt over the network: to a checked address, within a time, without following where the answer points."""

import ipaddress
import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime

import anyio
import httpx

from service.webhooks.outbox import Job, Outcome
from service.webhooks.signing import signed_headers
from service.webhooks.targets import Address, Target, TargetRefused, Targets

TIMEOUT_S = 10.0
"""Of the whole attempt, the name's resolution included (ours)."""

_READ_AT_MOST = 1024
_SHOWN_AT_MOST = 200


@dataclass(frozen=True, slots=True)
class Sender:
    """Where may be sent to, and how long an attempt may take.

    The authorities that https trusts are those of the machine, to which a plant can add its own.
    """

    targets: Targets
    timeout_s: float = TIMEOUT_S
    trusts: ssl.SSLContext = field(default_factory=ssl.create_default_context)

    def send(self, job: Job, now: datetime) -> Outcome:
        """The receiver's answer; what goes wrong is an outcome too, never an exception."""
        try:
            return anyio.run(self._within_time, job, now)
        except TargetRefused as refused:
            return Outcome(None, f"not sent: {refused}")
        except TimeoutError:
            return Outcome(None, f"no answer within {self.timeout_s:g} s")
        except (httpx.HTTPError, httpx.InvalidURL, OSError, ValueError) as error:
            return Outcome(None, f"{type(error).__name__}: {error}"[:_SHOWN_AT_MOST])

    async def _within_time(self, job: Job, now: datetime) -> Outcome:
        with anyio.fail_after(self.timeout_s):
            target = self.targets.check(job.target)
            addresses = await _addresses(target)
            for address in addresses:
                self.targets.check_address(target, address)
            return await self._ask_one(job, target, addresses, now)

    async def _ask_one(self, job: Job, target: Target, addresses: list[Address], now: datetime) -> Outcome:
        for address in addresses[:-1]:
            with suppress(httpx.ConnectError):
                return await self._ask(job, target, address, now)
        return await self._ask(job, target, addresses[-1], now)

    async def _ask(self, job: Job, target: Target, address: Address, now: datetime) -> Outcome:
        """The address that was checked is the one that is asked: a name could turn out another the next time."""
        headers = signed_headers(job.secret, job.event, job.body, now)
        async with (
            httpx.AsyncClient(
                trust_env=False,
                follow_redirects=False,
                timeout=None,  # noqa: S113 - the whole attempt has one: each byte of a receiver that drips renews these
                verify=self.trusts,
            ) as client,
            client.stream(
                "POST",
                target.at(address),
                content=job.body.encode(),
                headers=headers | {"host": target.netloc, "user-agent": "elementdue"},
                extensions={"sni_hostname": target.host},
            ) as answer,
        ):
            says = None if answer.is_success else await _beginning(answer)
            return Outcome(answer.status_code, says)


async def _addresses(target: Target) -> list[Address]:
    found = await anyio.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
    return [ipaddress.ip_address(str(each[4][0]).partition("%")[0]) for each in found]


async def _beginning(answer: httpx.Response) -> str:
    """Of a refusal the first words, so that the delivery can show them; no more of it is read."""
    if answer.is_redirect:
        return "redirects are not followed"
    read = b""
    async for piece in answer.aiter_raw(_READ_AT_MOST):
        read = piece[:_READ_AT_MOST]
        break
    text = read.decode("utf-8", "replace")
    return "".join(sign for sign in text if sign.isprintable())[:_SHOWN_AT_MOST]
