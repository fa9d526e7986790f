"""What routes ask for: the database, the moment of the request and the caller with a scope."""

import json
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Header, HTTPException, Query, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBasic, HTTPBasicCredentials, HTTPBearer
from sqlalchemy.exc import OperationalError
from starlette.requests import HTTPConnection

from scheduler.vocabulary import Scope
from service.clock.now import now_utc
from service.database import Database
from service.keys.answering import digest_of
from service.keys.keeping import Caller, caller_of, keep_use
from service.problems import NotAllowed, Unauthenticated, UnauthenticatedReader

_bearer = HTTPBearer(auto_error=False, description="A key made by `elementdue keys create`.")


class _KeyAsPassword(HTTPBasic):
    """HTTP Basic of which only the password matters; what cannot be read is no key."""

    async def __call__(self, request: HTTPConnection) -> HTTPBasicCredentials | None:  # type: ignore[override]
        try:
            return await super().__call__(request)
        except HTTPException:
            return None


_key_as_password = _KeyAsPassword(
    scheme_name="KeyAsPassword",
    auto_error=False,
    description="The key as the password, with any user name: calendar programs send no bearer key.",
)


def _database(request: Request) -> Database:
    found: Database = request.app.state.database
    return found


def _now() -> datetime:
    return now_utc()


def _public_address(request: Request) -> str | None:
    found: str | None = request.app.state.public_address
    return found


PublicAddress = Annotated[str | None, Depends(_public_address)]
OpenDatabase = Annotated[Database, Depends(_database)]
Now = Annotated[datetime, Depends(_now)]
IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=200,
        description="Repeat a write with the same key within 30 days and get the same answer; nothing is done twice.",
    ),
]


IfMatch = Annotated[
    str | None,
    Header(
        alias="If-Match",
        max_length=50,
        description='The ETag as last read, like "3"; * is any version.',
        json_schema_extra={"pattern": r'^(\*|"[0-9]{1,15}(-[0-9a-f]+)?(-gzip)?")$'},
    ),
]


async def _digest(request: Request) -> str:
    """The body has been read and found to be strict JSON by now; only getting at it has to be awaited."""
    body = await request.body()
    return digest_of(f"{request.method} {request.url.path}", json.loads(body) if body else None)


RequestDigest = Annotated[str, Depends(_digest)]
"""What makes two requests without a form the same request."""


def _caller(
    request: Request,
    database: OpenDatabase,
    now: Now,
    told: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
) -> Caller:
    return _known(request, database, now, None if told is None else told.credentials, Unauthenticated)


def _caller_by_password(
    request: Request,
    database: OpenDatabase,
    now: Now,
    told: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
    password: Annotated[HTTPBasicCredentials | None, Depends(_key_as_password)],
) -> Caller:
    by_password = None if password is None else password.password
    secret = by_password if told is None else told.credentials
    return _known(request, database, now, secret, UnauthenticatedReader)


def _known(
    request: Request, database: Database, now: datetime, secret: str | None, refused: type[Unauthenticated]
) -> Caller:
    local: Caller | None = getattr(request.app.state, "local_caller", None)
    if local is not None:
        return local  # the command line beside the database, in its own process
    if secret is None:
        raise refused("send the header 'Authorization: Bearer …' with a key of this installation")
    with database.reading() as connection:
        found = caller_of(connection, secret, now)
    if found is None:
        raise refused("the key is unknown, expired or revoked")
    caller, stale = found
    request.state.caller = caller.name
    if stale:
        with suppress(OperationalError), database.writing(waits=False) as connection:  # no reader waits for an import
            keep_use(connection, secret, now)
    return caller


AnyCaller = Annotated[Caller, Depends(_caller)]
"""For what is shared by routes that each ask for a scope."""

AskedPlant = Annotated[str | None, Query(max_length=200, description="Only this plant's.")]


def refuse_other_plant(caller: Caller, plant: str | None) -> None:
    """Raises NotAllowed where a plant is asked for that the caller does not see."""
    if plant is not None and not caller.sees(plant):
        raise NotAllowed(f"key '{caller.name}' does not see plant '{plant}'; it is for {caller.its_plants} only")


def _plant_of_caller(caller: AnyCaller, plant: AskedPlant = None) -> str | None:
    refuse_other_plant(caller, plant)
    return plant


OnlyPlant = Annotated[str | None, Depends(_plant_of_caller)]
"""The plant of `?plant=`: one that the caller sees."""


def _with(
    scope: Scope, *, all_plants: bool = False, known: Callable[..., Caller] = _caller
) -> Callable[[Caller], Caller]:
    def granted(caller: Annotated[Caller, Depends(known)]) -> Caller:
        if not caller.may(scope):
            raise NotAllowed(f"this needs a key with scope '{scope}'; key '{caller.name}' does not have it")
        if all_plants and caller.plants is not None:
            raise NotAllowed(
                "this is of all plants and of what they share, so it needs a key of all plants; "
                f"key '{caller.name}' is for {caller.its_plants} only"
            )
        return caller

    return granted


Reader = Annotated[Caller, Depends(_with(Scope.READ))]
Integrator = Annotated[Caller, Depends(_with(Scope.INTEGRATE))]
Planner = Annotated[Caller, Depends(_with(Scope.PLAN))]
Worker = Annotated[Caller, Depends(_with(Scope.WORK))]
Administrator = Annotated[Caller, Depends(_with(Scope.ADMINISTER))]

ReaderOfAll = Annotated[Caller, Depends(_with(Scope.READ, all_plants=True))]
IntegratorOfAll = Annotated[Caller, Depends(_with(Scope.INTEGRATE, all_plants=True))]
PlannerOfAll = Annotated[Caller, Depends(_with(Scope.PLAN, all_plants=True))]
Stocker = Annotated[Caller, Depends(_with(Scope.STOCK, all_plants=True))]
Subscriber = Annotated[Caller, Depends(_with(Scope.READ, known=_caller_by_password))]
"""A reader whose program may know HTTP Basic alone."""
