"""`elementdue diagnoses`: what a good fitter would see in the data, and saying that it is known."""

from datetime import datetime
from typing import Annotated, Any

import typer
from rich.text import Text

from api_schemas.diagnoses import Standing
from service.cli.answers import JsonOption, ServerOption, tell
from service.cli.asking import Asker
from service.cli.due_table import bare_table, wide_console
from service.cli.opening import DatabaseOption

app = typer.Typer(help="Diagnoses: list, show, acknowledge with a note, open again.")

_Number = Annotated[int, typer.Argument(metavar="DIAGNOSIS", help="Its number.")]
_STYLES = {"now": "red", "soon": "yellow", "note": ""}


@app.callback(invoke_without_command=True)
def diagnoses(
    context: typer.Context,
    plant: Annotated[str | None, typer.Option(help="Only this plant's.")] = None,
    system: Annotated[str | None, typer.Option(help="Only this system's.")] = None,
    position: Annotated[str | None, typer.Option(help="Only this position's.")] = None,
    code: Annotated[str | None, typer.Option(help="Only of this code.")] = None,
    standing: Annotated[
        list[Standing] | None, typer.Option(help="Only these; several times for several. By default all that stand.")
    ] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """What stands, the most urgent first."""
    if context.invoked_subcommand is not None:
        return
    asked = {"plant": plant, "system": system, "position": position, "code": code, "standing": standing or None}
    found = Asker(server, database).ask_all("/v1/diagnoses", asked | {"limit": 500})
    tell(found, as_json=as_json, show=_print_list)


@app.command()
def show(
    diagnosis: _Number, server: ServerOption = None, database: DatabaseOption = None, as_json: JsonOption = False
) -> None:
    """One diagnosis: what it says, the numbers behind it, and what was said to it."""
    found = Asker(server, database).ask("GET", f"/v1/diagnoses/{diagnosis}")
    tell(found, as_json=as_json, show=_print_one)


@app.command()
def acknowledge(
    diagnosis: _Number,
    note: Annotated[str, typer.Option(help="What is known of it, or done about it.")],
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """Say that it is known. It stands until the data clear it, and asks again if it becomes more urgent."""
    found = Asker(server, database).ask("POST", f"/v1/diagnoses/{diagnosis}/acknowledge", body={"note": note})
    until = (
        "it stands until the data clear it" if found["cleared_at"] is None else "the data have cleared it meanwhile"
    )
    typer.echo(f"diagnosis {diagnosis} is acknowledged; {until}", err=True)


@app.command("open-again")
def open_again(
    diagnosis: _Number,
    note: Annotated[str, typer.Option(help="Why.")],
    server: ServerOption = None,
    database: DatabaseOption = None,
) -> None:
    """Take the acknowledgement back."""
    Asker(server, database).ask("POST", f"/v1/diagnoses/{diagnosis}/open-again", body={"note": note})
    typer.echo(f"diagnosis {diagnosis} asks for a look again", err=True)


def _print_list(found: dict[str, Any]) -> None:
    console = wide_console()
    table = bare_table()
    for name in ("no.", "", "at", "since", "code"):
        table.add_column(name, no_wrap=True)
    table.add_column("says", ratio=1)
    for item in found["items"]:
        table.add_row(
            Text(str(item["id"])),
            Text(item["severity"].upper(), style=_STYLES[item["severity"]]),
            Text(item["position"] or item["system"], style="bold"),
            Text(_day(item["raised_at"])),
            Text(item["code"]),
            Text(" ".join((item["says"], *_known(item), *_cleared(item)))),
        )
    if found["items"]:
        console.print(table)
    else:
        console.print(Text("none"))


def _print_one(item: dict[str, Any]) -> None:
    where = item["position"] or f"{item['system']} (the whole system)"
    typer.echo(f"diagnosis {item['id']} at {where}: {item['severity'].upper()} {item['code']}")
    typer.echo(" ".join((item["says"], *_cleared(item))))
    typer.echo(f"raised {_moment(item['raised_at'])}, version {item['version']}")
    for name, value in item["evidence"].items():
        typer.echo(f"  {name}: {value}")
    for remark in item["remarks"]:
        did = "acknowledged" if remark["acknowledges"] else "opened again"
        typer.echo(f"{_moment(remark['at'])} {did} by {remark['by']}: {remark['note']}")
    if item["cleared_at"] is None:
        typer.echo("Known to somebody." if item["acknowledged"] else "Nobody has acknowledged it.")


def _known(item: dict[str, Any]) -> tuple[str, ...]:
    known = item["acknowledged"]
    return () if known is None else (f"Known since {_day(known['at'])} to {known['by']}: {known['note']}.",)


def _cleared(item: dict[str, Any]) -> tuple[str, ...]:
    return () if item["cleared_at"] is None else (f"Cleared by the data on {_day(item['cleared_at'])}.",)


def _day(at: str) -> str:
    return f"{datetime.fromisoformat(at):%Y-%m-%d}"


def _moment(at: str) -> str:
    return f"{datetime.fromisoformat(at):%Y-%m-%d %H:%M}"
