"""The one error tree: each class knows its status and its stable type, one handler renders them (RFC 9457)."""

import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, ClassVar

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import OperationalError
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.routing import compile_path

from api_schemas.problems import MemberProblem, ProblemDocument
from service.database import is_busy
from service.request_ids import HEADER, present_request_id

_SHOWN_AT_MOST = 200
_log = logging.getLogger("elementdue.requests")


class Problem(Exception):
    """Something that the caller can mend; the document says what."""

    status: ClassVar[int] = 400
    slug: ClassVar[str] = "bad-request"
    title: ClassVar[str] = "The request cannot be understood"
    headers: Mapping[str, str] = {}

    def __init__(
        self,
        detail: str,
        errors: Sequence[MemberProblem] = (),
        headers: Mapping[str, str] | None = None,
        **extra: Any,
    ) -> None:
        """`headers` are added to those of its class; `extra` members stand in the document as they are."""
        super().__init__(detail)
        self.detail = detail
        self.errors = list(errors)
        self.headers = {**type(self).headers, **(headers or {})}
        self.extra = extra


class UnknownHost(Problem):
    """The request names a host that this server does not answer for; its names are a setting of the server."""

    status = 400
    slug = "unknown-host"
    title = "The Host is not one of this server's names"


class Unauthenticated(Problem):
    """Send the header `Authorization: Bearer` with a key of this installation that still holds."""

    status = 401
    slug = "key-needed"
    title = "A valid bearer key is needed"
    headers: Mapping[str, str] = {"WWW-Authenticate": "Bearer"}


class UnauthenticatedReader(Unauthenticated):
    """Where a key may come as a password, too: both schemes are offered (RFC 7617; RFC 9110, 11.6.1)."""

    headers: Mapping[str, str] = {"WWW-Authenticate": 'Basic realm="elementdue", charset="UTF-8", Bearer'}


class NotAllowed(Problem):
    """The key is good, but its scopes or its plants do not grant this; another key may."""

    status = 403
    slug = "not-allowed"
    title = "The key does not grant this"


class NotFound(Problem):
    """Nothing that this key sees has this address or number."""

    status = 404
    slug = "not-found"
    title = "There is no such thing"


class InTheWay(Problem):
    """What is asked for does not fit what is there now; read it again, and decide anew."""

    status = 409
    slug = "state-in-the-way"
    title = "The present state does not allow this"


class ConfirmationNeeded(Problem):
    """What was fitted or poured is not what is specified: recorded only when confirmed with a reason."""

    status = 409
    slug = "confirmation-needed"
    title = "What was fitted or poured is not what is specified"


class NotAsSpecified(Problem):
    """What was checked before the job must not be used; nothing of the job was changed, the check itself was kept."""

    status = 409
    slug = "not-as-specified"
    title = "What was checked is not what the job needs"


class KitShort(Problem):
    """Some parts or oil are missing, or held for other work: nothing was reserved."""

    status = 409
    slug = "kit-short"
    title = "The kit cannot be reserved in full"


class FeedNoLongerKept(Problem):
    """Lines of the feed are kept for some weeks. Read what stands anew, then go on after the newest number."""

    status = 410
    slug = "feed-no-longer-kept"
    title = "Lines of the feed that were asked for are no longer kept"


class ChangedMeanwhile(Problem):
    """`If-Match` names an earlier version than the present one, which `version` tells: read it again, and decide
    anew."""

    status = 412
    slug = "changed-meanwhile"
    title = "It was changed since it was read"


class KeyInFlight(Problem):
    """The first request with this `Idempotency-Key` is still being answered. Sent again after a moment it gets the
    first one's answer."""

    status = 409
    slug = "idempotency-key-in-flight"
    title = "The request with this Idempotency-Key is still being answered"
    headers: Mapping[str, str] = {"Retry-After": "1"}


class TooLarge(Problem):
    """Send less at a time; the document says how much is taken."""

    status = 413
    slug = "too-large"
    title = "The request is too large"


class WrongContentType(Problem):
    """JSON is taken as application/json, a file as multipart/form-data; nothing is guessed."""

    status = 415
    slug = "wrong-content-type"
    title = "The body's Content-Type is not taken here"


class BadInput(Problem):
    """Members of the body, the form, the address or the headers are not what they have to be; each is named with what
    was expected."""

    status = 422
    slug = "bad-input"
    title = "Some of the input cannot be taken"


class FileNotTaken(Problem):
    """What the file is, is decided by its content: a whole JPEG, PNG or PDF that can be read without a password."""

    status = 422
    slug = "file-not-taken"
    title = "The file cannot be taken as evidence"


class CannotBeTrue(Problem):
    """What is told contradicts the record that the document names: one of the two is wrong."""

    status = 422
    slug = "cannot-be-true"
    title = "A statement contradicts what is known"


class KeyReused(Problem):
    """An `Idempotency-Key` names one request. A request with another body or address needs a key of its own."""

    status = 422
    slug = "idempotency-key-reused"
    title = "The Idempotency-Key belongs to another request"


