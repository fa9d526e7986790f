"""Conditional requests (RFC 9110, 13): what has not changed is not sent again, and what has is not changed unseen.

A weak ETag of the content stands on every JSON answer to a GET, so that it can never be older than what it stands
for: a route that knew sooner would have to know everything that its words depend on. A work order's ETag begins with
its version, which `If-Match` compares; one that a route takes from its content stays as it is. Compression changes an
ETag (8.8.3), so one may end with the coding's name.
"""

import hashlib
import re
from collections.abc import Sequence
from urllib.parse import parse_qsl, quote, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api_schemas.problems import MemberProblem
from service.problems import BadInput, ChangedMeanwhile

_VERSION = re.compile(r'"(\d{1,15})(-[0-9a-f]+)?(-gzip)?"', re.ASCII)
_JSON = "application/json"
_NEXT = re.compile(rb'"next":"([^"\\]+)"\}$')
"""The last member of every list's answer; a cursor is written without signs that JSON escapes."""


def version_told(if_match: str | None) -> int | None:
    """The version in an `If-Match`; None without one, or where it takes any. Raises BadInput."""
    if if_match is None or if_match.strip() == "*":
        return None
    found = _VERSION.fullmatch(if_match.strip())
    if found is None:
        says = 'expected one strong ETag as it was read, like "3", or *'
        raise BadInput(
            f"If-Match cannot be read: {says}", [MemberProblem(member="If-Match", value=if_match, says=says)]
        )
    return int(found[1])


def refuse_another_version(called: str, version: int, told: int | None) -> None:
    """Raises ChangedMeanwhile where the version that was told is not the one that it is at."""
    if told is not None and told != version:
        says = f"{called} is at version {version}, not {told}"
        member = MemberProblem(member="If-Match", value=f'"{told}"', says=says)
        raise ChangedMeanwhile(says, [member], {"ETag": f'"{version}"'}, version=version)


def names(if_none_match: str, etag: str) -> bool:
    """Whether it names this ETag: any of a list, weak ones too, or the star (13.1.2)."""
    told = [_opaque(each) for each in if_none_match.split(",")]
    return _opaque(etag) in told or told == ["*"]


def names_strongly(if_match: str, etag: str) -> bool:
    """Whether an `If-Match` names this strong ETag, or any: a weak one never does (13.1.1)."""
    told = [each.strip() for each in if_match.split(",")]
    return told == ["*"] or any(not tag.startswith("W/") and _opaque(tag) == etag for tag in told)


def _opaque(tag: str) -> str:
    return tag.strip().removeprefix("W/").replace('-gzip"', '"')


class ConditionalGet:
    """Gives JSON answers their ETag and answers 304 where the caller has it; a page tells where the next one is."""

    def __init__(self, app: ASGIApp, *, prefix: str) -> None:
        self._app = app
        self._prefix = prefix

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "GET" or not scope["path"].startswith(self._prefix):
            await self._app(scope, receive, send)
            return
        start: Message = {}
        parts: list[bytes] = []

        async def hold(message: Message) -> None:
            nonlocal start
            if message["type"] == "http.response.start" and _is_whole_json(message):
                start = message
            elif not start:
                await send(message)
            else:
                parts.append(message.get("body", b""))
                if not message.get("more_body", False):
                    await _answer(scope, start, b"".join(parts), send)

        await self._app(scope, receive, hold)


def _is_whole_json(start: Message) -> bool:
    return start["status"] == 200 and Headers(raw=start["headers"]).get("content-type") == _JSON


async def _answer(scope: Scope, start: Message, body: bytes, send: Send) -> None:
    headers = MutableHeaders(raw=start["headers"])
    digest = hashlib.sha256(body).hexdigest()[:16]
    own = headers.get("ETag", "").strip('"')
    if not own or own.isdigit():  # the words around a version may change without it
        headers["ETag"] = f'"{own}-{digest}"' if own else f'W/"{digest}"'
    headers.setdefault("Cache-Control", "private, no-cache")  # kept by the caller alone, and asked for each time
    following = _NEXT.search(body[-1000:])
    if following is not None:
        headers["Link"] = f'<{_with_cursor(scope, following[1].decode())}>; rel="next"'  # RFC 8288, 3
    if names(Headers(scope=scope).get("If-None-Match", ""), headers["ETag"]):
        kept = ("etag", "cache-control", "link", "vary")
        told = [(name, value) for name, value in headers.raw if name.decode() in kept]
        start = {**start, "status": 304, "headers": told}
        body = b""
    await send(start)
    await send({"type": "http.response.body", "body": body})


def _with_cursor(scope: Scope, cursor: str) -> str:
    asked: Sequence[tuple[str, str]] = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
    query = [pair for pair in asked if pair[0] != "cursor"] + [("cursor", cursor)]
    return f"{quote(scope.get('root_path', '') + scope['path'])}?{urlencode(query)}"
