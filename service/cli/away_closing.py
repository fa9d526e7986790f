"""`away close`, `attach` and `settle`: how a job went, told where there is no network."""

import dataclasses
import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer
from pydantic import BaseModel, ValidationError

from api_schemas.checks import CheckIn
from api_schemas.client.outbox import Deed, Entry, Fate, Told
from api_schemas.client.shelf import Verdict, compare
from api_schemas.close_outs import CloseOutIn
from api_schemas.packs import Pack
from service.cli import close_out_options as told
from service.cli.away_folder import Away, job_of, opened_away
from service.cli.away_tables import what
from service.cli.close_out_words import close_out_body
from service.clock.now import now_utc

Body = TypeVar("Body", bound=BaseModel)

EntryArgument = Annotated[int, typer.Argument(metavar="ENTRY", help="The number that the outbox gave it.")]


def close(
    task: Annotated[int | None, typer.Option(help="The task that this closes.")] = None,
    position: Annotated[str | None, typer.Option(help="The position, where there was no work order.")] = None,
    system: Annotated[str | None, typer.Option(help="With --kind: the whole system, without a work order.")] = None,
    kind: Annotated[str | None, typer.Option(help="The kind of work, where it is not the position's usual.")] = None,
    at: told.At = None,
    hours: told.Hours = None,
    dp_before: told.DpBefore = None,
    dp_after: told.DpAfter = None,
    element: told.Element = None,
    lot: told.Lot = None,
    serial: told.Serial = None,
    part: told.Parts = None,
    oil: told.Oil = None,
    reason: told.Reason = None,
    condition: told.Condition = None,
    found: told.FoundWords = None,
    level: told.Level = None,
    labour: told.Labour = None,
    unchanged: Annotated[bool, typer.Option("--unchanged", help="The element stayed in (an inspection).")] = False,
    note: told.Note = None,
    done_by: told.DoneBy = None,
    confirm: told.Confirm = None,
) -> None:
    """Tell how a job went; it is kept here and sent by `away sync`. Its time is now unless you say another."""
    now = now_utc()
    plain: dict[str, Any] = {
        "task": task,
        "position": position,
        "system": system,
        "kind": kind,
        "hours": hours,
        "reason": reason,
    }
    plain |= {"condition": condition, "found": found or None, "labour_min": labour, "note": note, "done_by": done_by}
    body = close_out_body(
        *(at or now.isoformat(timespec="seconds"), dp_before, dp_after, element, lot, serial, part, oil, level),
        *(confirm, plain | {"element_changed": False if unchanged else None}),
    )
    checked(CloseOutIn, body)
    with opened_away() as away:
        pack = _pack_of(away, task, position)
        whose = (
            Told(f"task {task}" if task is not None else f"at {position or system}", Deed.CLOSE, system, body=body)
            if pack is None
            else Told(job_of(pack.order.id), Deed.CLOSE, pack.order.system, pack.order.id, body)
        )
        entry = away.outbox.add(whose, now)
    acknowledge(entry)
    if pack is not None and confirm is None:
        for doubt in doubts(pack, body, now):
            typer.echo(f"not as specified, as far as the sheet tells: {doubt}", err=True)
            typer.echo(f"if so it was: elementdue away settle {entry.id} --confirm WHY", err=True)


def attach(
    close_out: Annotated[int, typer.Argument(metavar="ENTRY", help="The entry that closes the job.")],
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE…", exists=True, dir_okay=False, readable=True, help="JPEG, PNG or PDF."),
    ],
    shows: Annotated[str | None, typer.Option(help="What they show, like 'bright flakes at the inlet'.")] = None,
) -> None:
    """Attach pictures or papers to a close-out that is in the outbox; they are copied there at once."""
    body = None if shows is None else {"shows": shows}
    with opened_away() as away:
        job = away.outbox.entry(close_out)
        if job.told.deed is not Deed.CLOSE or job.fate in (Fate.REPLACED, Fate.DROPPED):
            raise ValueError(f"entry {close_out} is no close-out that is sent: {what(job)}, {job.fate}")
        for file in files:
            its = dataclasses.replace(job.told, deed=Deed.ATTACH, body=body, follows=close_out, file_name=file.name)
            acknowledge(away.outbox.add(its, now_utc(), file.read_bytes()))


