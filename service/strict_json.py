"""JSON at the door, stricter than the parser: what two readers could understand differently is refused.

RFC 8259 leaves a name that stands twice to the reader, and the standard library takes NaN, Infinity, 1e999 and lone
surrogates. RFC 7493 (I-JSON) says what everybody reads the same: names once (2.3), numbers within a double (2.2),
text without surrogates (2.1). NUL is refused because not every database can keep it.
"""

import json
import math
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from typing import Any

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api_schemas.problems import MemberProblem
from service.body_limit import READINGS
from service.problems import Problem, TooLarge, WrongContentType, problem_response, shown

_BODY_METHODS = frozenset({"POST", "PUT", "PATCH", "DELETE"})
_LARGEST_EXACT = 2**53  # RFC 7493, 2.2: beyond it readers that hold numbers as doubles differ
_DEEPEST = 32  # ours: no body of this service nests deeper than six
_TOLD_AT_MOST = 100


class StrictJson:
    """Reads the JSON bodies of the API, refuses what is not strict, and hands the same bytes on."""

    def __init__(self, app: ASGIApp, *, prefix: str) -> None:
        self._app = app
        self._prefix = prefix

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        of_the_api = scope["type"] == "http" and scope["path"].startswith(self._prefix)
        if not of_the_api or scope["method"] not in _BODY_METHODS:
            await self._app(scope, receive, send)
            return
        media_type = Headers(scope=scope).get("content-type", "").partition(";")[0].strip().lower()
        if media_type == "multipart/form-data" or READINGS.fullmatch(scope["path"]):  # whose route reads as strictly
            await self._app(scope, receive, send)
            return
        try:
            body = await _whole_body(receive)
            if body:
                _check(body, media_type)
        except Problem as refused:
            await problem_response(refused)(scope, receive, send)
            return
        if body is not None:
            await self._app(scope, _again(body, receive), send)


async def _whole_body(receive: Receive) -> bytes | None:
    """The body, None where the caller has gone. Raises TooLarge where the limit ends it."""
    chunks: list[bytes] = []
    while True:
        try:
            message = await receive()
        except HTTPException as limit:
            raise TooLarge(str(limit.detail)) from None
        if message["type"] != "http.request":
            return None
        chunks.append(message.get("body", b""))
        if not message.get("more_body", False):
            return b"".join(chunks)


def _again(body: bytes, receive: Receive) -> Receive:
    waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def replay() -> Message:
        return waiting.pop() if waiting else await receive()

    return replay


def _check(body: bytes, media_type: str) -> None:
    kind, _, subtype = media_type.partition("/")
    if kind != "application" or (subtype != "json" and not subtype.endswith("+json")):
        says = "send the body with Content-Type application/json, a file with multipart/form-data"
        raise WrongContentType(
            f"{says}; it came with {shown(media_type) or 'none'}",
            [MemberProblem(member="Content-Type", value=shown(media_type), says=says)],
        )
    parse_strictly(body)


def parse_strictly(body: bytes) -> Any:
    """The value that `body` says. Raises Problem (400) naming each member that two readers could read differently."""
    try:
        value = json.loads(body.decode("utf-8-sig"), object_pairs_hook=_object)
    except UnicodeDecodeError as error:
        raise _refused(f"the body is not UTF-8: {error.reason} at byte {error.start}") from None
    except RecursionError:
        raise _refused(f"the body nests deeper than {_DEEPEST} levels") from None
    except ValueError as error:
        raise _refused(f"the body is not JSON: {error}") from None
    errors = list(islice(_slips(value, ()), _TOLD_AT_MOST))
    if errors:
        raise Problem("; ".join(f"{each.member}: {each.says}" for each in errors[:3]), errors)
    return value


class _Object(dict[str, Any]):
    """An object with the names that stood in it more than once."""

    twice: tuple[str, ...] = ()


def _object(pairs: list[tuple[str, Any]]) -> _Object:
    found = _Object(pairs)
    if len(found) < len(pairs):
        times = Counter(name for name, _ in pairs)
        found.twice = tuple(name for name, count in times.items() if count > 1)
    return found


def _refused(says: str) -> Problem:
    return Problem(says, [MemberProblem(member="body", says=says)])


def _slips(value: Any, path: tuple[str, ...]) -> Iterator[MemberProblem]:
    if len(path) > _DEEPEST:
        yield _slip(path[:3], f"nests deeper than {_DEEPEST} levels")
        return
    match value:
        case _Object():
            yield from (_slip((*path, name), "stands twice in one object") for name in value.twice)
            for name, inner in value.items():
                if (says := _unfit(name)) is not None:
                    yield _slip((*path, name), f"this name {says}")
                if not _is_plain(inner):
                    yield from _slips(inner, (*path, name))
        case list():
            for index, inner in enumerate(value):
                if not _is_plain(inner):
                    yield from _slips(inner, (*path, str(index)))
        case str():
            if (says := _unfit(value)) is not None:
                yield _slip(path, says, value)
        case float() if not math.isfinite(value):
            yield _slip(path, "expected a finite number", value)
        case int() if abs(value) > _LARGEST_EXACT:
            yield _slip(path, "is beyond ±2^53, which not every reader holds exactly", value)


def _is_plain(value: Any) -> bool:
    """Whether nothing is wrong at a glance: of fifty thousand rows most values are of this kind."""
    kind = type(value)
    if kind is _Object:
        return not value.twice and all(map(_is_plain_scalar, value)) and all(map(_is_plain_scalar, value.values()))
    return _is_plain_scalar(value)


def _is_plain_scalar(value: Any) -> bool:
    kind = type(value)
    if kind is str:
        return value.isascii() and "\x00" not in value
    if kind is float:
        return math.isfinite(value)
    return value is None or kind is bool or (kind is int and -_LARGEST_EXACT <= value <= _LARGEST_EXACT)


def _unfit(text: str) -> str | None:
    if "\x00" in text:
        return "holds the character NUL, which cannot be kept"
    if not text.isascii() and any("\ud800" <= character <= "\udfff" for character in text):
        return "holds half of a surrogate pair, which is no character"
    return None


def _slip(path: tuple[str, ...], says: str, value: Any = None) -> MemberProblem:
    member = shown(".".join(path)) or "body"
    return MemberProblem(member=member, value=None if value is None else shown(value), says=says)
