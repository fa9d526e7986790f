"""`jobs close`, `readings` and `correct`: how a job really went."""

import uuid
from typing import Annotated, Any

import typer

from service.cli import close_out_options as told
from service.cli.answers import JsonOption, ServerOption, tell
from service.cli.asking import Asker
from service.cli.close_out_words import close_out_body, reading_words
from service.cli.job_card import print_closed, print_corrected
from service.cli.opening import DatabaseOption
from service.clock.now import now_utc


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
    idempotency_key: told.IdempotencyKey = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Close a job: ends the installation, begins the next, books the stock, and says what is due next."""
    at = at or now_utc().isoformat(timespec="seconds")
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
        *(at, dp_before, dp_after, element, lot, serial, part, oil, level, confirm),
        plain | {"element_changed": False if unchanged else None},
    )
    headers = {"Idempotency-Key": idempotency_key or str(uuid.uuid4())}
    answer = Asker(server, database).ask("POST", "/v1/close-outs", body=body, headers=headers)
    tell(answer, as_json=as_json, show=print_closed)


def readings(
    close_out: told.CloseOutNumber,
    dp_before: told.DpBefore = None,
    dp_after: told.DpAfter = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add ΔP that was read only after the close-out."""
    both = {"dp_before": reading_words(dp_before), "dp_after": reading_words(dp_after)}
    body = {name: reading for name, reading in both.items() if reading is not None}
    answer = Asker(server, database).ask("POST", f"/v1/close-outs/{close_out}/readings", body=body)
    tell(answer, as_json=as_json, show=print_closed)


def correct(
    close_out: told.CloseOutNumber,
    why: Annotated[str, typer.Option(help="How it came to be told wrongly.")],
    undo: Annotated[bool, typer.Option("--undo", help="It never happened.")] = False,
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
    changed: Annotated[
        bool | None, typer.Option("--changed/--unchanged", help="Whether the element was changed.")
    ] = None,
    note: told.Note = None,
    done_by: told.DoneBy = None,
    take_back: Annotated[
        list[str] | None, typer.Option(metavar="MEMBER", help="It is not known: hours, dp_before, dp_after, oil …")
    ] = None,
    confirm: told.Confirm = None,
    idempotency_key: told.IdempotencyKey = None,
    server: ServerOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Correct a close-out: say only what was wrong. Installations, stock and due dates follow; the past stays."""
    plain: dict[str, Any] = {
        "why": why,
        "undo": undo or None,
        "hours": hours,
        "reason": reason,
        "condition": condition,
    }
    plain |= {"found": found or None, "labour_min": labour, "note": note, "done_by": done_by}
    body = close_out_body(
        *(at, dp_before, dp_after, element, lot, serial, part, oil, level, confirm),
        plain | {"element_changed": changed},
    )
    body |= dict.fromkeys(take_back or [])
    headers = {"Idempotency-Key": idempotency_key or str(uuid.uuid4())}
    path = f"/v1/close-outs/{close_out}/corrections"
    answer = Asker(server, database).ask("POST", path, body=body, headers=headers)
    tell(answer, as_json=as_json, show=print_corrected)
