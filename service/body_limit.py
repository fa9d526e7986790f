"""How large a request may be: small for everything but an import's upload."""

from starlette.datastructures import Headers
from starlette.middleware.body_limit import RequestBodyLimitMiddleware
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from service.problems import TooLarge, problem_response

_IMPORTS, _FORM = "/v1/imports", "multipart/form-data"  # anything else is parsed in memory and stays small
_DIGITS = 30


class BodyLimit:
    """Refuses by the announced length with a problem document, and while reading where none is announced."""

    def __init__(self, app: ASGIApp, *, largest_bytes: int, largest_import_bytes: int) -> None:
        self._upload = (largest_import_bytes, RequestBodyLimitMiddleware(app, largest_import_bytes))
        self._other = (largest_bytes, RequestBodyLimitMiddleware(app, largest_bytes))
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        is_form = headers.get("content-type", "").lower().startswith(_FORM)
        is_upload = is_form and scope["path"].rstrip("/") == _IMPORTS
        limit, limited = self._upload if is_upload else self._other
        announced = headers.get("content-length", "")
        if announced.isascii() and announced.isdigit() and int(announced[:_DIGITS]) > limit:
            answer: Response = problem_response(TooLarge(f"the body may have {limit:,} bytes"))
            await answer(scope, receive, send)
            return
        await limited(scope, receive, send)
