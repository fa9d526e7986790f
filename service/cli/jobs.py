"""`jobs`: a person's work orders, here or on a server: list, show, issue, start, hold, check, close, attach …"""

from pathlib import Path
from typing import Annotated

import typer

from service.cli.answers import JsonOption, ServerOption, tell
from service.cli.asking import Asker
from service.cli.checking import check
from service.cli.close_out_options import CloseOutNumber
from service.cli.closing import close, correct, readings
from service.cli.job_card import print_attached, print_card, print_history, print_jobs
from service.cli.kit_table import print_kit
from service.cli.opening import DatabaseOption
from service.cli.written import WriteOption, kind_of, write_whole

app = typer.Typer(
    help="Work orders: list, show, issue, start, hold, check, close, correct, attach.", no_args_is_help=True
)

_OF_A_VERSION = ("withdraw", "accept-proposal")  # they could undo what somebody else has just done

OrderArgument = Annotated[int, typer.Argument(help="The work order's number.")]


@app.command("list")
def list_(
    system: Annotated[str | None, typer.Option(help="Only this system's.")] = None,
    state: Annotated[list[str] | None, typer.Option(help="Only this state; several times for several.")] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
    write: WriteOption = None,
) -> None:
    """Open work orders, by planned day."""
    kind = None if write is None else kind_of(write)
    asker = Asker(server, database)
    if write is not None:
        chosen = {"system": system, "state": state or None, "format": kind}
        write_whole(write, asker.ask("GET", "/v1/work-orders/file", query=chosen))
        return
    found = asker.ask_all("/v1/work-orders", {"system": system, "state": state or None, "limit": 500})
    tell(found, as_json=as_json, show=print_jobs)


@app.command()
def show(
    order: OrderArgument, server: ServerOption = None, database: DatabaseOption = None, as_json: JsonOption = False
) -> None:
    """The job card: tasks with their reasons, the kit, the cautions, the steps."""
    tell(Asker(server, database).ask("GET", f"/v1/work-orders/{order}"), as_json=as_json, show=print_card)


@app.command()
def card(
    order: OrderArgument,
    write: Annotated[Path, typer.Option("--write", metavar="FILE", dir_okay=False, help="Where the page goes.")],
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """The job card as a page to print, with steps, boxes and lines to write on."""
    page = Asker(server, database).ask("GET", f"/v1/work-orders/{order}/card")
    write.write_text(page, encoding="utf-8")
    typer.echo(f"the card of work order {order} is in {write}", err=True)


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
    tell(asker.ask("GET", f"/v1/work-orders/{order}/kit"), as_json=as_json, show=print_kit)


def _verb(name: str, order: int, server: str | None, database: str | None, note: str | None = None) -> None:
    asker = Asker(server, database)
    path = f"/v1/work-orders/{order}"
    headers = {"If-Match": f'"{asker.ask("GET", path)["version"]}"'} if name in _OF_A_VERSION else None
    body = None if note is None else {"note": note}
    answer = asker.ask("POST", f"{path}/{name}", body=body, headers=headers)
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
    tell(Asker(server, database).ask("GET", f"/v1/work-orders/{order}/history"), as_json=as_json, show=print_history)


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


app.command()(check)
app.command()(close)
app.command()(readings)
app.command()(correct)


@app.command()
def attach(
    close_out: CloseOutNumber,
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
    tell(asker.ask("GET", path), as_json=as_json, show=print_attached)
