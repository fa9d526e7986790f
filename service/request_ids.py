"""Which request it was: an id on every answer, in every problem document and in the line that the log has of a fault.

The caller's own `X-Request-Id` is kept where it can stand in a header and in a log, so that both sides name it alike.
"""

import re
import uuid
from contextvars import ContextVar

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADER = "X-Request-Id"

_SANE = re.compile(r"[!-~]{1,100}")  # visible ASCII: nothing that begins a new line of a log
_present: ContextVar[str | None] = ContextVar("request_id", default=None)


def present_request_id() -> str | None:
    """The id of the request that is being answered, None outside of one."""
    return _present.get()


class RequestIds:
    """Gives each request its id. It is not taken back: the handler of faults runs after everything else has ended."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        told = Headers(scope=scope).get(HEADER, "")
        request_id = told if _SANE.fullmatch(told) else uuid.uuid4().hex
        _present.set(request_id)

        async def send_with_id(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message)[HEADER] = request_id
            await send(message)

        await self._app(scope, receive, send_with_id)
