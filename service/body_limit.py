"""How large a request may be: small for everything but an import."""

from starlette.middleware.body_limit import RequestBodyLimitMiddleware
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from service.problems import TooLarge, problem_response

_IMPORTS = "/v1/imports"


class BodyLimit:
    """Refuses by the announced length with a problem document, and while reading where none is announced."""

    def __init__(self, app: ASGIApp, *, largest_bytes: int, largest_import_bytes: int) -> None:
        self._limits = {
            _IMPORTS: (largest_import_bytes, RequestBodyLimitMiddleware(app, largest_import_bytes)),
            "": (largest_bytes, RequestBodyLimitMiddleware(app, largest_bytes)),
        }
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        limit, limited = self._limits.get(scope["path"].rstrip("/"), self._limits[""])
        announced = dict(scope["headers"]).get(b"content-length", b"0")
        if announced.isdigit() and int(announced) > limit:
            answer: Response = problem_response(TooLarge(f"the body may have {limit:,} bytes"))
            await answer(scope, receive, send)
            return
        await limited(scope, receive, send)
