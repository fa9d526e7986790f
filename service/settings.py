"""What the surroundings say: read once, at the edge, from `ELEMENTDUE_…` variables."""

from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import Field, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from service.webhooks.targets import Targets

_DATA = Path(".data")


class Settings(BaseSettings):
    """Every setting with its default."""

    model_config = SettingsConfigDict(env_prefix="ELEMENTDUE_", extra="ignore")

    database: str | None = None
    key_file: Path | None = None
    server: str | None = None
    ca_file: Path | None = None
    away: Path = _DATA / "away"
    allowed_hosts: Annotated[tuple[str, ...], NoDecode] = ("127.0.0.1", "localhost", "[::1]")
    public_address: str | None = None
    pass_every_minutes: Annotated[int, Field(ge=1, le=1440)] = 60
    requests_per_minute: Annotated[int, Field(ge=0, le=1_000_000)] = 1200
    feed_kept_days: Annotated[int, Field(ge=7, le=3650)] = 30
    webhook_targets: Annotated[tuple[str, ...], NoDecode] = ()
    largest_body_bytes: Annotated[int, Field(ge=1024)] = 1_000_000
    largest_readings_bytes: Annotated[int, Field(ge=1024)] = 24_000_000
    largest_import_bytes: Annotated[int, Field(ge=1024)] = 256_000_000

    @field_validator("allowed_hosts", "webhook_targets", mode="before")
    @classmethod
    def _split(cls, told: Any) -> Any:
        return tuple(part.strip() for part in told.split(",")) if isinstance(told, str) else told

    @field_validator("webhook_targets")
    @classmethod
    def _can_be_read(cls, told: tuple[str, ...]) -> tuple[str, ...]:
        Targets(told)
        return told

    @field_validator("public_address")
    @classmethod
    def _is_an_address(cls, told: str | None) -> str | None:
        """Without a slash at its end. It is printed as a QR code, so nothing in it may be a secret."""
        if told is None or not told.strip():
            return None
        address = urlsplit(told.strip())
        is_plain = address.scheme in {"http", "https"} and address.hostname and "@" not in address.netloc
        if not is_plain or address.query or address.fragment:
            raise ValueError("expected an address like https://due.plant.example, without a user, '?' or '#'")
        return told.strip().rstrip("/")

    @property
    def database_url(self) -> str:
        """The database, by default the plant's own file beside the checkout's data."""
        return self.database or f"sqlite:///{_DATA / 'elementdue.sqlite'}"
