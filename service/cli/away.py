"""`away`: a technician's jobs where there is no network. Only `fetch` and `sync` need one. None needs a database."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from api_schemas.checks import CheckIn
from api_schemas.client.outbox import Deed, Fate, Told
from api_schemas.client.shelf import Verdict, compare, verdict_of
from api_schemas.packs import Pack
from api_schemas.work_orders import NotDone, WorkOrderNote
from service.cli.answers import JsonOption, tell
from service.cli.away_closing import acknowledge, attach, checked, close, settle
from service.cli.away_folder import OPEN, Away, job_of, opened_away
from service.cli.away_network import fetch, sync
from service.cli.away_tables import entry_json, print_carried, print_compared, print_conflicts, print_entries
from service.cli.close_out_words import volume_words
from service.cli.job_card import print_card
from service.clock.now import now_utc

app = typer.Typer(help="Your jobs where there is no network: fetch, do, close, and sync later.", no_args_is_help=True)

OrderArgument = Annotated[int, typer.Argument(help="The work order's number.")]
Why = Annotated[str, typer.Option(help="The reason.")]


@app.command("list")
def list_(as_json: JsonOption = False) -> None:
    """The jobs that are carried: by planned day, then as the systems lie on the round."""
    with opened_away() as away:
        packs = away.packs()
        told = {pack.order.id: away.told_of(pack.order.id, *OPEN, Fate.SENT) for pack in packs}
    if as_json:
        tell({"items": [pack.order.model_dump(mode="json") for pack in packs]}, as_json=True, show=None)
    else:
        print_carried(packs, told)


@app.command()
def show(order: OrderArgument, as_json: JsonOption = False) -> None:
    """The job card as it was fetched, and what was told since."""
    with opened_away() as away:
        pack = away.pack(order)
        told = away.told_of(order)
    tell(pack.order.model_dump(mode="json"), as_json=as_json, show=print_card)
    if told and not as_json:
        print_entries(told)


@app.command()
def card(
    order: OrderArgument,
    write: Annotated[Path, typer.Option("--write", metavar="FILE", dir_okay=False, help="Where the page goes.")],
) -> None:
    """The job card as a page to print, as it was fetched."""
    with opened_away() as away:
        pack = away.pack(order)
    write.write_text(pack.card, encoding="utf-8")
    typer.echo(f"the card of work order {order} is in {write}", err=True)


@app.command()
def check(
    task: Annotated[int, typer.Option(help="The task that is about to be done.")],
    part: Annotated[str | None, typer.Option(help="The part number on the label.")] = None,
    lot: Annotated[str | None, typer.Option(help="The part's lot.")] = None,
    fluid: Annotated[str | None, typer.Option(help="The fluid's code on the container.")] = None,
    label: Annotated[str | None, typer.Option(metavar="TEXT", help="Or the name that is printed there.")] = None,
    fluid_lot: Annotated[str | None, typer.Option(help="The container's lot.")] = None,
    container: Annotated[str | None, typer.Option(metavar="AMOUNT", help="Its size, like '20 L'.")] = None,
    volume: Annotated[str | None, typer.Option(metavar="AMOUNT", help="What is to be poured, like '8 L'.")] = None,
) -> None:
    """Check part, lot, fluid and amount by the carried sheet. It ends with 1 where something must not be used."""
    words = {"part_number": part, "lot": lot, "fluid": fluid, "label": label, "fluid_lot": fluid_lot}
    body = {"task": task, **words, "container": volume_words(container), "volume": volume_words(volume)}
    body = {name: value for name, value in body.items() if value is not None}
    scanned = checked(CheckIn, body)
    now = now_utc()
    with opened_away() as away:
        pack = away.pack_with(task)
        if pack is None:
            raise ValueError(f"task {task} is in no job that is carried; `elementdue away list` shows which are")
        compared = compare(pack, scanned, now, level_changed=_level_changed(away, pack))
    print_compared(compared, pack, now)
    if verdict_of(compared) is Verdict.WRONG:
        raise typer.Exit(1)


def _level_changed(away: Away, pack: Pack) -> bool:
    """Whether a close-out, of the system or of an unknown one, says of the level what the sheet cannot know."""
    return any(
        entry.told.deed is Deed.CLOSE
        and entry.told.system in (None, pack.order.system)
        and bool((entry.told.body or {}).keys() & {"oil", "level"})
        and (entry.fate is not Fate.SENT or away.outbox.record(entry.id)[-1].at >= pack.made_at)
        for entry in away.outbox.entries(*OPEN, Fate.SENT)
    )


@app.command()
def start(order: OrderArgument) -> None:
    """Begin the work; the service hears of it by `away sync`."""
    _tell_of(order, Deed.START, None)


@app.command()
def hold(order: OrderArgument, why: Why) -> None:
    """Hold issued or begun work."""
    body = {"note": why}
    checked(WorkOrderNote, body)
    _tell_of(order, Deed.HOLD, body)


@app.command("not-done")
def not_done(
    order: OrderArgument, task: Annotated[int, typer.Option(help="The task that was not done.")], why: Why
) -> None:
    """Leave a task undone; the order's other tasks stay."""
    body = {"task": task, "why": why}
    checked(NotDone, body)
    _tell_of(order, Deed.NOT_DONE, body)


def _tell_of(order: int, deed: Deed, body: Mapping[str, Any] | None) -> None:
    with opened_away() as away:
        pack = away.pack(order)
        acknowledge(away.outbox.add(Told(job_of(order), deed, pack.order.system, order, body), now_utc()))


@app.command()
def outbox(
    everything: Annotated[bool, typer.Option("--all", help="Also what is sent, replaced and dropped.")] = False,
    as_json: JsonOption = False,
) -> None:
    """What was told and is not done with, in the order in which it is sent."""
    with opened_away() as away:
        entries = away.outbox.entries(*(() if everything else OPEN))
    if as_json:
        tell({"items": [entry_json(entry) for entry in entries]}, as_json=True, show=None)
    else:
        print_entries(entries)


@app.command()
def conflicts() -> None:
    """What was refused, in the service's words, and how it can be settled."""
    with opened_away() as away:
        refused = away.outbox.entries(Fate.REFUSED)
        waiting = [entry.told.job for entry in away.outbox.entries(Fate.WAITING)]
    print_conflicts(refused, {entry.id: waiting.count(entry.told.job) for entry in refused})


app.command()(close)
app.command()(attach)
app.command()(settle)
app.command()(fetch)
app.command()(sync)
