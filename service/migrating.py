"""Bringing a database to the present schema, in a separate step under a lock."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from service.database import Database

HEAD = "0023"
"""The newest revision in `migrations/versions`; a test holds it against the files."""

_MIGRATIONS = Path(__file__).parent / "migrations"
_POSTGRESQL_LOCK = 0x656C656D  # any number, the same in every process


def migrate(database: Database) -> None:
    """Upgrade to the newest revision; nothing happens where it is there already."""
    # The first look opens the file too, and of several processes that open a new one only one may turn on WAL.
    with _one_at_a_time(database):
        if _revision(database) != HEAD:
            _upgrade(database)


def _upgrade(database: Database) -> None:
    from alembic import command  # noqa: PLC0415 - a quarter of a second that most commands need not pay
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    with database.engine.execution_options(writes=True).connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _revision(database: Database) -> str | None:
    with database.engine.connect() as connection:
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        found: str | None = connection.scalar(sa.text("SELECT version_num FROM alembic_version"))
        return found


@contextmanager
def _one_at_a_time(database: Database) -> Iterator[None]:
    if database.is_sqlite and database.url.database:
        with Path(f"{database.url.database}.migrating").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield
    elif database.is_sqlite:
        yield
    else:
        # of the transaction, not of the session: the pool would keep a session's lock after this block
        with database.engine.begin() as connection:
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_POSTGRESQL_LOCK)))
            yield
