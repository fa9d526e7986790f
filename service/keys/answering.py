"""The same `Idempotency-Key`, the same answer: a write and its answer are kept in one transaction."""

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service.database import Database
from service.keys.keeping import Caller
from service.keys.tables import kept_answers
from service.problems import KeyReused


@dataclass(frozen=True, slots=True)
class Answer:
    """What a write answers; `repeated` where it was kept from an earlier request."""

    status: int
    body: dict[str, Any]
    repeated: bool = False


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

    Raises KeyReused where the key belongs to another request. A refusal that is raised is not kept:
    nothing was written.
    """
    with database.writing() as connection:
        if idempotency_key is None:
            return work(connection)
        kept = _kept(connection, caller, idempotency_key)
        if kept is not None:
            if kept["request_sha256"] != digest:
                raise KeyReused(
                    f"Idempotency-Key '{idempotency_key}' was used on {kept['kept_at'].isoformat()} "
                    "for a request with another body"
                )
            return Answer(kept["status"], kept["body"], repeated=True)
        answer = work(connection)
        connection.execute(
            sa.insert(kept_answers).values(
                key_name=caller.name,
                idempotency_key=idempotency_key,
                request_sha256=digest,
                status=answer.status,
                body=answer.body,
                kept_at=now,
            )
        )
        return answer


def _kept(connection: sa.Connection, caller: Caller, idempotency_key: str) -> sa.RowMapping | None:
    query = sa.select(kept_answers).where(
        kept_answers.c.key_name == caller.name, kept_answers.c.idempotency_key == idempotency_key
    )
    return connection.execute(query).mappings().one_or_none()
