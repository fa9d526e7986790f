"""The same `Idempotency-Key`, the same answer: a write and its answer are kept in one transaction.

Of two requests with one key that are under way in this process the second is told to come back. Of two in different
processes the second waits for the first's transaction, as every writer does, and then finds its answer kept.
"""

import hashlib
import json
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from starlette.responses import JSONResponse

from service.database import Database
from service.keys.keeping import Caller
from service.keys.tables import kept_answers
from service.problems import KeyInFlight, KeyReused

KEPT_FOR = timedelta(days=30)
"""How long a repeat gets the first answer: a month without a network, and then some (ours)."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a write answers; `repeated` where it was kept from an earlier request.

    The members named in `withheld` are shown this once: a repeat gets null for them, since secrets are kept nowhere.
    """

    status: int
    body: dict[str, Any]
    repeated: bool = False
    headers: Mapping[str, str] | None = None
    withheld: frozenset[str] = frozenset()


def digest_of(route: str, body: Any) -> str:
    """What makes two requests the same request."""
    return hashlib.sha256(json.dumps([route, body], sort_keys=True, default=str).encode()).hexdigest()


def answer_once(
    database: Database,
    caller: Caller,
    idempotency_key: str | None,
    digest: str,
    now: datetime,
    work: Callable[[sa.Connection], Answer],
) -> Answer:
    """Do `work` in one write transaction, unless its key has been answered before.

    Raises KeyReused where the key belongs to another request, KeyInFlight where it is being answered. A refusal that
    is raised is not kept: nothing was written.
    """
    if idempotency_key is None:
        with database.writing() as connection:
            return work(connection)
    with _in_flight(database, caller, idempotency_key), database.writing() as connection:
        kept = _kept(connection, caller, idempotency_key, digest)
        if kept is not None:
            return kept
        answer = work(connection)
        body = {name: None if name in answer.withheld else value for name, value in answer.body.items()}
        connection.execute(
            sa.insert(kept_answers).values(
                key_name=caller.name,
                idempotency_key=idempotency_key,
                request_sha256=digest,
                status=answer.status,
                body=body,
                headers=None if answer.headers is None else dict(answer.headers),
                kept_at=now,
            )
        )
        return answer


def answered_before(database: Database, caller: Caller, idempotency_key: str | None, digest: str) -> Answer | None:
    """The kept answer, for a route that would have much to read before it writes. Raises KeyReused."""
    if idempotency_key is None:
        return None
    with database.reading() as connection:
        return _kept(connection, caller, idempotency_key, digest)


def response_of(answer: Answer) -> JSONResponse:
    """As it is sent: a repeat is the first answer again, with its `request_id`, and marked as one."""
    media_type = "application/json" if answer.status < 400 else "application/problem+json"
    return JSONResponse(answer.body, answer.status, headers_of(answer), media_type)


def headers_of(answer: Answer) -> dict[str, str]:
    """Its own, and whether it is a repeat."""
    repeated = {"Idempotency-Replayed": "true"} if answer.repeated else {}
    return {**(answer.headers or {}), **repeated}


def forget_answers(connection: sa.Connection, now: datetime) -> None:
    """Delete those that were kept for as long as is promised."""
    connection.execute(sa.delete(kept_answers).where(kept_answers.c.kept_at < now - KEPT_FOR))


_guard = threading.Lock()
_under_way: set[tuple[int, str, str]] = set()


@contextmanager
def _in_flight(database: Database, caller: Caller, idempotency_key: str) -> Iterator[None]:
    mine = (id(database), caller.name, idempotency_key)
    with _guard:
        if mine in _under_way:
            raise KeyInFlight(f"the first request with Idempotency-Key '{idempotency_key}' is still being answered")
        _under_way.add(mine)
    try:
        yield
    finally:
        with _guard:
            _under_way.discard(mine)


def _kept(connection: sa.Connection, caller: Caller, idempotency_key: str, digest: str) -> Answer | None:
    query = sa.select(kept_answers).where(
        kept_answers.c.key_name == caller.name, kept_answers.c.idempotency_key == idempotency_key
    )
    kept = connection.execute(query).mappings().one_or_none()
    if kept is None:
        return None
    if kept["request_sha256"] != digest:
        raise KeyReused(
            f"Idempotency-Key '{idempotency_key}' was used on {kept['kept_at'].isoformat()} for another request"
        )
    return Answer(kept["status"], kept["body"], repeated=True, headers=kept["headers"])