def settle(
    entry: EntryArgument,
    confirm: Annotated[str | None, typer.Option(metavar="WHY", help="Send it with the mismatch confirmed.")] = None,
    change: Annotated[
        bool, typer.Option("--change", help="Send it with what the options of `away close` say instead.")
    ] = False,
    drop: Annotated[str | None, typer.Option(metavar="WHY", help="Do not send it; it stays in the record.")] = None,
    again: Annotated[bool, typer.Option("--again", help="Send it as it is: what stood in the way is gone.")] = False,
    task: Annotated[int | None, typer.Option(help="The task that this closes.")] = None,
    position: Annotated[str | None, typer.Option(help="The position, where there was no work order.")] = None,
    kind: Annotated[str | None, typer.Option(help="The kind of work.")] = None,
    at: Annotated[str | None, typer.Option(help="When it was done, with an offset.")] = None,
    hours: told.Hours = None,
    dp_before: told.DpBefore = None,
    dp_after: told.DpAfter = None,
    element: told.Element = None,
    lot: told.Lot = None,
    serial: told.Serial = None,
    part: told.Parts = None,
    oil: told.Oil = None,
    reason: told.Reason = None,
    condition: told.Condition = None,
    found: told.FoundWords = None,
    level: told.Level = None,
    labour: told.Labour = None,
    note: told.Note = None,
    done_by: told.DoneBy = None,
    take_back: Annotated[
        list[str] | None, typer.Option(metavar="MEMBER", help="It is not known: task, hours, dp_before, oil …")
    ] = None,
) -> None:
    """Say what becomes of an entry that was refused, or of one that was told wrongly and has not been sent."""
    plain: dict[str, Any] = {"task": task, "position": position, "kind": kind, "hours": hours, "reason": reason}
    plain |= {"condition": condition, "found": found or None, "labour_min": labour, "note": note, "done_by": done_by}
    new = close_out_body(at, dp_before, dp_after, element, lot, serial, part, oil, level, None, plain)
    ways = [drop is not None, again, change or confirm is not None]
    if ways.count(True) != 1 or change != bool(new or take_back):
        raise typer.BadParameter("say one of --confirm WHY, --change with what is new, --drop WHY and --again")
    with opened_away() as away:
        now = now_utc()
        if drop is not None:
            away.outbox.drop(entry, drop, now)
            typer.echo(f"entry {entry} is dropped and stays in the record: {drop}")
        elif again:
            acknowledge(away.outbox.send_again(entry, now))
        else:
            body = _changed(away.outbox.entry(entry), new, take_back or [], confirm)
            acknowledge(away.outbox.replace(entry, body, now))


def _changed(old: Entry, new: Mapping[str, Any], take_back: list[str], confirm: str | None) -> dict[str, Any]:
    if old.told.deed is not Deed.CLOSE or old.told.body is None:
        raise ValueError(f"entry {old.id} is no close-out: {what(old)}; drop it, and tell it anew")
    body = dict(old.told.body)
    for member in take_back:
        if body.pop(member, None) is None:
            raise ValueError(f"entry {old.id} says nothing of '{member}'; it says {', '.join(sorted(body))}")
    body |= {name: value for name, value in new.items() if name != "element"}
    if "element" in new:
        body["element"] = body.get("element", {}) | new["element"]
    if confirm is not None:
        body["confirm_mismatch"] = {"reason": confirm}
    checked(CloseOutIn, body)
    return body


def _pack_of(away: Away, task: int | None, position: str | None) -> Pack | None:
    """The carried job that a close-out ends, if there is one."""
    if task is None:
        return None if position is None else away.pack_at(position)
    pack = away.pack_with(task)
    if pack is None:
        typer.echo(f"task {task} is in no job that is carried; whether there is one shows when it is sent", err=True)
    return pack


def doubts(pack: Pack, body: Mapping[str, Any], at: datetime) -> Iterator[str]:
    """What the sheet calls wrong of what was fitted and poured: asked now, while somebody still stands there."""
    told = [sheet for sheet in pack.sheets if body.get("task", sheet.task) == sheet.task]
    sheet = next((each for each in told if body.get("position", each.position) == each.position), None)
    if sheet is None:
        return
    scans: list[CheckIn] = []
    element = body.get("element", {})
    if sheet.position and "part_number" in element:
        scans.append(CheckIn(task=sheet.task, part_number=element["part_number"], lot=element.get("lot")))
    scans += [CheckIn(task=sheet.task, fluid=oil["fluid"], fluid_lot=oil.get("lot")) for oil in body.get("oil", [])]
    for scan in scans:
        yield from (each.says for each in compare(pack, scan, at) if each.verdict is Verdict.WRONG)


def acknowledge(entry: Entry) -> None:
    """Said only of what is on the disk."""
    typer.echo(f"entry {entry.id} is kept and waits for `elementdue away sync`: {what(entry)}")


def checked(model: type[Body], body: Mapping[str, Any]) -> Body:
    """What the service would not even read is told at once. Raises ValueError naming the members."""
    try:
        return model.model_validate_json(json.dumps(body))
    except ValidationError as error:
        slips = [
            f"{'.'.join(map(str, slip['loc'])) or 'close-out'}: {slip['msg'].removeprefix('Value error, ')}"
            for slip in error.errors()
        ]
        raise ValueError("\n".join(slips)) from None
