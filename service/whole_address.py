"""Addresses with the character NUL in them: no code holds one, and PostgreSQL takes none in a text."""

from starlette.types import ASGIApp, Receive, Scope, Send

from api_schemas.problems import MemberProblem
from service.problems import BadInput, NotFound, problem_response


class WholeAddress:
    """Answers them before a database is asked, so that every database answers alike."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and "\x00" in scope["path"]:
            await problem_response(NotFound("nothing here has the character NUL in its name"))(scope, receive, send)
        elif scope["type"] == "http" and b"%00" in scope["query_string"]:
            says = "holds the character NUL, which nothing here has in its name"
            problem = BadInput(f"the query {says}", [MemberProblem(member="query", says=says)])
            await problem_response(problem)(scope, receive, send)
        else:
            await self._app(scope, receive, send)
