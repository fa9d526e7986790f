"""`jobs check`: whether what was taken from the shelf is what the job needs, before anything is opened."""

import sys
from typing import Annotated, Any

import typer

from service.cli.answers import JsonOption, ServerOption, tell
from service.cli.asking import Asker, Refused
from service.cli.close_out_words import volume_words
from service.cli.opening import DatabaseOption

_REFUSED = "/problems/not-as-specified"
_WORD = {"refuse": "wrong", "ask": "ask"}
_OF_PART = frozenset({"element", "seals", "media", "expiry"})


def check(
    task: Annotated[int | None, typer.Option(help="The task that is about to be done.")] = None,
    position: Annotated[str | None, typer.Option(help="The position, where there is no work order.")] = None,
    system: Annotated[str | None, typer.Option(help="The system, for oil alone.")] = None,
    part: Annotated[str | None, typer.Option(help="The part number on the label.")] = None,
    lot: Annotated[str | None, typer.Option(help="The part's lot.")] = None,
    fluid: Annotated[str | None, typer.Option(help="The fluid's code on the container.")] = None,
    label: Annotated[str | None, typer.Option(metavar="TEXT", help="Or the name that is printed there.")] = None,
    fluid_lot: Annotated[str | None, typer.Option(help="The container's lot.")] = None,
    container: Annotated[str | None, typer.Option(metavar="AMOUNT", help="Its size, like '20 L'.")] = None,
    volume: Annotated[str | None, typer.Option(metavar="AMOUNT", help="What is to be poured, like '8 L'.")] = None,
    at: Annotated[str | None, typer.Option(help="When the job is, with an offset; by default now.")] = None,
    override: Annotated[
        str | None, typer.Option(metavar="REASON", help="Set a refusal aside; needs a key with scope override.")
    ] = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check part, lot, fluid and amount before the job. It ends with 1 where something must not be used."""
    told: dict[str, Any] = {
        "task": task,
        "position": position,
        "system": system,
        "part_number": part,
        "lot": lot,
        "fluid": fluid,
        "label": label,
        "fluid_lot": fluid_lot,
        "at": at,
        "container": volume_words(container),
        "volume": volume_words(volume),
        "override": None if override is None else {"reason": override},
    }
    body = {name: value for name, value in told.items() if value is not None}
    try:
        answer = Asker(server, database).ask("POST", "/v1/checks", body=body)
    except Refused as refused:
        if refused.problem.get("type") != _REFUSED:
            raise
        tell(refused.problem, as_json=as_json, show=print_check)
        raise typer.Exit(1) from None
    tell(answer, as_json=as_json, show=print_check)


def print_check(answer: dict[str, Any]) -> None:
    """What is right, what is not, and what to do instead."""
    place = answer["position"] or answer["system"]
    verdict = answer["verdict"].replace("_", " ")
    reason = f", by {answer['by']}: {answer['override_reason']}" if answer["verdict"] == "overridden" else ""
    lines = [f"check {answer['id']}, {place}: {verdict}{reason}"]
    lines += [f"  right: {each}" for each in _right(answer)]
    lines += [f"  {_WORD[each['severity']]}: {each['says']}" for each in answer["findings"]]
    lines += [f"  instead: {each}" for each in answer["cautions"]]
    sys.stdout.write("\n".join(lines) + "\n")


def _right(answer: dict[str, Any]) -> list[str]:
    """What was scanned and nothing speaks against."""
    scanned = answer["scanned"]
    doubted = {each["about"] for each in answer["findings"]}
    right = []
    if scanned["part_number"] and not doubted & _OF_PART:
        right.append(_with_lot(scanned["part_number"], scanned["lot"]))
    if (scanned["fluid"] or scanned["label"]) and "oil" not in doubted:
        right.append(_with_lot(scanned["fluid"] or scanned["label"], scanned["fluid_lot"]))
    if scanned["volume"] and "level" not in doubted:
        right.append(f"room for {scanned['volume']['value']:g} {scanned['volume']['unit']}")
    return right


def _with_lot(name: str, lot: str | None) -> str:
    return f"{name}, lot {lot}" if lot else name
