"""`serve` and `demo`."""

import ipaddress
import os
import socket
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import sqlalchemy as sa
import typer
import uvicorn

from scheduler.vocabulary import Scope
from service.app import create_app
from service.cli.opening import DatabaseOption, local_caller, open_database
from service.cli.progress import shown_progress
from service.clock.now import now_utc
from service.database import Database
from service.demo.loading import load_demo
from service.keys.keeping import make_key
from service.keys.tables import api_keys
from service.settings import Settings

_FIRST_KEY = "administrator"
_NOT_STARTED = 3  # as uvicorn's own command ends


def add_to(app: typer.Typer) -> None:
    """Give `app` these commands."""
    app.command("serve")(serve)
    app.command("demo")(demo)


def serve(
    database: DatabaseOption = None,
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535)] = 8420,
    tls_certificate: Annotated[
        Path | None, typer.Option(exists=True, help="PEM file of the certificate chain.")
    ] = None,
    tls_key: Annotated[Path | None, typer.Option(exists=True, help="PEM file of the private key.")] = None,
    behind_proxy: Annotated[
        bool, typer.Option("--behind-proxy", help="A proxy on the way ends TLS and says who asked.")
    ] = False,
    ticks: Annotated[bool, typer.Option("--clock/--no-clock", help="Run the planning pass on a schedule.")] = True,
) -> None:
    """Serve API, pages and clock until Ctrl-C."""
    if (tls_certificate is None) != (tls_key is None):
        raise typer.BadParameter("--tls-certificate and --tls-key go together")
    if not _is_loopback(host) and tls_certificate is None and not behind_proxy:
        raise typer.BadParameter(
            f"'{host}' is not a loopback address: keys would travel in the clear. "
            "Give --tls-certificate and --tls-key, or --behind-proxy"
        )
    settings = Settings()
    opened = open_database(database)
    _first_key(opened, settings)
    app = create_app(opened, settings, ticks=ticks)
    typer.echo(f"listening on http{'s' if tls_certificate else ''}://{host}:{port}", err=True)
    config = uvicorn.Config(
        app,
        host=host,
        port=port,
        log_level="warning",
        proxy_headers=behind_proxy,
        server_header=False,
        ssl_certfile=tls_certificate,
        ssl_keyfile=tls_key,
    )
    server = uvicorn.Server(config)
    app.state.feed_watch.is_ending = lambda: server.should_exit  # it lets nobody wait while it ends
    with suppress(KeyboardInterrupt):
        server.run()
    if not server.started:
        raise typer.Exit(_NOT_STARTED)


def demo(database: DatabaseOption = None) -> None:
    """Load the invented demo plant, relative to today, into a database that holds no plant yet."""
    opened = open_database(database)
    with shown_progress() as progress:
        loaded = load_demo(opened, now_utc(), local_caller().name, progress)
    said = "the invented demo plant was loaded" if loaded else "there is a plant already; nothing was loaded"
    typer.echo(said, err=True)


def _first_key(database: Database, settings: Settings) -> None:
    """The first start writes one administrator key to a file that only its owner reads, and prints the path."""
    path = settings.key_file or _beside(database) / "administrator.key"
    with database.writing() as connection:
        if connection.scalar(sa.select(sa.func.count()).select_from(api_keys)):
            if path.exists():
                typer.echo(f"the administrator's key is in {path}", err=True)
            return
        secret = make_key(connection, _FIRST_KEY, [Scope.ADMINISTER], now=now_utc())
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)  # of a database that is gone
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w") as file:
            file.write(secret + "\n")
            file.flush()
            os.fsync(file.fileno())
    typer.echo(f"the administrator's key was written to {path}", err=True)


def _beside(database: Database) -> Path:
    return Path(database.url.database).parent if database.is_sqlite and database.url.database else Path(".data")


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        pass
    try:
        found = {info[4][0] for info in socket.getaddrinfo(host, None)}
    except OSError as error:
        raise typer.BadParameter(f"'{host}' has no address: {error}") from None
    return all(ipaddress.ip_address(each).is_loopback for each in found)
