"""The service for a test: in this process with keys of any scope, or as a server of its own that can be killed."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import anyio
import httpx
from fastapi import FastAPI

from scheduler.vocabulary import Scope
from service.app import create_app
from service.database import Database
from service.imports.importing import import_folder
from service.keys.keeping import make_key
from service.migrating import migrate
from service.settings import Settings
from tests.commands import StartedCommand, run_command
from tests.databases import ON_POSTGRESQL, url_at
from tests.service.small_plant import write_small_plant

CHECKOUT = Path(__file__).resolve().parents[2]
COMMAND = (sys.executable, "-c", "from service.cli.main import main; main()")
"""`elementdue` without depending on where its script was installed."""

_STARTS_WITHIN_S = 60.0


class InProcess(httpx.BaseTransport):
    """Calls the application directly; a fault comes back as the answer that a caller would see."""

    def __init__(self, app: FastAPI) -> None:
        self._transport = httpx.ASGITransport(app, raise_app_exceptions=False)

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        async def call() -> httpx.Response:
            answer = await self._transport.handle_async_request(request)
            as_sent = b"".join([part async for part in answer.aiter_raw()])  # the client undoes the compression
            return httpx.Response(answer.status_code, headers=answer.headers, content=as_sent)

        return anyio.run(call)


class Served:
    """The application over an open database."""

    def __init__(self, database: Database, app: FastAPI) -> None:
        self.database = database
        self.app = app

    def key(self, *scopes: Scope, name: str | None = None, expires_at: datetime | None = None) -> str:
        """A new key's secret; by default named after its scopes."""
        with self.database.writing() as connection:
            named = name or " ".join(scopes) or "none"
            return make_key(connection, named, scopes, now=datetime.now(UTC), expires_at=expires_at)

    def client(self, key: str | None = None, **headers: str) -> httpx.Client:
        if key is not None:
            headers["Authorization"] = f"Bearer {key}"
        return httpx.Client(base_url="http://127.0.0.1", transport=InProcess(self.app), headers=headers)


@contextmanager
def opened(at: Path) -> Iterator[Database]:
    """A migrated database at `at`."""
    with closing(Database(url_at(at))) as database:
        migrate(database)
        yield database


@contextmanager
def served(folder: Path, **settings: Any) -> Iterator[Served]:
    """The small plant, imported and served from `folder`, the clock standing still."""
    with opened(folder / "plant.sqlite") as database:
        take_small_plant(database, folder / "small")
        without_limit: dict[str, Any] = {"requests_per_minute": 0}
        yield Served(database, create_app(database, Settings(**(without_limit | settings)), ticks=False))


def take_small_plant(database: Database, at: Path) -> None:
    import_folder(database, write_small_plant(at), name="small", now=datetime.now(UTC), by="test")


def run(*arguments: str, database: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """A command in its own process, ended."""
    return run_command(*arguments, environment=_surroundings(database, environment))


def begin(*arguments: str, database: Path | None = None, **environment: str) -> subprocess.Popen[bytes]:
    """A command in its own process, under way."""
    return subprocess.Popen(
        [*COMMAND, *arguments],
        cwd=CHECKOUT,
        env=_surroundings(database, environment),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _surroundings(database: Path | None, environment: dict[str, str]) -> dict[str, str]:
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("ELEMENTDUE_")}
    if database is not None:
        surroundings["ELEMENTDUE_DATABASE"] = url_at(database)
        if ON_POSTGRESQL:  # no folder of its own where a server would put its first key
            surroundings["ELEMENTDUE_KEY_FILE"] = str(database.parent / "administrator.key")
    return surroundings | environment


class ServerProcess:
    """`elementdue serve` on a free port of this machine, its output kept in files beside the database."""

    def __init__(self, database: Path, *arguments: str, **environment: str) -> None:
        self.database = database
        self.url = f"http://127.0.0.1:{free_port()}"
        self._environment = environment
        self._arguments = ("serve", "--port", self.url.rpartition(":")[2], *arguments)
        self._process: StartedCommand | None = None

    def start(self) -> None:
        """Start and wait until it answers."""
        surroundings = _surroundings(self.database, self._environment)
        self._process = StartedCommand(
            *self._arguments, environment=surroundings, out=self.stdout_file, err=self.stderr_file
        )
        give_up = time.monotonic() + _STARTS_WITHIN_S
        while time.monotonic() < give_up and not self._process.ended():
            try:
                httpx.get(self.url, timeout=5.0)
            except httpx.TransportError:
                time.sleep(0.02)
            else:
                return
        raise AssertionError(f"the server did not start: {self.stderr_file.read_text()}")

    def kill(self) -> None:
        """As a power cut would end it: no handler runs."""
        assert self._process is not None
        self._process.end(signal.SIGKILL)

    def stop(self) -> int:
        """As an operator ends it; gives the exit code."""
        assert self._process is not None
        return self._process.end(signal.SIGTERM)

    @property
    def stdout_file(self) -> Path:
        return self.database.with_suffix(".stdout")

    @property
    def stderr_file(self) -> Path:
        return self.database.with_suffix(".stderr")

    @property
    def key(self) -> str:
        return (self.database.parent / "administrator.key").read_text().strip()


def free_port() -> int:
    """One that nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
