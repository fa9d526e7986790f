"""`keys`: make, list and revoke bearer keys."""

import sys
from datetime import timedelta
from typing import Annotated

import typer

from scheduler.vocabulary import Scope
from service.cli.opening import DatabaseOption, open_database
from service.clock.now import now_utc
from service.keys.keeping import all_keys, make_key, revoke_key

app = typer.Typer(help="Make, list and revoke bearer keys.", no_args_is_help=True)


@app.command()
def create(
    name: Annotated[str, typer.Argument(help="Who the key stands for; it is written into every record.")],
    scope: Annotated[list[Scope], typer.Option(help="What it may do; give it several times for several scopes.")],
    plant: Annotated[
        list[str] | None,
        typer.Option(help="A plant that it may see; give it several times for several. Without: all of them."),
    ] = None,
    days: Annotated[int | None, typer.Option(min=1, max=3650, help="Days until it expires.")] = None,
    database: DatabaseOption = None,
) -> None:
    """Make a key and print it, this once, on stdout."""
    opened = open_database(database)
    now = now_utc()
    expires_at = None if days is None else now + timedelta(days=days)
    with opened.writing() as connection:
        secret = make_key(connection, name, scope, now=now, plants=plant or None, expires_at=expires_at)
    sys.stdout.write(secret + "\n")
    may, sees = ", ".join(sorted(set(scope))), _plants(plant or None)
    typer.echo(f"key '{name}' may {may} in {sees}; it is not shown again", err=True)


@app.command("list")
def list_(database: DatabaseOption = None) -> None:
    """Every key, without its secret."""
    opened = open_database(database)
    with opened.reading() as connection:
        rows = all_keys(connection)
    for row in rows:
        state = "revoked" if row["revoked_at"] else "holds"
        expires = "never expires" if row["expires_at"] is None else f"expires {row['expires_at']:%Y-%m-%d}"
        used = "never used" if row["last_used_at"] is None else f"last used {row['last_used_at']:%Y-%m-%d %H:%M} UTC"
        sees = _plants(row["plants"])
        typer.echo(f"{row['name']}\t{state}\t{', '.join(row['scopes'])}\t{sees}\t{expires}\t{used}")


def _plants(plants: list[str] | None) -> str:
    return "all plants" if plants is None else f"plant {', '.join(sorted(set(plants)))}"


@app.command()
def revoke(name: Annotated[str, typer.Argument(help="The key's name.")], database: DatabaseOption = None) -> None:
    """Revoke a key at once."""
    opened = open_database(database)
    with opened.writing() as connection:
        if not revoke_key(connection, name, now_utc()):
            raise ValueError(f"there is no key '{name}' that still holds")
    typer.echo(f"key '{name}' is revoked", err=True)
