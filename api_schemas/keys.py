"""Keys on the wire: who they stand for, what they may do and see, and how long. Secrets are told once."""

from datetime import datetime
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, JsonValue, model_validator

from api_schemas.moments import Moment
from api_schemas.quantities import Code, Wire
from scheduler.vocabulary import Scope

_OUT = ConfigDict(extra="forbid", frozen=True)

_Scope = Annotated[Scope, Field(strict=False)]


class Me(BaseModel):
    """The key's name, which stands in every record that it makes. `plants` null: all of them."""

    model_config = _OUT | ConfigDict(
        json_schema_extra={
            "examples": [
                {"name": "shift B", "scopes": ["read", "work"], "plants": ["HARBOUR"], "expires_at": None},
            ]
        }
    )

    name: str
    scopes: list[str]
    plants: list[str] | None
    expires_at: datetime | None


_KEY: dict[str, JsonValue] = {
    "name": "shift B",
    "scopes": ["read", "work"],
    "plants": ["HARBOUR"],
    "created_at": "2026-03-05T13:30:00Z",
    "expires_at": "2026-06-03T13:30:00Z",
    "revoked_at": None,
    "last_used_at": None,
}


class Key(BaseModel):
    """A key without its secret. `plants` null: all of them; `last_used_at` to within minutes."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [_KEY]})

    name: str
    scopes: list[Scope]
    plants: list[str] | None
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None
    last_used_at: datetime | None


class NewKey(Key):
    """A key with its secret, which is not kept and cannot be told again."""

    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [_KEY | {"secret": "edk_…"}]})

    secret: str


class KeyList(BaseModel):
    model_config = _OUT | ConfigDict(json_schema_extra={"examples": [{"items": [_KEY], "next": None}]})

    items: list[Key]
    next: str | None


class KeyIn(BaseModel):
    """A key to be made. Without `plants` it sees all of them, without `days` and `expires_at` it never expires."""

    model_config = Wire

    name: Annotated[Code, Field(description="Who it stands for: given once, and written into every record.")]
    scopes: Annotated[list[_Scope], Field(min_length=1, max_length=len(Scope))]
    plants: Annotated[list[Code], Field(min_length=1, max_length=1000)] | None = None
    days: Annotated[int, Field(ge=1, le=3650)] | None = None
    expires_at: Moment | None = None

    @model_validator(mode="after")
    def _one_end(self) -> Self:
        if self.days is not None and self.expires_at is not None:
            raise ValueError("days and expires_at: give one of them")
        return self