class IfMatchNeeded(Problem):
    """This could undo what somebody else has just done. Read the order, and send its ETag with `If-Match`; `*` says
    that any version is meant."""

    status = 428
    slug = "if-match-needed"
    title = "Say with If-Match which version is meant"


class TooManyRequests(Problem):
    """This key, or this address, has asked for more within a minute than it may. Nothing was done; `Retry-After` says
    after how many seconds it is answered again."""

    status = 429
    slug = "too-many-requests"
    title = "Too many requests within a minute"


class Fault(Problem):
    """The fault is ours and has been logged with the `request_id`; nothing of the request was kept."""

    status = 500
    slug = "internal-fault"
    title = "Internal fault"


class Busy(Problem):
    """Another writer, such as a large import, has held the database for longer than a request waits."""

    status = 503
    slug = "busy"
    title = "The database is busy"
    headers: Mapping[str, str] = {"Retry-After": "10"}


PROBLEMS: tuple[type[Problem], ...] = (Problem, *Problem.__subclasses__())
"""Every class, the stem first: each has a page under its `type`."""


_OF_THE_FRAMEWORK: dict[int, type[Problem]] = {400: Problem, 404: NotFound, 413: TooLarge}


def _response(document: ProblemDocument, headers: Mapping[str, str]) -> Response:
    # ascii output: a lone surrogate that a caller sent must not break the answer that names it
    body = document.model_dump_json(ensure_ascii=True)
    named = dict(headers)
    if document.request_id is not None:
        named[HEADER] = document.request_id  # the answer to a fault is sent past `RequestIds`
    return Response(body, document.status, named, "application/problem+json")


def shown(value: Any) -> str:
    """A value as a problem shows it: short, and without anything that cannot be printed."""
    text = value if isinstance(value, str) else repr(value)
    text = "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text[: _SHOWN_AT_MOST + 1])
    return text if len(text) <= _SHOWN_AT_MOST else text[:_SHOWN_AT_MOST] + "…"


def document_of(problem: Problem) -> ProblemDocument:
    """What is sent of a problem, with its `extra` members."""
    document = ProblemDocument(
        type=f"/problems/{problem.slug}",
        title=problem.title,
        status=problem.status,
        detail=problem.detail,
        errors=problem.errors,
        request_id=present_request_id(),
    )
    return document.model_copy(update=problem.extra)


def problem_response(problem: Problem) -> Response:
    """The document of one problem."""
    return _response(document_of(problem), problem.headers)


def _methods_at(app: FastAPI, path: str) -> str:
    """Of every route at this path: the framework knows those of the first one only."""
    described: dict[str, dict[str, Any]] = app.openapi()["paths"]
    there = [methods for template, methods in described.items() if compile_path(template)[0].fullmatch(path)]
    return ", ".join(sorted({method.upper() for methods in there for method in methods}))


def install(app: FastAPI) -> None:
    """Render every error of `app` as a problem document."""

    @app.exception_handler(Problem)
    def _known(_request: Request, problem: Problem) -> Response:
        return problem_response(problem)

    @app.exception_handler(RequestValidationError)
    def _invalid(_request: Request, error: RequestValidationError) -> Response:
        errors = [
            MemberProblem(
                member=shown(".".join(str(part) for part in found["loc"] if part != "body")) or "body",
                value=shown(found.get("input")),
                says=found["msg"].removeprefix("Value error, "),
            )
            for found in error.errors()
        ]
        detail = "; ".join(f"{found.member}: {found.says}" for found in errors[:3])
        return problem_response(BadInput(detail, errors))

    @app.exception_handler(HTTPException)
    def _http(request: Request, error: HTTPException) -> Response:
        known = _OF_THE_FRAMEWORK.get(error.status_code)
        if known is not None:
            return problem_response(known(str(error.detail)))
        phrase = HTTPStatus(error.status_code).phrase  # RFC 9457, 4.2.1: about:blank says no more than the status
        document = ProblemDocument(
            type="about:blank",
            title=phrase,
            status=error.status_code,
            detail=str(error.detail),
            request_id=present_request_id(),
        )
        headers = dict(error.headers or {})
        if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            headers["Allow"] = _methods_at(app, request.url.path) or headers.get("Allow", "")
        return _response(document, headers)

    @app.exception_handler(OperationalError)
    def _busy(_request: Request, error: OperationalError) -> Response:
        if not is_busy(error):
            raise error
        return problem_response(Busy("another writer has the database; nothing of this request was kept, try again"))

    @app.exception_handler(Exception)
    def _fault(request: Request, error: Exception) -> Response:
        told = (present_request_id(), request.method, shown(request.url.path), type(error).__name__)
        _log.error("request %s, %s %s, failed with %s", *told)  # the server logs the traceback
        return problem_response(Fault("The fault is ours and has been logged; nothing of this request was kept."))
