"""`away fetch` and `away sync`: the two commands that need a network."""

from datetime import timedelta
from typing import Annotated

import typer

from api_schemas.client import Client, NotReached, Patience, ProblemRefused
from api_schemas.client.outbox import Entry, Fate
from api_schemas.client.pack import keep_pack, put_down
from api_schemas.client.sync import Greeting, Synced, greet
from api_schemas.client.sync import sync as sync_outbox
from scheduler.vocabulary import WorkOrderState
from service.cli.answers import ServerOption
from service.cli.away_folder import OPEN, Away, opened_away
from service.cli.away_tables import what
from service.cli.server_key import server_key
from service.clock.now import now_utc
from service.settings import Settings

_CARRIED = (WorkOrderState.ISSUED, WorkOrderState.UNDERWAY)
_ENDED = (WorkOrderState.DONE, WorkOrderState.WITHDRAWN)
_PATIENCE = Patience(tries=3)
"""Somebody stands there and waits; what is not sent now is sent next time (ours)."""


def client_to(server: str) -> Client:
    """With the key of the surroundings. Raises ValueError where there is none."""
    settings = Settings()
    return Client(server, server_key(settings), ca_file=settings.ca_file, patience=_PATIENCE)


def fetch(
    system: Annotated[str | None, typer.Option(help="Only this system's jobs.")] = None,
    plant: Annotated[str | None, typer.Option(help="Only this plant's.")] = None,
    days: Annotated[int | None, typer.Option(min=0, max=3650, help="Only those planned within so many days.")] = None,
    server: ServerOption = None,
) -> None:
    """Get issued and begun jobs with all that they need, to be carried where there is no network."""
    now = now_utc()
    with opened_away() as away:
        address = _address(away, server)
        with client_to(address) as client:
            _warn_of_clock(greet(client, now))
            fetched = set()
            for order in client.work_orders(states=_CARRIED, plant=plant, system=system):
                if days is None or order.planned_for <= now + timedelta(days=days):
                    keep_pack(away.folder, client.pack(order.id))
                    fetched.add(order.id)
            away.outbox.remember_server(address)
            typer.echo(f"{len(fetched)} jobs are carried from {address}", err=True)
            for pack in away.packs():
                if pack.order.id not in fetched:
                    typer.echo(_look_again(away, client, pack.order.id), err=True)


def _look_again(away: Away, client: Client, order: int) -> str:
    """What becomes of a carried job that was not among those fetched now."""
    try:
        state: str = client.work_order(order).state
    except ProblemRefused as refused:
        if refused.status != 404:
            raise
        state = "not to be seen with this key"
    else:
        if state not in _ENDED:
            return f"work order {order} is {state}; it is carried as it was fetched before"
    if away.told_of(order, *OPEN):
        return f"work order {order} is {state}; it stays here, since the outbox has something to tell of it"
    put_down(away.folder, order)
    return f"work order {order} is {state}; it is carried no longer"


def sync(server: ServerOption = None) -> None:
    """Send what was told, in order. It ends with 1 where something was refused or still waits."""
    now = now_utc()
    with opened_away() as away:
        if not away.outbox.entries(Fate.WAITING):
            _tell_end(away, Synced())
            return
        address = _address(away, server)
        with client_to(address) as client:
            try:
                greeting = greet(client, now)
            except (NotReached, ProblemRefused) as error:
                done = Synced(waiting=[entry.id for entry in away.outbox.entries(Fate.WAITING)], stopped=str(error))
            else:
                _warn_of_clock(greeting)
                done = sync_outbox(away.outbox, client, greeting, address, now, tell=_tell)
        _tell_end(away, done)


def _tell(entry: Entry) -> None:
    if entry.fate is Fate.SENT:
        typer.echo(f"entry {entry.id} is sent: {what(entry)}")
    else:
        typer.echo(f"entry {entry.id} is REFUSED: {what(entry)}: {(entry.problem or {}).get('detail')}")


def _tell_end(away: Away, done: Synced) -> None:
    if done.stopped is not None:
        typer.echo(f"stopped: {done.stopped}", err=True)
    refused = away.outbox.entries(Fate.REFUSED)
    waiting = away.outbox.entries(Fate.WAITING)
    typer.echo(f"{len(done.sent)} sent now, {len(waiting)} still wait, {len(refused)} to be settled", err=True)
    if refused:
        typer.echo("`elementdue away conflicts` shows what was refused and how it is settled", err=True)
    if refused or waiting:
        raise typer.Exit(1)


def _warn_of_clock(greeting: Greeting) -> None:
    if greeting.clock_is_off and greeting.ahead is not None:
        minutes = abs(greeting.ahead) / timedelta(minutes=1)
        side = "ahead of" if greeting.ahead > timedelta(0) else "behind"
        typer.echo(
            f"WARNING: this clock is {minutes:.0f} minutes {side} the server's; times told by it are as wrong",
            err=True,
        )


def _address(away: Away, server: str | None) -> str:
    """The one that is told, that of the surroundings, or the one from which the jobs came."""
    chosen = server or Settings().server or away.outbox.server
    if chosen is None:
        raise typer.BadParameter("say which server: --server, or ELEMENTDUE_SERVER")
    return chosen.rstrip("/")
