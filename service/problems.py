"""The one error tree: each class knows its status and its stable type, one handler renders them (RFC 9457)."""

from collections.abc import Sequence
from typing import Any, ClassVar

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api_schemas.problems import MemberProblem, ProblemDocument

_SHOWN_AT_MOST = 200


class Problem(Exception):
    """Something that the caller can mend; `extra` members stand in the document as they are."""

    status: ClassVar[int] = 400
    slug: ClassVar[str] = "bad-request"
    title: ClassVar[str] = "The request cannot be understood"

    def __init__(self, detail: str, errors: Sequence[MemberProblem] = (), **extra: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.errors = list(errors)
        self.extra = extra


class Unauthenticated(Problem):
    status = 401
    slug = "key-needed"
    title = "A valid bearer key is needed"


class NotAllowed(Problem):
    status = 403
    slug = "not-allowed"
    title = "The key does not grant this"


class NotFound(Problem):
    status = 404
    slug = "not-found"
    title = "There is no such thing"


class InTheWay(Problem):
    status = 409
    slug = "state-in-the-way"
    title = "The present state does not allow this"


class ConfirmationNeeded(Problem):
    """What was fitted or poured is not what is specified: recorded only when confirmed with a reason."""

    status = 409
    slug = "confirmation-needed"
    title = "What was fitted or poured is not what is specified"


class ChangedMeanwhile(Problem):
    status = 412
    slug = "changed-meanwhile"
    title = "It was changed since it was read"


class TooLarge(Problem):
    status = 413
    slug = "too-large"
    title = "The request is too large"


class BadInput(Problem):
    status = 422
    slug = "bad-input"
    title = "Some of the input cannot be taken"


class CannotBeTrue(Problem):
    status = 422
    slug = "cannot-be-true"
    title = "A statement contradicts what is known"


class KeyReused(Problem):
    status = 422
    slug = "idempotency-key-reused"
    title = "The Idempotency-Key belongs to another request"


class IfMatchNeeded(Problem):
    status = 428
    slug = "if-match-needed"
    title = "Say with If-Match which version is meant"


def _document(status: int, slug: str, title: str, detail: str, errors: list[MemberProblem]) -> ProblemDocument:
    return ProblemDocument(type=f"/problems/{slug}", title=title, status=status, detail=detail, errors=errors)


def _response(document: ProblemDocument, headers: dict[str, str] | None = None) -> Response:
    # ascii output: a lone surrogate that a caller sent must not break the answer that names it
    body = document.model_dump_json(ensure_ascii=True)
    return Response(body, document.status, headers, "application/problem+json")


def shown(value: Any) -> str:
    """A value as a problem shows it: short, and without anything that cannot be printed."""
    text = value if isinstance(value, str) else repr(value)
    text = text.encode("utf-8", "backslashreplace").decode()
    return text if len(text) <= _SHOWN_AT_MOST else text[:_SHOWN_AT_MOST] + "…"


def problem_response(problem: Problem) -> Response:
    """The document of one problem."""
    document = _document(problem.status, problem.slug, problem.title, problem.detail, problem.errors)
    headers = {"WWW-Authenticate": "Bearer"} if problem.status == Unauthenticated.status else None
    return _response(document.model_copy(update=problem.extra), headers)


def install(app: FastAPI) -> None:
    """Render every error of `app` as a problem document."""

    @app.exception_handler(Problem)
    def _known(_request: Request, problem: Problem) -> Response:
        return problem_response(problem)

    @app.exception_handler(RequestValidationError)
    def _invalid(_request: Request, error: RequestValidationError) -> Response:
        errors = [
            MemberProblem(
                member=".".join(str(part) for part in found["loc"] if part != "body") or "body",
                value=shown(found.get("input")),
                says=found["msg"].removeprefix("Value error, "),
            )
            for found in error.errors()
        ]
        detail = "; ".join(f"{found.member}: {found.says}" for found in errors[:3])
        return _response(_document(422, BadInput.slug, BadInput.title, detail, errors))

    @app.exception_handler(HTTPException)
    def _http(_request: Request, error: HTTPException) -> Response:
        slug = {404: NotFound.slug, 405: "method-not-allowed", 413: TooLarge.slug}.get(error.status_code, "http")
        headers = dict(error.headers) if error.headers else None
        return _response(_document(error.status_code, slug, str(error.detail), str(error.detail), []), headers)

    @app.exception_handler(Exception)
    def _fault(_request: Request, _error: Exception) -> Response:
        detail = "The fault is ours and has been logged; nothing of this request was kept."
        return _response(_document(500, "internal-fault", "Internal fault", detail, []))
