"""`jobs`: a person's work orders, here or on a server: list, show, issue, start, hold, close, correct, attach."""

import json
import sys
import uuid
from pathlib import Path
from typing import Annotated, Any

import typer

from service.cli.asking import Asker
from service.cli.close_out_words import close_out_body, reading_words
from service.cli.job_card import print_attached, print_card, print_closed, print_corrected, print_history, print_jobs
from service.cli.kit_table import print_kit
from service.cli.opening import DatabaseOption
from service.clock.now import now_utc

app = typer.Typer(help="Work orders: list, show, issue, start, hold, close, correct, attach.", no_args_is_help=True)

ServerOption = Annotated[
    str | None,
    typer.Option("--server", metavar="URL", help="A server; the key from ELEMENTDUE_KEY or ELEMENTDUE_KEY_FILE."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="The API's answer on stdout.")]
CloseOutArgument = Annotated[int, typer.Argument(metavar="CLOSE_OUT", help="The close-out's number.")]
OrderArgument = Annotated[int, typer.Argument(help="The work order's number.")]


def _tell(answer: Any, *, as_json: bool, show: Any) -> None:
    if as_json:
        sys.stdout.write(json.dumps(answer, ensure_ascii=False, indent=2) + "\n")
    else:
        show(answer)


@app.command("list")
def list_(
    system: Annotated[str | None, typer.Option(help="Only this system's.")] = None,
    state: Annotated[list[str] | None, typer.Option(help="Only this state; several times for several.")] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Open work orders, by planned day."""
    asker = Asker(server, database)
    items: list[Any] = []
    cursor = None
    while True:
        query = {"system": system, "state": state or None, "cursor": cursor, "limit": 500}
        page = asker.ask("GET", "/v1/work-orders", query=query)
        items += page["items"]
        cursor = page["next"]
        if cursor is None:
            break
    _tell({"items": items}, as_json=as_json, show=print_jobs)


@app.command()
def show(
    order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None, as_json: JsonOption = False
) -> None:
    """The job card: tasks with their reasons, the kit, the cautions."""
    _tell(Asker(server, database).ask("GET", f"/v1/work-orders/{order}"), as_json=as_json, show=print_card)


@app.command()
def kit(
    order: OrderArgument,
    reserve: Annotated[bool, typer.Option("--reserve", help="Hold all of it for this order alone.")] = False,
    as_far_as_possible: Annotated[
        bool, typer.Option("--as-far-as-possible", help="With --reserve: hold what is there, though it is short.")
    ] = False,
    give_back: Annotated[bool, typer.Option("--give-back", help="Hold it no longer.")] = False,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """What to fetch, shelf by shelf; or hold it for this order."""
    asker = Asker(server, database)
    if (reserve and give_back) or (as_far_as_possible and not reserve):
        raise typer.BadParameter("say --reserve, alone or with --as-far-as-possible, or --give-back")
    if reserve:
        body = {"as_far_as_possible": as_far_as_possible}
        asker.ask("POST", f"/v1/work-orders/{order}/reserve", body=body)
    if give_back:
        asker.ask("POST", f"/v1/work-orders/{order}/release-kit")
    _tell(asker.ask("GET", f"/v1/work-orders/{order}/kit"), as_json=as_json, show=print_kit)


def _verb(name: str, order: int, server: str | None, database: str | None, note: str | None = None) -> None:
    body = None if note is None else {"note": note}
    answer = Asker(server, database).ask("POST", f"/v1/work-orders/{order}/{name}", body=body)
    typer.echo(f"work order {order} is {answer['state']}", err=True)


@app.command()
def issue(order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None) -> None:
    """Issue a draft."""
    _verb("issue", order, server, database)


@app.command()
def start(order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None) -> None:
    """Begin the work."""
    _verb("start", order, server, database)


@app.command("not-done")
def not_done(
    order: OrderArgument,
    task: Annotated[int, typer.Option(help="The task that was not done.")],
    why: Annotated[str, typer.Option(help="The reason.")],
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """Leave a task undone; the order's other tasks stay."""
    body = {"task": task, "why": why}
    answer = Asker(server, database).ask("POST", f"/v1/work-orders/{order}/not-done", body=body)
    typer.echo(f"task {task} is left undone; work order {order} is {answer['state']}", err=True)


@app.command()
def history(
    order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None, as_json: JsonOption = False
) -> None:
    """What became of an order: who did what, when and why."""
    _tell(Asker(server, database).ask("GET", f"/v1/work-orders/{order}/history"), as_json=as_json, show=print_history)


@app.command()
def hold(
    order: OrderArgument,
    why: Annotated[str, typer.Option(help="The reason.")],
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """Hold issued or begun work."""
    _verb("hold", order, server, database, why)


@app.command()
def release(order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None) -> None:
    """Release held work."""
    _verb("release", order, server, database)


@app.command()
def withdraw(
    order: OrderArgument,
    why: Annotated[str, typer.Option(help="The reason.")],
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """Withdraw an order."""
    _verb("withdraw", order, server, database, why)


@app.command("accept")
def accept_proposal(order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None) -> None:
    """Do what the last pass proposed for this issued order."""
    _verb("accept-proposal", order, server, database)


@app.command()
def close(
    task: Annotated[int | None, typer.Option(help="The task that this closes.")] = None,
    position: Annotated[str | None, typer.Option(help="The position, where there was no work order.")] = None,
    system: Annotated[str | None, typer.Option(help="With --kind: the whole system, without a work order.")] = None,
    kind: Annotated[str | None, typer.Option(help="The kind of work, where it is not the position's usual.")] = None,
    at: Annotated[str | None, typer.Option(help="When it was done, with an offset; by default now.")] = None,
    hours: Annotated[float | None, typer.Option(min=0, help="What the position's meter showed.")] = None,
    dp_before: Annotated[
        str | None, typer.Option(metavar="READING", help="Like '2.1 bar, 180 L/min, 51 degC'.")
    ] = None,
    dp_after: Annotated[str | None, typer.Option(metavar="READING", help="The same, after the change.")] = None,
    element: Annotated[str | None, typer.Option(help="The part number fitted; by default the specified one.")] = None,
    lot: Annotated[str | None, typer.Option(help="The element's lot.")] = None,
    serial: Annotated[str | None, typer.Option(help="The element's serial number.")] = None,
    part: Annotated[
        list[str] | None, typer.Option(metavar="PART[:PIECES[:LOT]]", help="Seal kit or other part used.")
    ] = None,
    oil: Annotated[list[str] | None, typer.Option(metavar="FLUID:AMOUNT[:LOT]", help="Like 'OIL-46:4 L'.")] = None,
    reason: Annotated[str | None, typer.Option(help="Why the old element came out: due, early, failure …")] = None,
    condition: Annotated[str | None, typer.Option(help="What was found, in your own words.")] = None,
    found: Annotated[
        list[str] | None,
        typer.Option(help="clean, silt, metal_steel, water, collapsed …; several times for several."),
    ] = None,
    level: Annotated[
        str | None, typer.Option(help="Like '85 %, at rest, in position' or '12 L below full, at rest, in position'.")
    ] = None,
    labour: Annotated[
        int | None, typer.Option(min=0, help="Working time in minutes, of all people together.")
    ] = None,
    unchanged: Annotated[bool, typer.Option("--unchanged", help="The element stayed in (an inspection).")] = False,
    note: Annotated[str | None, typer.Option()] = None,
    done_by: Annotated[str | None, typer.Option(help="Who did it, if not the key's owner.")] = None,
    confirm: Annotated[
        str | None, typer.Option(metavar="REASON", help="Confirm a named mismatch, with the reason.")
    ] = None,
    idempotency_key: Annotated[
        str | None, typer.Option(help="Repeat with the same key and nothing is done twice.")
    ] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Close a job: ends the installation, begins the next, books the stock, and says what is due next."""
    body = close_out_body(
        task=task,
        position=position,
        system=system,
        kind=kind,
        at=at or now_utc().isoformat(timespec="seconds"),
        hours=hours,
        dp_before=dp_before,
        dp_after=dp_after,
        element=element,
        lot=lot,
        serial=serial,
        parts=part,
        oil=oil,
        reason=reason,
        condition=condition,
        found=found or None,
        level=level,
        labour_min=labour,
        element_changed=False if unchanged else None,
        note=note,
        done_by=done_by,
        confirm=confirm,
    )
    headers = {"Idempotency-Key": idempotency_key or str(uuid.uuid4())}
    answer = Asker(server, database).ask("POST", "/v1/close-outs", body=body, headers=headers)
    _tell(answer, as_json=as_json, show=print_closed)


@app.command()
def readings(
    close_out: CloseOutArgument,
    dp_before: Annotated[
        str | None, typer.Option(metavar="READING", help="Like '2.1 bar, 180 L/min, 51 degC'.")
    ] = None,
    dp_after: Annotated[str | None, typer.Option(metavar="READING")] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add ΔP that was read only after the close-out."""
    told = {"dp_before": reading_words(dp_before), "dp_after": reading_words(dp_after)}
    body = {name: reading for name, reading in told.items() if reading is not None}
    answer = Asker(server, database).ask("POST", f"/v1/close-outs/{close_out}/readings", body=body)
    _tell(answer, as_json=as_json, show=print_closed)


@app.command()
def correct(
    close_out: CloseOutArgument,
    why: Annotated[str, typer.Option(help="How it came to be told wrongly.")],
    undo: Annotated[bool, typer.Option("--undo", help="It never happened.")] = False,
    at: Annotated[str | None, typer.Option(help="When it was done, with an offset.")] = None,
    hours: Annotated[float | None, typer.Option(min=0, help="What the position's meter showed.")] = None,
    dp_before: Annotated[str | None, typer.Option(metavar="READING", help="Like '2.1 bar, 51 degC'.")] = None,
    dp_after: Annotated[str | None, typer.Option(metavar="READING", help="The same, after the change.")] = None,
    element: Annotated[str | None, typer.Option(help="The part number that was fitted.")] = None,
    lot: Annotated[str | None, typer.Option(help="The element's lot.")] = None,
    serial: Annotated[str | None, typer.Option(help="The element's serial number.")] = None,
    part: Annotated[
        list[str] | None, typer.Option(metavar="PART[:PIECES[:LOT]]", help="All parts that were used.")
    ] = None,
    oil: Annotated[list[str] | None, typer.Option(metavar="FLUID:AMOUNT[:LOT]", help="All oil added.")] = None,
    reason: Annotated[str | None, typer.Option(help="Why the old element came out: due, early, failure …")] = None,
    condition: Annotated[str | None, typer.Option(help="What was found, in your own words.")] = None,
    found: Annotated[
        list[str] | None,
        typer.Option(help="clean, silt, metal_steel, water, collapsed …; several times for several."),
    ] = None,
    level: Annotated[
        str | None, typer.Option(help="Like '85 %, at rest, in position' or '12 L below full, at rest, in position'.")
    ] = None,
    labour: Annotated[
        int | None, typer.Option(min=0, help="Working time in minutes, of all people together.")
    ] = None,
    changed: Annotated[
        bool | None, typer.Option("--changed/--unchanged", help="Whether the element was changed.")
    ] = None,
    note: Annotated[str | None, typer.Option()] = None,
    done_by: Annotated[str | None, typer.Option(help="Who did it.")] = None,
    take_back: Annotated[
        list[str] | None, typer.Option(metavar="MEMBER", help="It is not known: hours, dp_before, dp_after, oil …")
    ] = None,
    confirm: Annotated[
        str | None, typer.Option(metavar="REASON", help="Confirm a named mismatch, with the reason.")
    ] = None,
    idempotency_key: Annotated[
        str | None, typer.Option(help="Repeat with the same key and nothing is done twice.")
    ] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Correct a close-out: say only what was wrong. Installations, stock and due dates follow; the past stays."""
    body = close_out_body(
        why=why,
        undo=undo or None,
        at=at,
        hours=hours,
        dp_before=dp_before,
        dp_after=dp_after,
        element=element,
        lot=lot,
        serial=serial,
        parts=part,
        oil=oil,
        reason=reason,
        condition=condition,
        found=found or None,
        level=level,
        labour_min=labour,
        element_changed=changed,
        note=note,
        done_by=done_by,
        confirm=confirm,
    )
    body |= dict.fromkeys(take_back or [])
    headers = {"Idempotency-Key": idempotency_key or str(uuid.uuid4())}
    path = f"/v1/close-outs/{close_out}/corrections"
    answer = Asker(server, database).ask("POST", path, body=body, headers=headers)
    _tell(answer, as_json=as_json, show=print_corrected)


@app.command()
def attach(
    close_out: CloseOutArgument,
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE…", exists=True, dir_okay=False, readable=True, help="JPEG, PNG or PDF."),
    ],
    shows: Annotated[str | None, typer.Option(help="What they show, like 'bright flakes at the inlet'.")] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Attach pictures or papers, without where they were taken. The same file again changes nothing."""
    asker = Asker(server, database)
    path = f"/v1/close-outs/{close_out}/files"
    form = None if shows is None else {"shows": shows}
    for file in files:  # one refused does not take back those before it
        asker.ask("POST", path, file=(file.name, file.read_bytes()), form=form)
        typer.echo(f"{file.name} is attached to close-out {close_out}", err=True)
    _tell(asker.ask("GET", path), as_json=as_json, show=print_attached)
