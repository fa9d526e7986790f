"""Which `Host` a request may name: a page elsewhere must not reach this server under a name of its own."""

import re

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from api_schemas.problems import MemberProblem
from service.problems import UnknownHost, problem_response, shown

_HOST = re.compile(r"(?P<name>\[[0-9a-f:.]+\]|[a-z0-9._-]+)(:\d{1,5})?", re.IGNORECASE)


class KnownHost:
    """Refuses every name but the allowed ones; `*.example.com` allows each name under it."""

    def __init__(self, app: ASGIApp, *, allowed: tuple[str, ...]) -> None:
        self._app = app
        self._names = frozenset(name.lower() for name in allowed if not name.startswith("*."))
        self._endings = tuple(name[1:].lower() for name in allowed if name.startswith("*."))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] in {"http", "websocket"}:
            told = Headers(scope=scope).get("host", "")
            if not self._is_known(told):
                says = "expected a name of this server; ELEMENTDUE_ALLOWED_HOSTS lists them"
                member = MemberProblem(member="Host", value=shown(told), says=says)
                await problem_response(UnknownHost(f"Host: {says}", [member]))(scope, receive, send)
                return
        await self._app(scope, receive, send)

    def _is_known(self, told: str) -> bool:
        found = _HOST.fullmatch(told)
        if found is None:
            return False
        name = found["name"].lower()
        return name in self._names or name.endswith(self._endings)
