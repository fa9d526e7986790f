"""Asking the API: a server over the network, or the application in this process beside its database.

Both go through the same routes, so a job closed on the command line is closed like any other.
"""

from typing import Any

import anyio
import httpx

from service.app import create_app
from service.cli.opening import local_caller, open_database
from service.cli.server_key import server_key
from service.settings import Settings

_PATIENCE_S = 60.0


class Refused(Exception):
    """The API refused; the text is the problem document in words."""

    def __init__(self, problem: dict[str, Any]) -> None:
        self.problem = problem
        lines = [str(problem.get("detail") or problem.get("title") or "refused")]
        lines += [
            f"  {error['member']}: {error['says']}"
            for error in problem.get("errors", [])
            if error["says"] not in lines[0]  # the detail of a short list has them already
        ]
        super().__init__("\n".join(lines))


class Asker:
    """Sends requests with the caller's identity and gives back what the API answers."""

    def __init__(self, server: str | None, database: str | None) -> None:
        settings = Settings()
        chosen = server or (settings.server if database is None else None)
        if chosen is not None:
            self._address = chosen
            self._headers = {"Authorization": f"Bearer {server_key(settings)}"}
            self._transport: _InProcess | None = None
        else:
            app = create_app(open_database(database), settings, ticks=False, local_caller=local_caller())
            self._address = "http://127.0.0.1"
            self._headers = {"Accept-Encoding": "identity"}
            self._transport = _InProcess(app)

    def ask_all(self, path: str, query: dict[str, Any]) -> dict[str, Any]:
        """A list's items, page after page."""
        page = self.ask("GET", path, query=query)
        items: list[Any] = page["items"]
        while page["next"] is not None:
            page = self.ask("GET", path, query=query | {"cursor": page["next"]})
            items += page["items"]
        return {"items": items}

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Any = None,
        query: dict[str, Any] | None = None,
        headers: dict[str, str] | None = None,
        file: tuple[str, bytes] | None = None,
        form: dict[str, str] | None = None,
    ) -> Any:
        """The answer's JSON, its text where it is a page, else its bytes; `file` is a name with its content, sent as
        a form.

        Raises Refused for a problem document, and for a server that cannot be reached.
        """
        given = {name: value for name, value in (query or {}).items() if value is not None}
        try:
            with httpx.Client(
                base_url=self._address, headers=self._headers, transport=self._transport, timeout=_PATIENCE_S
            ) as client:
                answer = client.request(
                    method,
                    path,
                    json=body,
                    params=given,
                    headers=headers,
                    data=form,
                    files=None if file is None else {"file": file},
                )
        except httpx.HTTPError as error:
            raise Refused({"detail": f"the server did not answer: {error}"}) from None
        if answer.is_success:
            media_type = answer.headers.get("Content-Type", "").partition(";")[0]
            if media_type == "application/json":
                return answer.json()
            return answer.text if media_type == "text/html" else answer.content
        try:
            problem = answer.json()
        except ValueError:
            problem = {"detail": f"the server answered {answer.status_code}: {answer.text[:200]}"}
        raise Refused(problem)


class _InProcess(httpx.BaseTransport):
    """The application called directly, one request at a time."""

    def __init__(self, app: Any) -> None:
        self._transport = httpx.ASGITransport(app)

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        async def call() -> httpx.Response:
            answer = await self._transport.handle_async_request(request)
            content = await answer.aread()
            return httpx.Response(answer.status_code, headers=answer.headers, content=content)

        return anyio.run(call)
