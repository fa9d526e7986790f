"""Job cards and close-outs as text for a terminal or a printer."""

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

_WIDEST = 110


def _console() -> Console:
    console = Console()
    return console if console.is_terminal and console.width <= _WIDEST else Console(width=_WIDEST)


def print_jobs(answer: dict[str, Any]) -> None:
    """One line an order."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("order", "state", "planned", "system", "tasks", "kit"):
        table.add_column(name, no_wrap=name != "tasks")
    for order in answer["items"]:
        work = ", ".join(f"{_words(task['kind'])} {task['position']}".strip() for task in order["tasks"])
        planned = order["planned_for"][:10] + (" (stop)" if order["stop_starts_at"] else "")
        kit = "SHORT" if order["short"] else "complete" if _has_picks(order) else "-"
        table.add_row(
            *(Text(str(cell)) for cell in (order["id"], order["state"], planned, order["system"], work, kit))
        )
    _console().print(table)


def print_card(order: dict[str, Any]) -> None:
    """The whole job card."""
    console = _console()
    stop = ""
    if order["stop_starts_at"]:
        stop = f", in the stop {order['stop_starts_at'][:16]} to {order['stop_ends_at'][:16]}"
    console.print(Text(f"Work order {order['id']}: {order['system']}, {order['state']}", style="bold"))
    console.print(Text(f"planned for {order['planned_for'][:10]}{stop}"))
    console.print(Text("\nCautions", style="bold"))
    for number, caution in enumerate(order["cautions"], start=1):
        console.print(Text(f"{number}. {caution}"))
    for task in order["tasks"]:
        done = "" if task["state"] == "open" else f" ({task['state']})"
        console.print(Text(f"\nTask {task['id']}: {_words(task['kind'])} {task['position']}{done}", style="bold"))
        console.print(Text(task["reason"]))
        if task["proposal"]:
            to = f" to {task['proposal']['to'][:10]}" if task["proposal"]["to"] else ""
            console.print(Text(f"The last pass proposes: {task['proposal']['change']}{to}"))
        for pick in task["picks"]:
            console.print(Text(f"  {_pick(pick)}"))
        for pick in task["oil"]:
            console.print(Text(f"  {_oil(pick)}"))
        for number, step in enumerate(task.get("steps", []), start=1):  # an older server has none
            console.print(_step(number, step))
        if task.get("expected_after"):
            console.print(Text("What a new element shows:"))
            console.print(_expected(task["expected_after"]))


def _step(number: int, step: dict[str, Any]) -> Table:
    recorded = f" [write down: {', '.join(map(_words, step['records']))}]" if step["records"] else ""
    table = Table.grid(padding=(0, 1))
    table.add_column(justify="right", width=4)
    table.add_column()
    table.add_row(Text(f"{number}."), Text(f"{step['says']}{recorded}"))
    return table


def _expected(rows: list[dict[str, Any]]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("  oil", "ΔP", "flow"):
        table.add_column(name)
    for row in rows:
        low, high = row["low"], row["high"]
        cells = (
            f"  {row['oil_temperature']['value']:g} °C",
            f"{low['value']:.2f} to {high['value']:.2f} {high['unit']}",
            "the usual" if row["flow"] is None else _told(row["flow"]),
        )
        table.add_row(*map(Text, cells))
    return table


def print_history(answer: dict[str, Any]) -> None:
    """One line a step."""
    console = _console()
    for entry in answer["items"]:
        task = f" task {entry['task']}" if entry["task"] else ""
        note = f": {entry['note']}" if entry["note"] else ""
        console.print(Text(f"{entry['at'][:16]}  {_words(entry['step'])}{task}, by {entry['by']}{note}"))


def print_closed(answer: dict[str, Any]) -> None:
    """What was recorded, and what is due next."""
    console = _console()
    console.print(Text(f"close-out {answer['id']} is recorded (task {answer['task']}, order {answer['work_order']})"))
    _print_what_follows(console, answer)


def print_corrected(answer: dict[str, Any]) -> None:
    """What the last correction changed, and what is due now."""
    console = _console()
    if not answer["corrections"]:
        console.print(Text(f"close-out {answer['id']} says so already"))
        return
    last = answer["corrections"][-1]
    number = len(answer["corrections"])
    if last["undone"]:
        console.print(Text(f"close-out {answer['id']} is taken back (correction {number}): {last['why']}"))
    else:
        console.print(Text(f"close-out {answer['id']}, correction {number}: {last['why']}"))
    for changed in last["changed"]:
        console.print(Text(f"  {changed['member']}: {_told(changed['earlier'])} → {_told(changed['new'])}"))
    _print_what_follows(console, answer)


def print_attached(answer: dict[str, Any]) -> None:
    """Every file of a close-out."""
    console = _console()
    for file in answer["items"]:
        shows = f": {file['shows']}" if file["shows"] else ""
        kept = "as sent" if file["as_sent"] else "without where it was taken"
        console.print(Text(f"file {file['id']}  {file['name']}, {file['kept_bytes']:,} bytes, {kept}{shows}"))


def _told(value: Any) -> str:
    """A member of a close-out in words: quantities with their units, lists item by item."""
    if value is None or value == []:
        return "nothing"
    if isinstance(value, list):
        return "; ".join(map(_told, value))
    if isinstance(value, dict):
        if value.keys() == {"value", "unit"}:
            return f"{value['value']:g} {value['unit']}"
        return " ".join(_told(each) for each in value.values())
    return str(value)


def _print_what_follows(console: Console, answer: dict[str, Any]) -> None:
    for mismatch in answer["mismatches"]:
        console.print(Text(f"NOT AS SPECIFIED: {mismatch['says']}", style="bold"))
    if answer["mismatches"]:
        console.print(Text(answer["cautions"][0], style="bold"))
    if answer.get("files"):  # an answer that was kept before there were files has none
        console.print(Text(f"files attached: {answer['files']}"))
    for remark in answer["remarks"]:
        console.print(Text(remark))
    due = answer["next_due"]
    if due is not None:
        when = "no date" if due["due_at"] is None else due["due_at"][:10]
        console.print(Text(f"{due['position']}: next due {when}. {due['reason']}"))


def _pick(pick: dict[str, Any]) -> str:
    part = f"{pick['quantity']} × {pick['part_number']}"
    if pick["instead_of"]:
        part += f" (instead of {pick['instead_of']})"
    return _taken(part, pick, pick["bin"])


def _oil(pick: dict[str, Any]) -> str:
    what = f"{pick['volume']['value']:g} {pick['volume']['unit']} {pick['fluid']}"
    container = pick["container"]
    return _taken(what, pick, container and f"{container['value']:g} {container['unit']} container")


def _taken(what: str, pick: dict[str, Any], place: str | None) -> str:
    if pick["store"] is None:
        until = (
            f"arrives {pick['arrives_at'][:10]} with {pick['arrives_with']}"
            if pick["arrives_at"]
            else "none on order"
        )
        return f"SHORT {what}: {until}"
    shelf = " ".join(word for word in (pick["store"], place, pick["lot"] and f"lot {pick['lot']}") if word)
    return f"take  {what} from {shelf}{' (held for this job)' if pick['reserved_at'] else ''}"


def _has_picks(order: dict[str, Any]) -> bool:
    return any(task["picks"] or task["oil"] for task in order["tasks"])


def _words(kind: str) -> str:
    return kind.replace("_", " ")
