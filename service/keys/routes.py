"""`/v1/me` and `/v1/keys`: what the key that asks may do, and the keys that it gives out."""

from typing import Annotated

from fastapi import APIRouter, Body, Query, Response

from api_schemas.keys import Key, KeyIn, KeyList, Me, NewKey
from service.cursors import PageAfter
from service.dependencies import Administrator, Now, OpenDatabase, Reader
from service.keys.granting import end_key, grant_key, seen_keys

router = APIRouter(tags=["keys"])

EXAMPLE = {"name": "shift B", "scopes": ["read", "work"], "plants": ["HARBOUR"], "days": 90}
LONGEST_PAGE = 500


@router.get("/me", summary="Who this key is")
def show_me(caller: Reader) -> Me:
    """Its name and scopes, the plants that it sees, and when it expires."""
    return Me(
        name=caller.name,
        scopes=sorted(caller.scopes),
        plants=None if caller.plants is None else sorted(caller.plants),
        expires_at=caller.expires_at,
    )


@router.get("/keys", summary="Every key, without its secret")
def list_keys(
    caller: Administrator,
    database: OpenDatabase,
    limit: Annotated[int, Query(ge=1, le=LONGEST_PAGE, description="Keys on a page.")] = 100,
    cursor: PageAfter = None,
) -> KeyList:
    """The oldest first, revoked ones too. A key that is for some plants sees keys for these alone."""
    with database.reading() as connection:
        return seen_keys(connection, caller, limit=limit, cursor=cursor)


@router.post(
    "/keys",
    status_code=201,
    summary="Make a key",
    responses={
        403: {"description": "More than the key that asks may do or see itself"},
        409: {"description": "The name was given before: names are identities"},
    },
)
def create_key(
    caller: Administrator,
    database: OpenDatabase,
    now: Now,
    body: Annotated[KeyIn, Body(examples=[EXAMPLE])],
    response: Response,
) -> NewKey:
    """The answer is the only place where its secret ever stands; the database has a hash.

    So no answer is kept for a repeat, and an `Idempotency-Key` is not taken: the name makes a request the same
    request, and a second one is refused. Whoever lost the answer revokes that key and makes one of another name.
    A key grants no more than it has: its own scopes, its own plants, and no longer than itself. `administer` has
    every scope but `override`.
    """
    response.headers["Cache-Control"] = "no-store"
    with database.writing() as connection:
        return grant_key(connection, caller, body, now)


@router.post("/keys/{key_name}/revoke", summary="Revoke a key at once")
def revoke(caller: Administrator, database: OpenDatabase, now: Now, key_name: str) -> Key:
    """Again changes nothing, so no `Idempotency-Key` is needed. Its records stay its own; its name is not free.

    One with a slash in its name was made by the command line beside the database, which revokes it, too.
    """
    with database.writing() as connection:
        return end_key(connection, caller, key_name, now)
