"""Sending what waits in the outbox: in order, what is of one job strictly one after the other.

Each entry has its Idempotency-Key since it was told, so an entry whose answer was lost, or whose sender was killed,
is sent again as often as it takes and is done once. What the service refuses waits for a person, and so does what
comes after it in the same job; the other jobs go on.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import httpx

from api_schemas.client.asking import headers, read_as
from api_schemas.client.client import Client, KeyHolder
from api_schemas.client.errors import NotReached, ProblemRefused
from api_schemas.client.outbox import Deed, Entry, Fate, Outbox
from api_schemas.client.sending import IN_FLIGHT, server_time

CLOCK_MAY_BE_OFF = timedelta(minutes=5)
"""A close-out's time is read off this clock; beyond, somebody should know of it (ours)."""

_OF_THE_KEY = frozenset({401, 429})
_OF_THE_SERVER = frozenset({"/problems/unknown-host", "/problems/busy", IN_FLIGHT})
_OURS = "/problems/client/"


@dataclass(frozen=True, slots=True)
class Greeting:
    """Who the server takes us for, and by how much our clock is ahead of its; None where it does not say."""

    name: str
    ahead: timedelta | None

    @property
    def clock_is_off(self) -> bool:
        """By so much that somebody should know before anything is sent."""
        return self.ahead is not None and abs(self.ahead) > CLOCK_MAY_BE_OFF


@dataclass(slots=True)
class Synced:
    """The entries that were sent and refused now, and those that wait; `stopped` says why no more was tried."""

    sent: list[int] = field(default_factory=list)
    refused: list[int] = field(default_factory=list)
    waiting: list[int] = field(default_factory=list)
    stopped: str | None = None


def greet(client: Client, now: datetime) -> Greeting:
    """Ask who we are, before anything is sent. Raises NotReached and ProblemRefused."""
    answer = client.sender.send("GET", "/v1/me")
    theirs = server_time(answer)
    return Greeting(read_as(KeyHolder, answer).name, None if theirs is None else now - theirs)


def sync(
    outbox: Outbox,
    client: Client,
    greeting: Greeting,
    server: str,
    now: datetime,
    tell: Callable[[Entry], None] = lambda _entry: None,
) -> Synced:
    """Send everything that waits; `tell` hears of each entry when its end is on the disk."""
    done = Synced()
    stuck = {entry.told.job for entry in outbox.entries(Fate.REFUSED)}
    for entry in outbox.entries(Fate.WAITING):
        if entry.told.job in stuck:
            continue
        held_up = _why_not(outbox, entry, greeting.name, server)
        if held_up is not None:
            outbox.refused(entry.id, held_up, now)
        elif outbox.begin_try(entry.id, now, sent_as=greeting.name, sent_to=server):
            try:
                outbox.sent(entry.id, _send(outbox, client, entry), now)
            except NotReached as error:
                done.stopped = str(error)
                break
            except ProblemRefused as refused:
                if _may_pass(refused):
                    done.stopped = str(refused)
                    break
                if refused.status < 500:
                    outbox.refused(entry.id, refused.document.model_dump(mode="json"), now)
        ended = outbox.entry(entry.id)
        if ended.fate is not Fate.SENT:
            stuck.add(entry.told.job)
        if ended.fate is Fate.WAITING:
            continue  # a fault of the server's own: nothing was kept there, and another day it may go
        (done.sent if ended.fate is Fate.SENT else done.refused).append(entry.id)
        tell(ended)
    done.waiting = [entry.id for entry in outbox.entries(Fate.WAITING)]
    return done


def _may_pass(refused: ProblemRefused) -> bool:
    """A problem of key, host or load, not of the entry."""
    return refused.status in _OF_THE_KEY or refused.type in _OF_THE_SERVER


def _why_not(outbox: Outbox, entry: Entry, name: str, server: str) -> dict[str, Any] | None:
    """What only a person can settle before it is sent, as a problem of our own."""
    if entry.tries and (entry.sent_as, entry.sent_to) != (name, server):
        return _problem(
            "sent-otherwise",
            f"it was sent as {entry.sent_as} to {entry.sent_to} and not answered, so it may have been done; another "
            "key or server cannot tell. Look at the order whether it was: then drop it, or send it again",
        )
    if entry.told.follows is not None:
        before = outbox.entry(entry.told.follows)
        if before.number is None:
            return _problem("follows-nothing", f"entry {before.id}, whose number it needs, is {before.fate}")
    return None


def _problem(slug: str, detail: str) -> dict[str, Any]:
    return {"type": _OURS + slug, "title": "A person has to look", "status": 0, "detail": detail, "errors": []}


def _send(outbox: Outbox, client: Client, entry: Entry) -> dict[str, Any]:
    told = entry.told
    if told.deed is Deed.ATTACH:
        assert told.follows is not None  # noqa: S101 - `_why_not` has looked
        number = outbox.entry(told.follows).number
        shows = (told.body or {}).get("shows")
        answer = client.sender.send(
            "POST",
            f"/v1/close-outs/{number}/files",
            headers=headers(entry.idempotency_key),
            files={"file": (told.file_name, outbox.content(entry.id))},
            data={} if shows is None else {"shows": shows},
        )
    else:
        path = "/v1/close-outs" if told.deed is Deed.CLOSE else f"/v1/work-orders/{told.target}/{told.deed}"
        answer = client.sender.send("POST", path, headers=headers(entry.idempotency_key), json=told.body)
    return _numbered(answer)


def _numbered(answer: httpx.Response) -> dict[str, Any]:
    """Every answer of the service to these has a number. Raises NotReached for what somebody else answered."""
    try:
        body = answer.json()
    except ValueError:
        body = None
    if not isinstance(body, dict) or not isinstance(body.get("id"), int):
        raise NotReached("what answered is not the service; is there a network that wants a login?")
    return body
