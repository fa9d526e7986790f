"""The ground that every step stands on: how the service is asked, and the promises that hold afterwards."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant
from starlette.responses import JSONResponse

from service.problems import BadInput, CannotBeTrue, ConfirmationNeeded, InTheWay
from tests.flow.any_order.books import Books, Row, differing_tables
from tests.flow.any_order.jobs import Done, Told
from tests.flow.any_order.plant_in_hand import PlantInHand
from tests.flow.any_order.promises import (
    ON_THE_SHELVES,
    PROMISES,
    nothing_used_is_lost,
    shelves_are_counts_and_movements,
)
from tests.flow.any_order.tiny_plant import RUNS_H_PER_DAY, SYSTEM_OF
from tests.flow.running_plant import iso
from tests.flow.small_folder import NOW

positions, systems = st.sampled_from(sorted(SYSTEM_OF)), st.sampled_from(sorted(RUNS_H_PER_DAY))
any_of = st.integers(0, 59)  # which of what there is
hours_ago = st.sampled_from([0, 0, 1, 20, 26, 100])
dp_bar = st.sampled_from([0.5, 0.8, 1.6, 1.9, 2.3, 3.0])

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked, and how it is asked with a key."""

    says: str
    send: Callable[[str], JSONResponse]


@dataclass(frozen=True, slots=True)
class Acknowledged:
    request: Request
    key: str
    answer: bytes


class Walking(RuleBasedStateMachine):
    """What is known of the plant and of what was done to it; the rules of what can happen are its subclasses'."""

    def __init__(self, plant: PlantInHand) -> None:
        super().__init__()
        plant.begin_again()
        self.plant = plant
        self.now = NOW
        self.books: Books = plant.books()
        self.jobs: dict[int, Done] = {}
        self.acknowledged: list[Acknowledged] = []
        self.may_change: tuple[str, ...] | None = None
        self.planned: list[str | None] = []
        self.last_file_holds = False  # nothing that was told since can have changed what it says

    # the promises

    @invariant()
    def every_promise_holds(self) -> None:
        before, self.books = self.books, self.plant.books()
        if self.may_change is not None:
            assert differing_tables(before.but(*self.may_change), self.books.but(*self.may_change)) == {}
        if self.books != before:
            changed = {name for name, rows in self.books.tables.items() if rows != before.tables[name]}
            broken = [
                each for promise, reads in PROMISES.items() if changed & {*reads} for each in promise(self.books)
            ]
            broken += self._lost() + (self._wrong_on_shelves() if changed & {*ON_THE_SHELVES} else [])
            assert broken == []
        for system in self.planned:
            self._plan_again(system)
        self.plant.done["looks at the books"] += 1
        self.may_change, self.planned = None, []

    def _lost(self) -> list[str]:
        used = {done.id: done.used for done in self.jobs.values()}
        poured_L = {done.id: done.poured_L for done in self.jobs.values()}
        return list(nothing_used_is_lost(self.books, used, poured_L))

    def _wrong_on_shelves(self) -> list[str]:
        shown = self.plant.shown(self.now)
        wrong = list(shelves_are_counts_and_movements(self.books, shown.shelves))
        wrong += [f"{lot}: {free} free" for lot, free in shown.free.items() if not 0 <= free <= shown.shelves[lot]]
        return wrong + ([f"{shown.least_oil_L} L of an oil"] if shown.least_oil_L < 0.0 else [])

    def _plan_again(self, system: str | None) -> None:
        """A pass at the same moment, with no news, says the same and changes nothing else."""
        again = self.plant.after_planning_again(system)
        assert differing_tables(self.books.but("passes", "due_items"), again.but("passes", "due_items")) == {}
        assert differing_tables({"due": _last_due(self.books)}, {"due": _last_due(again)}) == {}

    # how it is done

    def _told_at(self, ago: int) -> str:
        return iso(self.now - timedelta(hours=ago))

    def _confirmed(self, name: str, body: Told, request_of: Callable[[Told], Request]) -> Told | None:
        """The answer, after a confirmation where one is asked for; None where it cannot have been so."""
        before = self.plant.books()
        try:
            return self._acknowledged(name, request_of(body))
        except ConfirmationNeeded:
            assert differing_tables(before.tables, self.plant.books().tables) == {}
        confirmed = body | {"confirm_mismatch": {"reason": "it was all there was"}}
        return self._acknowledged(f"{name}, confirmed", request_of(confirmed))

    def _acknowledged(self, name: str, request: Request) -> Told | None:
        key = f"request {len(self.acknowledged)}"
        try:
            response = request.send(key)
        except (BadInput, CannotBeTrue, InTheWay):
            self._refused(name)
            return None
        self.acknowledged.append(Acknowledged(request, key, bytes(response.body)))
        answer: Told = json.loads(bytes(response.body))
        if response.status_code == 200:
            self._changes_only(f"{name}, as it stood", "kept_answers")
        else:
            self._happened(name)
            self.last_file_holds = False
        return answer

    def _happened(self, name: str) -> None:
        self.plant.done[name] += 1

    def _refused(self, name: str) -> None:
        """A refused request changes nothing."""
        self._changes_only(f"{name}, refused")

    def _changes_only(self, name: str, *tables: str) -> None:
        self._happened(name)
        self.may_change = tables


def one(found: Sequence[T], which: int) -> T:
    return found[which % len(found)]


def moment(at: Any) -> datetime:
    """A moment as the driver has it."""
    moment: datetime = datetime.fromisoformat(at).replace(tzinfo=UTC) if isinstance(at, str) else at
    return moment


def _last_due(books: Books) -> list[Row]:
    last = max(row["pass_id"] for row in books.tables["due_items"])
    return [row | {"pass_id": None} for row in books.rows("due_items", pass_id=last)]
