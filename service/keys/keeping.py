"""Making, finding and revoking bearer keys. A key is 256 random bits; the database holds its SHA-256."""

import hashlib
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.keys.tables import api_keys
from service.plant_folder import tables as t

_PREFIX = "edk_"  # makes a leaked key recognisable to secret scanners
_LAST_USE_IS_KEPT_EVERY = timedelta(minutes=10)


class NameTaken(ValueError):
    """There is or was a key of that name."""


class UnknownPlants(ValueError):
    """A key for plants that are not there."""

    def __init__(self, plants: Sequence[str]) -> None:
        super().__init__("; ".join(f"there is no plant '{plant}'" for plant in plants))
        self.plants = plants


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks: the key's name is the identity that every record carries."""

    name: str
    scopes: frozenset[Scope]
    plants: frozenset[str] | None = None
    """The only plants that it may see and change; None: all of them, and what plants share."""
    expires_at: datetime | None = None

    def may(self, scope: Scope) -> bool:
        """`administer` implies every scope but `override`."""
        if scope in self.scopes:
            return True
        return scope is not Scope.OVERRIDE and Scope.ADMINISTER in self.scopes

    def sees(self, plant: str) -> bool:
        """Whether this plant is one of its own."""
        return self.plants is None or plant in self.plants

    @property
    def its_plants(self) -> str:
        """In words."""
        return "all plants" if self.plants is None else ", ".join(f"'{plant}'" for plant in sorted(self.plants))

    def only(self, plant: sa.ColumnElement[str]) -> sa.ColumnElement[bool]:
        """Of rows with this column, those of its plants."""
        return sa.true() if self.plants is None else plant.in_(sorted(self.plants))

    def only_systems(self, system: sa.ColumnElement[str]) -> sa.ColumnElement[bool]:
        """Of rows that name a system and no plant, those of its plants."""
        if self.plants is None:
            return sa.true()
        return system.in_(sa.select(t.systems.c.system).where(self.only(t.systems.c.plant)))


def make_key(
    connection: sa.Connection,
    name: str,
    scopes: Iterable[Scope],
    *,
    now: datetime,
    plants: Iterable[str] | None = None,
    expires_at: datetime | None = None,
) -> str:
    """Keep a new key and return its secret, which is shown this once. With `plants` it sees these alone.

    Raises NameTaken and UnknownPlants, each a ValueError.
    """
    if connection.scalar(sa.select(api_keys.c.id).where(api_keys.c.name == name)) is not None:
        raise NameTaken(f"a key named '{name}' exists already; names are identities and are not given twice")
    only = None if plants is None else sorted(set(plants))
    if only is not None:
        there = set(connection.scalars(sa.select(t.plants.c.plant)))
        unknown = [plant for plant in only if plant not in there]
        if unknown:
            raise UnknownPlants(unknown)
    secret = _PREFIX + secrets.token_urlsafe(32)
    connection.execute(
        sa.insert(api_keys).values(
            name=name,
            secret_sha256=_digest(secret),
            scopes=sorted(set(scopes)),
            plants=only,
            created_at=now,
            expires_at=expires_at,
        )
    )
    return secret


def caller_of(connection: sa.Connection, secret: str, now: datetime) -> tuple[Caller, bool] | None:
    """The caller whose key this is, or None where it is unknown, expired or revoked.

    And whether the key's last use should be written again: not at every request, since each costs a write.
    """
    query = sa.select(api_keys).where(api_keys.c.secret_sha256 == _digest(secret))
    row = connection.execute(query).mappings().one_or_none()
    if row is None or row["revoked_at"] is not None:
        return None
    if row["expires_at"] is not None and row["expires_at"] <= now:
        return None
    plants = None if row["plants"] is None else frozenset(row["plants"])
    scopes = frozenset(Scope(scope) for scope in row["scopes"])
    is_stale = row["last_used_at"] is None or now - row["last_used_at"] > _LAST_USE_IS_KEPT_EVERY
    return Caller(row["name"], scopes, plants, row["expires_at"]), is_stale


def keep_use(connection: sa.Connection, secret: str, now: datetime) -> None:
    connection.execute(
        sa.update(api_keys).where(api_keys.c.secret_sha256 == _digest(secret)).values(last_used_at=now)
    )


def revoke_key(connection: sa.Connection, name: str, now: datetime) -> bool:
    """Revoke the key; False where there is none of that name that still holds."""
    found = sa.update(api_keys).where(api_keys.c.name == name, api_keys.c.revoked_at.is_(None))
    return connection.execute(found.values(revoked_at=now)).rowcount > 0


def all_keys(connection: sa.Connection) -> list[dict[str, Any]]:
    """Every key but its secret, oldest first."""
    columns = [column for column in api_keys.c if column.name != "secret_sha256"]
    return [dict(row) for row in connection.execute(sa.select(*columns).order_by(api_keys.c.id)).mappings()]


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
