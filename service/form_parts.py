"""The parts of a form: each one is known, and comes once."""

from collections.abc import Awaitable, Callable

from fastapi import Request

from api_schemas.problems import MemberProblem
from service.problems import BadInput, shown


def each_once(*known: str) -> Callable[[Request], Awaitable[None]]:
    """A dependency that refuses any other part, since one that nobody reads would be lost without a word."""

    async def check(request: Request) -> None:  # only the form, read by now, has to be awaited
        parts = [name for name, _ in (await request.form()).multi_items()]
        slips = [
            MemberProblem(member=shown(name), says=f"is not one of: {', '.join(known)}")
            for name in dict.fromkeys(parts)
            if name not in known
        ]
        slips += [
            MemberProblem(member=name, says="stands more than once; send each file in a request of its own")
            for name in known
            if parts.count(name) > 1
        ]
        if slips:
            raise BadInput("; ".join(f"{each.member}: {each.says}" for each in slips[:3]), slips)

    return check
