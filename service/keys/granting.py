"""Making, listing and revoking keys over the network: a key grants no more than it has, and sees no more either."""

from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from api_schemas.keys import Key, KeyIn, KeyList, NewKey
from api_schemas.problems import MemberProblem
from scheduler.vocabulary import Scope
from service.cursors import read_cursor, write_cursor
from service.keys.keeping import Caller, NameTaken, UnknownPlants, all_keys, make_key, revoke_key
from service.problems import BadInput, InTheWay, NotAllowed, NotFound


def grant_key(connection: sa.Connection, caller: Caller, told: KeyIn, now: datetime) -> NewKey:
    """Make the key.

    Raises NotAllowed for more than the caller has himself, BadInput for a plant that is not there, for a name that
    cannot be one and for an end that is past, InTheWay for a name that was given before.
    """
    if "/" in told.name or told.name in (".", ".."):
        says = f"'{told.name}' cannot be revoked over the network, where a name stands between two slashes"
        raise BadInput(f"name: {says}", [MemberProblem(member="name", value=told.name, says=says)])
    expires_at = now + timedelta(days=told.days) if told.days is not None else told.expires_at
    if expires_at is not None and expires_at <= now:
        says = f"{expires_at.isoformat(timespec='minutes')} is past"
        raise BadInput(f"expires_at: {says}", [MemberProblem(member="expires_at", says=says)])
    _refuse_more_than(caller, told, expires_at)
    plants = told.plants
    try:
        secret = make_key(connection, told.name, told.scopes, now=now, plants=plants, expires_at=expires_at)
    except NameTaken as taken:
        raise InTheWay(str(taken)) from None
    except UnknownPlants as error:
        slips = [
            MemberProblem(member=f"plants.{plants.index(plant)}", value=plant, says=f"there is no plant '{plant}'")
            for plant in error.plants
            if plants is not None
        ]
        raise BadInput(str(error), slips) from None
    return NewKey(**dict(_seen_key(connection, caller, told.name)), secret=secret)


def _refuse_more_than(caller: Caller, told: KeyIn, expires_at: datetime | None) -> None:
    beyond = sorted(scope for scope in set(told.scopes) if not caller.may(scope))
    if beyond:
        by_hand = "; the command line beside the database grants it" if Scope.OVERRIDE in beyond else ""
        raise NotAllowed(f"key '{caller.name}' cannot grant {', '.join(beyond)}: it does not have it{by_hand}")
    plants = None if told.plants is None else frozenset(told.plants)
    if caller.plants is not None and (plants is None or not plants <= caller.plants):
        asked = "all plants" if plants is None else ", ".join(f"'{each}'" for each in sorted(plants - caller.plants))
        raise NotAllowed(f"key '{caller.name}' cannot grant {asked}: it is for {caller.its_plants} only")
    if caller.expires_at is not None and (expires_at is None or expires_at > caller.expires_at):
        end = caller.expires_at.isoformat(timespec="minutes")
        raise NotAllowed(f"key '{caller.name}' expires at {end}; it cannot grant a key that outlives it")


def seen_keys(connection: sa.Connection, caller: Caller, *, limit: int, cursor: str | None) -> KeyList:
    """A page of the keys that the caller sees, the oldest first. Raises BadInput for a cursor that is none."""
    after = 0 if cursor is None else read_cursor(cursor, "keys", int)[0]
    rows = [row for row in all_keys(connection) if row["id"] > after and _sees(caller, row)]
    page = rows[:limit]
    return KeyList(
        items=[_on_the_wire(row) for row in page],
        next=write_cursor("keys", page[-1]["id"]) if len(rows) > limit else None,
    )


def end_key(connection: sa.Connection, caller: Caller, name: str, now: datetime) -> Key:
    """Revoke it at once; again changes nothing. Raises NotFound where the caller sees no key of that name."""
    _seen_key(connection, caller, name)
    revoke_key(connection, name, now)
    return _seen_key(connection, caller, name)


def _seen_key(connection: sa.Connection, caller: Caller, name: str) -> Key:
    for row in all_keys(connection):
        if row["name"] == name and _sees(caller, row):
            return _on_the_wire(row)
    raise NotFound(f"there is no key '{name}'")


def _sees(caller: Caller, row: dict[str, Any]) -> bool:
    """Of a caller for some plants: keys for these alone."""
    return caller.plants is None or (row["plants"] is not None and caller.plants.issuperset(row["plants"]))


def _on_the_wire(row: dict[str, Any]) -> Key:
    return Key.model_validate({name: row[name] for name in Key.model_fields})
