"""What every method of the client does: ask, and read the answer as its model; turn pages; write once."""

import random
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar
from urllib.parse import quote

import httpx
from pydantic import BaseModel, ValidationError

from api_schemas.client.errors import NotReached
from api_schemas.client.sending import Patience, Sender

Answer = TypeVar("Answer", bound=BaseModel)


ANY = "*"
"""For verbs that ask for a version, where none matters."""

_PAGE = 500


class Asking:
    """One server, asked with one key. Use it as a context manager, or `disconnect` it."""

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
        self.sender = Sender(
            server, key, ca_file=ca_file, patience=patience, transport=transport, sleep=sleep, draw=draw
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.disconnect()

    def disconnect(self) -> None:
        """Close its connections."""
        self.sender.close()

    def _get(self, model: type[Answer], path: str, query: Mapping[str, Any] | None = None) -> Answer:
        return read_as(model, self.sender.send("GET", path, query=query))

    def _pages(
        self, model: type[Answer], path: str, query: Mapping[str, Any], limit: int = _PAGE
    ) -> Iterator[Answer]:
        """A page is asked for when the one before has been used."""
        cursor: str | None = None
        while True:
            page = self._get(model, path, {**query, "limit": limit, "cursor": cursor})
            yield page
            cursor = getattr(page, "next", None)
            if cursor is None:
                return

    def _post(
        self,
        model: type[Answer],
        path: str,
        body: BaseModel | None,
        idempotency_key: str | None,
        if_version: int | str | None = None,
    ) -> Answer:
        """Of the body only what was said: a member that is not sent is not the same as null."""
        content = None if body is None else body.model_dump(mode="json", exclude_unset=True)
        return read_as(
            model, self.sender.send("POST", path, headers=headers(idempotency_key, if_version), json=content)
        )


def headers(idempotency_key: str | None, if_version: int | str | None = None) -> dict[str, str]:
    """Of a write: its key, a new one where none is given, and the version that it is meant for, or `ANY`."""
    told = {"Idempotency-Key": idempotency_key or str(uuid.uuid4())}
    if if_version is None:
        return told
    return told | {"If-Match": ANY if if_version == ANY else f'"{if_version}"'}


def read_as(model: type[Answer], answer: httpx.Response) -> Answer:
    """The answer as its model; members that a newer service adds are left out.

    Raises NotReached where it is something else, such as the page of a network that wants a login.
    """
    try:
        return model.model_validate_json(answer.content, extra="ignore")
    except ValidationError:
        raise NotReached(f"what answered {answer.request.url.path} is not the service: no {model.__name__}") from None


def moment(at: datetime | None) -> str | None:
    """As the service takes it. Raises ValueError for a time without an offset."""
    if at is None:
        return None
    if at.tzinfo is None:
        raise ValueError(f"{at.isoformat()} has no offset; where is it that late?")
    return at.isoformat()


def in_path(code: str) -> str:
    """A code of the plant's own as one part of an address.

    >>> in_path("PRESS 1/RET")
    'PRESS%201%2FRET'
    """
    return quote(code, safe="")
