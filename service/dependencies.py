"""What routes ask for: the database, the moment of the request and the caller with a scope."""

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Header, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy.exc import OperationalError

from scheduler.vocabulary import Scope
from service.clock.now import now_utc
from service.database import Database
from service.keys.keeping import Caller, caller_of, keep_use, use_is_stale
from service.problems import NotAllowed, Unauthenticated

_bearer = HTTPBearer(auto_error=False, description="A key made by `elementdue keys create`.")


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
        description="Repeat a write with the same key and get the same answer; nothing is done twice.",
    ),
]


def _caller(
    request: Request,
    database: OpenDatabase,
    now: Now,
    told: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
) -> Caller:
    known: Caller | None = getattr(request.app.state, "local_caller", None)
    if known is not None:
        return known  # the command line beside the database, in its own process
    if told is None:
        raise Unauthenticated("send the header 'Authorization: Bearer …' with a key of this installation")
    with database.reading() as connection:
        caller = caller_of(connection, told.credentials, now)
        stale = caller is not None and use_is_stale(connection, told.credentials, now)
    if caller is None:
        raise Unauthenticated("the key is unknown, expired or revoked")
    if stale:
        with suppress(OperationalError), database.writing(waits=False) as connection:  # no reader waits for an import
            keep_use(connection, told.credentials, now)
    return caller


def _with(scope: Scope) -> Callable[[Caller], Caller]:
    def granted(caller: Annotated[Caller, Depends(_caller)]) -> Caller:
        if not caller.may(scope):
            raise NotAllowed(f"this needs a key with scope '{scope}'; key '{caller.name}' does not have it")
        return caller

    return granted


Reader = Annotated[Caller, Depends(_with(Scope.READ))]
Integrator = Annotated[Caller, Depends(_with(Scope.INTEGRATE))]
Planner = Annotated[Caller, Depends(_with(Scope.PLAN))]
Worker = Annotated[Caller, Depends(_with(Scope.WORK))]
Administrator = Annotated[Caller, Depends(_with(Scope.ADMINISTER))]
