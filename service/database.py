"""The database: one place that knows how SQLite and PostgreSQL want to be opened.

SQLite gets WAL, full synchronous, foreign keys and immediate write transactions: a deferred transaction that
reads and then writes fails under a second writer, an immediate one waits its turn.

PostgreSQL is made to keep the same promises: writers take their turn by a lock that ends with their transaction,
a reader sees one state throughout, and texts are ordered by code point whatever the server's locale.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import DBAPIError
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.types import TypeDecorator

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_WRITER_WAITS_MS = 30_000
_WRITERS_TURN = 0x656C6577  # any number, the same in every process and another than the migrations'
_LOCK_NOT_AVAILABLE = "55P03"  # PostgreSQL, appendix A: error codes


class UtcTime(TypeDecorator[datetime]):
    """A moment in UTC. SQLite hands back naive times, so they are made aware here; naive ones are refused."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Database:
    """An open database; `reading` and `writing` are the only places that begin and commit."""

    def __init__(self, url: str | URL) -> None:
        self.url = _with_driver(make_url(url))
        self._engine = sa.create_engine(self.url, **_engine_options(self.url))
        self._writer = self._engine.execution_options(writes=True)
        if self.is_sqlite:
            event.listen(self._engine, "connect", _prepare_sqlite)
            event.listen(self._engine, "begin", _begin_sqlite)
            self._reader = self._engine
        else:
            event.listen(self._engine, "begin", _begin_postgresql)
            self._reader = self._engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)

    @property
    def is_sqlite(self) -> bool:
        return self.url.get_backend_name() == "sqlite"

    @property
    def engine(self) -> sa.Engine:
        return self._engine

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A consistent view; nothing is kept."""
        with self._reader.connect() as connection, connection.begin() as transaction:
            yield connection
            transaction.rollback()

    @contextmanager
    def writing(self, *, waits: bool = True) -> Iterator[sa.Connection]:
        """One write transaction, committed when the block ends well and undone when it does not.

        Raises OperationalError, of which `is_busy` is true, where another writer has the database for longer than
        a writer waits, or without `waits` where there is one at all. What it changed is told in the feed, in itself.
        """
        from service.feed.recording import Teller  # noqa: PLC0415 - its tables are declared with this module's metadata

        writer = self._writer if waits else self._writer.execution_options(waits=False)
        with writer.begin() as connection:
            teller = Teller(connection)
            yield connection
            teller.tell()

    def close(self) -> None:
        self._engine.dispose()


def is_busy(error: DBAPIError) -> bool:
    """Whether the error says that another writer had the database for too long."""
    return "locked" in str(error.orig) or getattr(error.orig, "sqlstate", None) == _LOCK_NOT_AVAILABLE


def _with_driver(url: URL) -> URL:
    return url.set(drivername="postgresql+psycopg") if url.drivername == "postgresql" else url


def _engine_options(url: URL) -> dict[str, Any]:
    if url.get_backend_name() == "sqlite":
        return {"connect_args": {"timeout": _WRITER_WAITS_MS / 1000, "check_same_thread": False}}
    return {"pool_size": 8, "pool_pre_ping": True}


def _prepare_sqlite(dbapi_connection: Any, _record: Any) -> None:
    dbapi_connection.isolation_level = None  # the driver must not begin on its own; `_begin_sqlite` does
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        dbapi_connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: sa.Connection) -> None:
    options = connection.get_execution_options()
    connection.exec_driver_sql(f"PRAGMA busy_timeout={_WRITER_WAITS_MS if options.get('waits', True) else 0}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("writes", False) else "BEGIN")


def _begin_postgresql(connection: sa.Connection) -> None:
    """A writer first waits for its turn: what it reads then is what it changes, as after SQLite's BEGIN IMMEDIATE."""
    options = connection.get_execution_options()
    if not options.get("writes", False):
        return
    patience_ms = _WRITER_WAITS_MS if options.get("waits", True) else 1  # 0 would mean for ever
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = {patience_ms}")
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS_TURN})")


@compiles(sa.Text, "postgresql")
def _text_in_postgresql(_text: sa.Text, _compiler: Any, type_expression: Any = None, **_told: Any) -> str:
    """Columns of texts are ordered by code point, as in SQLite; a CAST takes no collation."""
    return 'TEXT COLLATE "C"' if isinstance(type_expression, sa.Column) else "TEXT"


def current_rows(table: sa.Table) -> sa.ColumnElement[bool]:
    """Of a fact table: the versions that hold now."""
    return table.c.superseded_at.is_(None)


def rows_known_at(table: sa.Table, as_of: datetime) -> sa.ColumnElement[bool]:
    """Of a fact table: the versions that held in the plant's knowledge at `as_of`."""
    return sa.and_(
        table.c.recorded_at <= as_of,
        sa.or_(table.c.superseded_at.is_(None), table.c.superseded_at > as_of),
    )
