"""What holds at every moment, whatever was done before: each promise says what of the books breaks it."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np

from scheduler.statistics.run_hours import ReadingOutcome, cumulative_hours
from service.plant_folder import layout
from service.plant_store.time import to_day
from tests.flow.any_order.books import Books, Row
from tests.flow.any_order.folding import as_it_is, folded

Broken = Iterator[str]
_OPEN_ORDER = frozenset({"draft", "issued", "underway", "held"})
_SMALLEST = 1e-6


def one_open_task_of_a_kind(books: Books) -> Broken:
    """Exactly one open task per position (or system) and kind of work (contract, Facts and refusals)."""
    subjects = Counter((row["system"], row["position"], row["kind"]) for row in books.rows("tasks", state="open"))
    for subject, count in subjects.items():
        if count > 1:
            yield f"{count} open tasks: {subject}"


def open_work_hangs_together(books: Books) -> Broken:
    """An open task stands in an open order, and an open order has an open task."""
    state = {row["id"]: row["state"] for row in books.rows("work_orders")}
    with_open_task = {row["work_order"] for row in books.rows("tasks", state="open")}
    for order in sorted(with_open_task):
        if state[order] not in _OPEN_ORDER:
            yield f"order {order} is {state[order]} and has an open task"
    for order, is_in in state.items():
        if is_in in _OPEN_ORDER and order not in with_open_task:
            yield f"order {order} is {is_in} and has no open task"


_STATE_AFTER = {
    "raised": "draft",
    "issued": "issued",
    "started": "underway",
    "held": "held",
    "released": "issued",
    "done": "done",
    "withdrawn": "withdrawn",
}


def an_orders_history_tells_its_state(books: Books) -> Broken:
    """The last step that is one of the order, and not of a task or its kit, is how it stands."""
    told: dict[int, str] = {}
    for row in sorted(books.rows("order_history"), key=lambda row: int(row["id"])):
        if row["step"] in _STATE_AFTER:
            told[row["work_order"]] = _STATE_AFTER[row["step"]]
    for order in books.rows("work_orders"):
        if told.get(order["id"]) != order["state"]:
            yield f"order {order['id']} is {order['state']}, its history says {told.get(order['id'])}"


def a_task_is_done_by_one_close_out(books: Books) -> Broken:
    """A task that is done has one close-out that happened; no other task has any."""
    closed = Counter(row["task"] for row in books.rows("close_outs", undone_at=None))
    for task in books.rows("tasks"):
        if closed[task["id"]] != (task["state"] == "done"):
            yield f"task {task['id']} is {task['state']} with {closed[task['id']]} close-outs"


def stays_follow_each_other(books: Books) -> Broken:
    """A position holds one element (or set) at a time, and at most the last of them is still there."""
    stays = sorted(books.holding("installations"), key=lambda row: (row["position"], row["fitted_at"]))
    for stay in stays:
        if stay["removed_at"] is not None and stay["removed_at"] <= stay["fitted_at"]:
            yield f"{stay['position']}: out at {stay['removed_at']}, before it was in at {stay['fitted_at']}"
    for earlier, later in pairwise(stays):
        if earlier["position"] != later["position"]:
            continue
        if earlier["removed_at"] is None:
            yield f"{earlier['position']}: two open stays, since {earlier['fitted_at']} and {later['fitted_at']}"
        elif earlier["removed_at"] > later["fitted_at"]:
            yield f"{earlier['position']}: in until {earlier['removed_at']}, the next since {later['fitted_at']}"


def a_fact_holds_once(books: Books) -> Broken:
    """Of each fact at most one version holds, and a version holds for a while before the next one does."""
    for table in layout.TABLES:
        if not table.is_fact:
            continue
        keys = [column.field for column in table.key]
        holding = Counter(tuple(row[key] for key in keys) for row in books.holding(table.name))
        yield from (f"{table.name} {key} holds {count} times" for key, count in holding.items() if count > 1)
        for row in books.rows(table.name):
            if row["superseded_at"] is not None and row["superseded_at"] <= row["recorded_at"]:
                yield f"{table.name} {row['id']} ended before it was known"


def hours_run_forwards(books: Books) -> Broken:
    """Of the readings that are believed none is below the one before it, nor do the hours made of them fall."""
    system_of = {row["position"]: row["system"] for row in books.rows("positions")}
    for row in books.rows("meters"):
        system = row["system"]
        seen = {(_day(each["at"]), each["hours"]) for each in books.holding("meter_readings", system=system)}
        for stay in books.holding("installations"):
            if system_of[stay["position"]] == system:
                seen |= {
                    (_day(stay[at]), stay[hours])
                    for at, hours in (("fitted_at", "fitted_hours"), ("removed_at", "removed_hours"))
                    if stay[at] is not None and stay[hours] is not None
                }
        day, hours = np.array(sorted(seen)).T
        meter = cumulative_hours(day, hours, np.zeros(len(day), dtype=np.int64), digits=row["digits"])
        if (np.diff(meter.cumulative_h) < 0.0).any():
            yield f"{system}: the hours fall: {meter.cumulative_h.tolist()}"
        for index in np.flatnonzero(meter.outcome == ReadingOutcome.ACCEPTED):
            if meter.earlier_h[index] > hours[index]:
                yield f"{system}: {hours[index]} h is believed after {meter.earlier_h[index]} h"


def _day(at: Any) -> float:
    return to_day(datetime.fromisoformat(at).replace(tzinfo=UTC) if isinstance(at, str) else at)


LotKey = tuple[str, str, str]
Shelves = Mapping[LotKey, int]


def shelves_are_counts_and_movements(books: Books, shown: Shelves) -> Broken:
    """Stock now is the last count and what has moved since, never below zero; what came in has a shelf of its own."""
    reckoned = dict(_reckoned(books))
    if shown.keys() != reckoned.keys():
        yield f"lots {sorted(shown)} are shown, {sorted(reckoned)} are known"
    for lot, pieces in shown.items():
        if pieces < 0:
            yield f"{lot}: {pieces} are shown"
        if lot in reckoned and pieces != max(reckoned[lot], 0):
            yield f"{lot}: {pieces} are shown, the count and what moved since come to {reckoned[lot]}"


def _reckoned(books: Books) -> Iterator[tuple[LotKey, int]]:
    counts = books.holding("stock")
    for count in counts:
        lot = (count["part_number"], count["store"], count["lot"])
        yield lot, count["on_hand"] + sum(row["quantity"] for row in _moved(books, lot, since=count["counted_at"]))
    for line in books.holding("supply"):
        counted = [row["counted_at"] for row in counts if row["part_number"] == line["part_number"]]
        if line["received_at"] is not None and line["received_at"] > max(counted, default=_of_old(line)):
            lot = (line["part_number"], "received", f"{line['order']}/{line['line']}")
            moved = _moved(books, lot, since=line["received_at"])
            yield lot, int(line["quantity"]) + sum(row["quantity"] for row in moved)


def _of_old(line: Row) -> Any:
    """Before anything: what was never counted was always received since."""
    return "" if isinstance(line["received_at"], str) else line["received_at"].replace(year=1000)


def _moved(books: Books, lot: LotKey, since: Any) -> list[Row]:
    part_number, store, code = lot
    moved = books.rows("stock_movements", part_number=part_number, store=store, lot=code)
    return [row for row in moved if row["at"] > since]


def no_shelf_is_overdrawn_but_by_a_late_count(books: Books) -> Broken:
    """More than a count had is taken only before the count was told: nobody could know then."""
    told_at = {f"import {row['id']}": row["recorded_at"] for row in books.rows("imports")}
    for count in books.holding("stock"):
        lot = (count["part_number"], count["store"], count["lot"])
        moved = _moved(books, lot, since=count["counted_at"])
        left = count["on_hand"] + sum(row["quantity"] for row in moved)
        before = sum(row["quantity"] for row in moved if row["recorded_at"] <= told_at[count["source"]])
        if left < min(count["on_hand"] + before, 0):
            yield f"{lot}: counted {count['on_hand']}, {before} had moved before that was told, now {left} are left"


Used = Mapping[str, float]


def nothing_used_is_lost(books: Books, used_by: Mapping[int, Used], oil_by: Mapping[int, Used]) -> Broken:
    """What a close-out used was taken from the shelves, or is kept as what the books did not have."""
    for close_out, used in used_by.items():
        booked = _booked(books, close_out, "stock_movements", "part_number")
        if _differ(used, booked):
            yield f"close-out {close_out} used {dict(used)}, booked are {booked}"
    for close_out, poured_L in oil_by.items():
        booked = _booked(books, close_out, "oil_movements", "fluid")
        if _differ(poured_L, booked):
            yield f"close-out {close_out} poured {dict(poured_L)} L, booked are {booked} L"


def _booked(books: Books, close_out: int, movements: str, code: str) -> dict[str, float]:
    """By part or fluid: what moved out, and what was missing, corrections included."""
    booked: dict[str, float] = {}
    for row in books.rows(movements):
        if _is_of(row["source"], close_out):
            amount = -row["quantity"] * row.get("container_L", 1)
            booked[row[code]] = booked.get(row[code], 0.0) + amount
    for row in books.rows("stock_discrepancies"):
        if _is_of(row["source"], close_out) and row[code] is not None:
            booked[row[code]] = booked.get(row[code], 0.0) + row["missing"]
    return booked


def _is_of(source: str, close_out: int) -> bool:
    return source == f"close-out {close_out}" or source.startswith(f"close-out {close_out}, ")


def _differ(one: Used, other: Used) -> bool:
    return any(abs(one.get(code, 0.0) - other.get(code, 0.0)) > _SMALLEST for code in one.keys() | other.keys())


def the_feed_has_no_gap(books: Books) -> Broken:
    """Numbers run from 1, one by one, to the newest; and no two lines have the same id."""
    numbers = [row["number"] for row in books.rows("feed")]
    newest = [row["number"] for row in books.rows("feed_newest")]
    if sorted(numbers) != list(range(1, len(numbers) + 1)) or newest not in ([], [len(numbers)]):
        yield f"numbers {sorted(numbers)}, newest {newest}"
    if len({row["id"] for row in books.rows("feed")}) != len(numbers):
        yield "an id comes twice"


def the_feed_folds_to_the_books(books: Books) -> Broken:
    """Who takes the later of two lines about a subject, from the first line on, knows what the tables say."""
    known, so = folded(books), as_it_is(books)
    for kind, subjects in so.items():
        for subject in sorted(subjects.keys() | known[kind].keys(), key=str):
            told, true = known[kind].get(subject), subjects.get(subject)
            if told != true:
                yield f"{kind} {subject}: the feed says {told}, it is {true}"


Promise = Callable[[Books], Broken]

_FACTS = tuple(table.name for table in layout.TABLES if table.is_fact)

PROMISES: dict[Promise, tuple[str, ...]] = {
    one_open_task_of_a_kind: ("tasks",),
    open_work_hangs_together: ("tasks", "work_orders"),
    an_orders_history_tells_its_state: ("order_history", "work_orders"),
    a_task_is_done_by_one_close_out: ("tasks", "close_outs"),
    stays_follow_each_other: ("installations",),
    a_fact_holds_once: _FACTS,
    hours_run_forwards: ("meter_readings", "installations"),
    no_shelf_is_overdrawn_but_by_a_late_count: ("stock", "stock_movements"),
    the_feed_has_no_gap: ("feed", "feed_newest"),
    the_feed_folds_to_the_books: (
        *("feed", "work_orders", "tasks", "picks", "oil_picks"),
        *("due_items", "diagnoses", "close_outs", "close_out_corrections"),
    ),
}
"""With the tables that each of them reads: while those stay as they are, so does the promise."""

ON_THE_SHELVES = ("stock", "supply", "stock_movements", "oil_stock", "oil_movements", "picks", "work_orders")
"""What the service looks at for what is on its shelves, and what of it is free."""
