"""Which database the tests run on. Only SQLite needs nothing; PostgreSQL needs a server for the session."""

import os
import signal
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.databases import ON_POSTGRESQL, SERVER, drop_databases, hurry, started_server, use_server

_ended_with_session = ExitStack()
_no_server = pytest.StashKey[str]()


def pytest_configure(config: pytest.Config) -> None:
    for marker in (
        "sqlite_only: is about SQLite itself",
        "one_database_is_enough: takes long and shows nothing of the database; runs on SQLite",
    ):
        config.addinivalue_line("markers", marker)
    if ON_POSTGRESQL and SERVER not in os.environ:  # the workers of a parallel run find the server that is set here
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # whoever stops the session stops its server, too
        try:
            address = _ended_with_session.enter_context(started_server())
            hurry(address)
            use_server(address)
        except Exception as error:
            says = f"no PostgreSQL server could be started ({type(error).__name__}: {error}); set {SERVER} to use one"
            if os.environ.get("CI", "").lower() in {"true", "1"}:
                raise pytest.UsageError(says) from error
            config.stash[_no_server] = says


def pytest_unconfigure() -> None:
    _ended_with_session.close()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not ON_POSTGRESQL:
        return
    left_out = [item for item in items if _is_for_sqlite(item)]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [item for item in items if not _is_for_sqlite(item)]
    reason = config.stash.get(_no_server, None)
    if reason is not None:
        for item in items:
            item.add_marker(pytest.mark.skip(reason=reason))


def _is_for_sqlite(item: pytest.Item) -> bool:
    return any(item.get_closest_marker(name) for name in ("sqlite_only", "one_database_is_enough"))


@pytest.fixture(autouse=ON_POSTGRESQL)
def _databases_of_the_test(tmp_path: Path) -> Iterator[None]:
    """Hundreds of databases of some megabytes each would fill a disk before the session's end."""
    yield
    drop_databases(tmp_path)


@pytest.fixture(scope="session", autouse=ON_POSTGRESQL)
def _databases_of_the_session() -> Iterator[None]:
    yield
    drop_databases(Path("/"))
