"""What is carried and what was told, as text for a terminal."""

import sys
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from rich.text import Text

from api_schemas.client.errors import in_words
from api_schemas.client.outbox import Deed, Entry, Fate
from api_schemas.client.shelf import Compared, Verdict, verdict_of
from api_schemas.packs import Pack
from api_schemas.problems import ProblemDocument
from service.cli.due_table import bare_table, wide_console


def print_carried(packs: Sequence[Pack], told: Mapping[int, Sequence[Entry]]) -> None:
    """One line a job, in walking order, with what the outbox has of it."""
    table = bare_table()
    for name in ("order", "state", "planned", "round", "system", "tasks", "kit", "told"):
        table.add_column(name)
    for pack in packs:
        order = pack.order
        work = ", ".join(f"{task.id}: {task.kind.replace('_', ' ')} {task.position}".strip() for task in order.tasks)
        cells = (
            *(str(order.id), order.state, f"{order.planned_for:%Y-%m-%d}"),
            *("" if pack.walking_order is None else str(pack.walking_order), order.system, work),
            *("SHORT" if order.short else "complete", _told(told.get(order.id, []))),
        )
        table.add_row(*(Text(cell) for cell in cells))
    wide_console().print(table if packs else Text("Nothing is carried; `elementdue away fetch` gets your jobs."))


def _told(entries: Sequence[Entry]) -> str:
    return ", ".join(f"{entry.told.deed} ({entry.fate})" for entry in entries)


def print_entries(entries: Sequence[Entry]) -> None:
    """One line an entry, in the order in which they are sent."""
    table = bare_table()
    for name in ("entry", "told at", "job", "what", "became"):
        table.add_column(name)
    for entry in entries:
        became = "waiting, sent and not answered" if entry.fate is Fate.WAITING and entry.tries else entry.fate
        if entry.number is not None and entry.told.deed in (Deed.CLOSE, Deed.ATTACH):
            became += f": {'close-out' if entry.told.deed is Deed.CLOSE else 'file'} {entry.number}"
        cells = (str(entry.id), f"{entry.written_at:%Y-%m-%d %H:%M}", entry.told.job, what(entry), became)
        table.add_row(*(Text(cell) for cell in cells))
    wide_console().print(table if entries else Text("The outbox is empty."))


def what(entry: Entry) -> str:
    """What an entry tells, in a few words."""
    body: Mapping[str, Any] = entry.told.body or {}
    match entry.told.deed:
        case Deed.CLOSE:
            place = next((f"{name} {body[name]}" for name in ("task", "position", "system") if name in body), "")
            return f"close {place}"
        case Deed.ATTACH:
            return f"attach {entry.told.file_name} to entry {entry.told.follows}"
        case Deed.NOT_DONE:
            return f"task {body['task']} not done: {body['why']}"
        case Deed.HOLD:
            return f"hold: {body['note']}"
        case _:
            return str(entry.told.deed)


def print_conflicts(entries: Sequence[Entry], held_up: Mapping[int, int]) -> None:
    """Each refused entry with the service's words, and how it can be settled."""
    lines = []
    for entry in entries:
        said = in_words(ProblemDocument.model_validate(entry.problem))
        lines.append(f"entry {entry.id}, {entry.told.job}: {what(entry)}")
        lines += [f"  {line}" for line in said.splitlines()]
        if held_up.get(entry.id):
            lines.append(f"  {held_up[entry.id]} more of this job wait for it")
        lines.append(f"  elementdue away settle {entry.id} {_ways(entry)}")
    sys.stdout.write("\n".join(lines or ["No conflicts."]) + "\n")


def _ways(entry: Entry) -> str:
    ways = ["--again", "--drop WHY"]
    if entry.told.deed is Deed.CLOSE:
        ways.insert(0, "--change …")
    if (entry.problem or {}).get("type") == "/problems/confirmation-needed":
        ways.insert(0, "--confirm WHY")
    return " | ".join(ways)


_WORD = {Verdict.RIGHT: "right", Verdict.WRONG: "wrong", Verdict.CANNOT_TELL: "cannot tell"}


def print_compared(compared: Sequence[Compared], pack: Pack, now: datetime) -> None:
    """The verdict, what each thing came to, and how old the sheet is."""
    verdict = verdict_of(compared)
    ask = ": ask before you use it" if verdict is Verdict.CANNOT_TELL else ""
    lines = [f"{_WORD[verdict]}{ask}"]
    lines += [f"  {_WORD[each.verdict]}: {each.says}" for each in compared]
    lines.append(f"by the sheet of {pack.made_at:%Y-%m-%d %H:%M}, {_age(now - pack.made_at)} old")
    sys.stdout.write("\n".join(lines) + "\n")


def _age(age: timedelta) -> str:
    hours = max(age, timedelta(0)) / timedelta(hours=1)
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def entry_json(entry: Entry) -> dict[str, Any]:
    """An entry for other programs; a file is told by its name."""
    told = entry.told
    return {
        "id": entry.id,
        "job": told.job,
        "deed": told.deed,
        "body": told.body,
        "follows": told.follows,
        "file": told.file_name,
        "idempotency_key": entry.idempotency_key,
        "written_at": entry.written_at.isoformat(),
        "fate": entry.fate,
        "tries": entry.tries,
        "answer": entry.answer,
        "problem": entry.problem,
        "replaces": entry.replaces,
    }
