"""How large a request may be: small for everything but an import's upload, a file for a close-out, and readings."""

import re

from starlette.datastructures import Headers
from starlette.middleware.body_limit import RequestBodyLimitMiddleware
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from service.problems import TooLarge, problem_response

_FORM = "multipart/form-data"  # anything else is parsed in memory and stays small
_IMPORTS = re.compile(r"/v1/imports/?")
_FILES = re.compile(r"/v1/close-outs/[^/]+/files/?")
READINGS = re.compile(r"/v1/(meter|dp)-readings/?")
_FRAME_BYTES = 50_000  # ours: what a form puts around a file, with a line of 2,000 letters and a long name
_DIGITS = 30


class BodyLimit:
    """Refuses by the announced length with a problem document, and while reading where none is announced."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        largest_bytes: int,
        largest_import_bytes: int,
        largest_file_bytes: int,
        largest_readings_bytes: int,
    ) -> None:
        with_frame = largest_file_bytes + _FRAME_BYTES
        self._uploads = (
            (_IMPORTS, largest_import_bytes, RequestBodyLimitMiddleware(app, largest_import_bytes)),
            (_FILES, with_frame, RequestBodyLimitMiddleware(app, with_frame)),
        )
        self._readings = (largest_readings_bytes, RequestBodyLimitMiddleware(app, largest_readings_bytes))
        self._other = (largest_bytes, RequestBodyLimitMiddleware(app, largest_bytes))
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        limit, limited = self._limit(scope["path"], headers.get("content-type", ""))
        announced = headers.get("content-length", "")
        if announced.isascii() and announced.isdigit() and int(announced[:_DIGITS]) > limit:
            answer: Response = problem_response(TooLarge(f"the body may have {limit:,} bytes"))
            await answer(scope, receive, send)
            return
        await limited(scope, receive, send)

    def _limit(self, path: str, content_type: str) -> tuple[int, RequestBodyLimitMiddleware]:
        if content_type.lower().startswith(_FORM):
            for pattern, limit, limited in self._uploads:
                if pattern.fullmatch(path):
                    return limit, limited
        return self._readings if READINGS.fullmatch(path) else self._other
