"""What a reader of the feed knows, and the same straight from the tables: apart from the service's own words."""

import json
from collections import defaultdict
from datetime import UTC, datetime
from typing import Any

from tests.flow.any_order.books import Books, Row

Known = dict[str, dict[Any, Any]]
"""By kind and subject; moments and what else can be compared."""


def folded(books: Books) -> Known:
    """The lines from the first to the last, the later one counting."""
    known: Known = defaultdict(dict)
    for line in sorted(books.rows("feed"), key=lambda row: int(row["number"])):
        data = _json(line["data"])
        match line["type"]:
            case "work_order.changed":
                known["order"][data["work_order"]] = _told_order(data)
            case "shortage.changed":
                known["shortage"][data["work_order"]] = sorted(_told_line(each) for each in data["lines"])
            case "due.changed":
                known["due"][data["position"]] = _told_date(data)
            case "due.drifted":
                known["due"] |= {each["position"]: _told_date(each) for each in data["dates"]}
            case "diagnosis.raised" | "diagnosis.changed" | "diagnosis.cleared":
                stands = line["type"] != "diagnosis.cleared"
                known["diagnosis"][data["diagnosis"]] = _told_diagnosis(data) if stands else None
            case "close_out.recorded" | "close_out.corrected" | "close_out.undone":
                is_undone = line["type"] == "close_out.undone"
                known["close-out"][data["close_out"]] = (_at(data["at"]), is_undone, data["corrections"])
            case other:
                raise AssertionError(f"nobody knows what {other} is")
    return known


def as_it_is(books: Books) -> Known:
    """The same from the tables that the service answers from."""
    tasks = books.rows("tasks", state="open")
    order_of = {task["id"]: task["work_order"] for task in tasks}
    own: dict[int, list[Row]] = defaultdict(list)
    for task in tasks:
        own[task["work_order"]].append(task)
    short: dict[int, list[tuple[str, ...]]] = defaultdict(list)
    for table, code, amount in (("picks", "part_number", "quantity"), ("oil_picks", "fluid", "volume_L")):
        for row in books.rows(table, store=None):
            if row["task"] in order_of:
                line = (str(row["task"]), row[code], str(round(float(row[amount]), 3)), str(_at(row["arrives_at"])))
                short[order_of[row["task"]]].append(line)
    last = max(row["pass_id"] for row in books.tables["due_items"])
    listed = {row["position"]: _date(row) for row in books.rows("due_items", pass_id=last)}
    was_told = {row["position"] for row in books.tables["feed"] if row["position"] and row["type"] == "due.changed"}
    was_short = {
        _json(row["data"])["work_order"] for row in books.tables["feed"] if row["type"] == "shortage.changed"
    }
    return {
        "order": {order["id"]: _order(order, own[order["id"]]) for order in books.rows("work_orders")},
        "shortage": {order: sorted(short[order]) for order in {*short, *was_short}},
        "due": dict.fromkeys(was_told) | listed,
        "diagnosis": {row["id"]: _diagnosis(row) for row in books.rows("diagnoses")},
        "close-out": {row["id"]: _close_out(books, row) for row in books.rows("close_outs")},
    }


def _told_order(data: Row) -> tuple[Any, ...]:
    stop = data["stop"] or {"starts_at": None, "ends_at": None}
    moments = (data["planned_for"], stop["starts_at"], stop["ends_at"])
    open_tasks = {
        (task["id"], task["kind"], task["position"] or "", (task["proposal"] or {"change": None})["change"])
        for task in data["tasks"]
    }
    return (data["state"], data["version"], *(_at(each) for each in moments), data["note"], open_tasks)


def _order(row: Row, tasks: list[Row]) -> tuple[Any, ...]:
    moments = (row["planned_for"], row["stop_starts_at"], row["stop_ends_at"])
    open_tasks = {
        (task["id"], task["kind"], task["position"], (_json(task["proposal"]) or {"change": None})["change"])
        for task in tasks
    }
    return (row["state"], row["version"], *(_at(each) for each in moments), row["note"], open_tasks)


def _told_line(data: Row) -> tuple[str, ...]:
    amount = data["quantity"] if "quantity" in data else data["volume"]["value"]
    code = data.get("part_number") or data["fluid"]
    return str(data["task"]), code, str(float(amount)), str(_at(data["arrives_at"]))


_DATES = ("due_at", "due_early", "due_median", "due_late")


def _told_date(data: Row) -> tuple[Any, ...] | None:
    return _date(data) if data["in_service"] else None


def _date(row: Row) -> tuple[Any, ...]:
    return (*(_at(row[name]) for name in _DATES), row["trigger"])


def _told_diagnosis(data: Row) -> tuple[Any, ...]:
    return data["position"] or "", data["code"], data["severity"], data["numbers"], _at(data["raised_at"])


def _diagnosis(row: Row) -> tuple[Any, ...] | None:
    if row["cleared_at"] is not None:
        return None
    return row["position"], row["code"], row["severity"], _json(row["numbers"]), _at(row["raised_at"])


def _close_out(books: Books, row: Row) -> tuple[Any, ...]:
    corrections = len(books.rows("close_out_corrections", close_out=row["id"]))
    return _at(row["at"]), row["undone_at"] is not None, corrections


def _json(value: Any) -> Any:
    """SQLite's driver has the text, PostgreSQL's what it says."""
    return json.loads(value) if isinstance(value, str) else value


def _at(told: Any) -> datetime | None:
    """A moment as a driver has it, or as the feed writes it."""
    if told is None:
        return None
    moment = datetime.fromisoformat(told) if isinstance(told, str) else told
    return moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
