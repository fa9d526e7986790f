"""`elementdue stock`: what lies in the stores, and what whoever keeps one tells: counts, and supply that came."""

from typing import Annotated, Any

import typer
from rich.text import Text

from service.cli.answers import JsonOption, ServerOption, tell
from service.cli.asking import Asker
from service.cli.due_table import bare_table, wide_console
from service.cli.opening import DatabaseOption
from service.cli.written import WriteOption, kind_of, write_whole
from service.clock.now import now_utc

app = typer.Typer(help="Stock: what lies where; count, receive.")

StoreOption = Annotated[str, typer.Option(help="The store.")]
LotOption = Annotated[str, typer.Option(help="The lot, where lots are told apart.")]
BinOption = Annotated[str | None, typer.Option("--bin", help="The bin of a part.")]
ContainerOption = Annotated[
    float | None,
    typer.Option("--container", metavar="LITRES", min=0.001, help="Of an oil: the size of its containers."),
]
ExpiresOption = Annotated[str | None, typer.Option(metavar="TIME", help="Use by, ISO 8601 with an offset.")]
AtOption = Annotated[str | None, typer.Option(metavar="TIME", help="When, ISO 8601 with an offset; by default now.")]


@app.callback(invoke_without_command=True)
def stock(
    context: typer.Context,
    part_number: Annotated[str | None, typer.Option("--part", help="Only this part.")] = None,
    fluid: Annotated[str | None, typer.Option(help="Only this oil.")] = None,
    store: Annotated[str | None, typer.Option(help="Only what lies in this store.")] = None,
    write: WriteOption = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """What lies in the stores, lot by lot, and for which orders it is held."""
    if context.invoked_subcommand is not None:
        return
    asked = {"part_number": part_number, "fluid": fluid, "store": store}
    kind = None if write is None else kind_of(write)
    asker = Asker(server, database)
    if write is not None:
        write_whole(write, asker.ask("GET", "/v1/stock/file", query=asked | {"format": kind}))
        return
    tell(asker.ask_all("/v1/stock", asked), as_json=as_json, show=_print)


@app.command()
def count(
    item: Annotated[str, typer.Argument(metavar="PART|OIL", help="A part number; with --container a fluid.")],
    on_hand: Annotated[float, typer.Argument(metavar="COUNT", min=0, help="Pieces, or containers of an oil.")],
    store: StoreOption,
    lot: LotOption = "",
    bin_: BinOption = None,
    container: ContainerOption = None,
    expires: ExpiresOption = None,
    at: AtOption = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell what was counted of one lot; it has the last word on what moved before."""
    row: dict[str, Any] = {"store": store, "lot": lot, "expires_at": expires}
    body: dict[str, Any] = {"counted_at": at or now_utc().isoformat()}
    if container is None:
        pieces = int(on_hand) if on_hand.is_integer() else on_hand  # the API says what is wrong with half a piece
        body["parts"] = [row | {"part_number": item, "on_hand": pieces, "bin": bin_}]
    else:
        body["oil"] = [row | {"fluid": item, "containers": on_hand, "container": _litres(container)}]
    tell(Asker(server, database).ask("POST", "/v1/stock/counts", body=body), as_json=as_json, show=_print_counts)


@app.command()
def receive(
    order: Annotated[str, typer.Argument(help="The order on which it was.")],
    line: Annotated[str, typer.Argument(help="Its line.")],
    quantity: Annotated[float, typer.Argument(min=0, help="Pieces, or containers of an oil.")],
    store: StoreOption,
    lot: LotOption = "",
    bin_: BinOption = None,
    container: ContainerOption = None,
    expires: ExpiresOption = None,
    at: AtOption = None,
    why: Annotated[str | None, typer.Option(help="Why another quantity came than was ordered.")] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell that a line on order has come, whole, and where it was put; a line is received once."""
    into = {"store": store, "lot": lot, "quantity": quantity, "bin": bin_, "expires_at": expires}
    into["container"] = None if container is None else _litres(container)
    body = {"order": order, "line": line, "received_at": at or now_utc().isoformat(), "into": [into]}
    answer = Asker(server, database).ask("POST", "/v1/stock/receipts", body=body | {"differs_because": why})
    tell(answer, as_json=as_json, show=_print_receipt)


def _litres(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "L"}


def _print(found: dict[str, Any]) -> None:
    table = bare_table()
    for name in ("what", "store", "bin", "lot"):
        table.add_column(name, no_wrap=True)
    for name in ("on hand", "held"):
        table.add_column(name, no_wrap=True, justify="right")
    table.add_column("for", ratio=1)
    for name in ("counted", "use by"):
        table.add_column(name, no_wrap=True)
    for row in found["items"]:
        use_by = f"{(row['expires_at'] or '')[:10]}{' EXPIRED' if row['expired'] else ''}"
        cells = (*_amounts(row), (row["counted_at"] or "never")[:10], use_by)
        table.add_row(*(Text(cell) for cell in cells))
    wide_console().print(table if table.row_count else Text("nothing was ever counted or received"))


def _amounts(row: dict[str, Any]) -> tuple[str, ...]:
    orders = ", ".join(f"order {each['work_order']}" if each["work_order"] else "other" for each in row["held_for"])
    if row["what"] == "part":
        what = row["part_number"] + (f", {row['description']}" if row["description"] else "")
        return what, row["store"], row["bin"] or "", row["lot"], str(row["on_hand"]), str(row["held"]), orders
    on_hand = f"{row['containers']:g} × {row['container']['value']:g} L = {row['on_hand']['value']:g} L"
    return row["fluid"], row["store"], "", row["lot"], on_hand, f"{row['held']['value']:g} L", orders


def _print_counts(answer: dict[str, Any]) -> None:
    for row in answer["rows"]:
        before = "" if row["before"] is None else f"; the books had {row['before']:g}"
        later = f", counted again {row['counted_at']}" if row["outcome"] == "outdated" else ""
        typer.echo(f"{row['item']} in {row['store']} {row['lot']}: {row['outcome']}{later}{before}", err=True)
    typer.echo("the kits of open work follow at the next pass", err=True)


def _print_receipt(answer: dict[str, Any]) -> None:
    item, came = answer["part_number"] or answer["fluid"], sum(each["quantity"] for each in answer["into"])
    typer.echo(
        f"{answer['order']}/{answer['line']} is received: {came:g} of {item} (receipt {answer['id']})", err=True
    )
    typer.echo("the kits of open work follow at the next pass", err=True)
