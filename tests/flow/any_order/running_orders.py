"""What is done to orders, and what the planner and the clock do."""

from datetime import timedelta
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from service.problems import InTheWay, KitShort
from service.work_orders import verbs
from service.work_orders.reserving import release_kit, reserve_kit
from tests.flow.any_order.books import Row
from tests.flow.any_order.plant_in_hand import CALLER
from tests.flow.any_order.tiny_plant import RUNS_H_PER_DAY
from tests.flow.any_order.walking import Walking, any_of, one

VERBS = (verbs.ISSUE, verbs.START, verbs.HOLD, verbs.RELEASE, verbs.WITHDRAW)


class RunningOrders(Walking):
    """Verbs of work orders, and passes."""

    @rule(
        system=st.sampled_from([None, None, *sorted(RUNS_H_PER_DAY)]), again=st.sampled_from([None, "PRESS", "CONV"])
    )
    def plan(self, system: str | None, again: str | None) -> None:
        self.plant.plan(self.now, system)
        self._happened("plan")
        self.planned = [system or again]

    @precondition(lambda self: self._fitting())
    @rule(which=any_of)
    def do_what_fits(self, which: int) -> None:
        order, verb = one(self._fitting(), which)
        self._ask_for_order(f"do {verb.name}", verb, order)

    @precondition(lambda self: self._withdrawable())
    @rule(which=any_of)
    def withdraw_an_order(self, which: int) -> None:
        self._ask_for_order("withdraw_an_order", verbs.WITHDRAW, one(self._withdrawable(), which))

    @rule(verb=st.sampled_from(VERBS), which=any_of)
    def do_anything(self, verb: verbs.Verb, which: int) -> None:
        self._ask_for_order("do_anything", verb, one(self.books.tables["work_orders"], which))

    @rule(verb=st.sampled_from(VERBS), which=any_of)
    def do_again(self, verb: verbs.Verb, which: int) -> None:
        there = self.books.rows("work_orders", state=verb.to_state.value)
        if there:
            self._ask_for_order("do_again", verb, one(there, which))
            self.may_change = ()

    @precondition(lambda self: self._proposed())
    @rule(which=any_of)
    def accept_what_a_pass_proposes(self, which: int) -> None:
        try:
            with self.plant.database.writing() as connection:
                verbs.accept_proposals(connection, one(self._proposed(), which), now=self.now, by=CALLER.name)
        except InTheWay:
            self._refused("accept_what_a_pass_proposes")
        else:
            self._happened("accept_what_a_pass_proposes")

    @rule(which=any_of, as_far_as_possible=st.booleans())
    def reserve_a_kit(self, which: int, *, as_far_as_possible: bool) -> None:
        order = one(self._with_kits() or self.books.tables["work_orders"], which)
        try:
            with self.plant.database.writing() as connection:
                reserve_kit(
                    *(connection, order["id"]),
                    now=self.now,
                    caller=CALLER,
                    as_far_as_possible=as_far_as_possible,
                )
        except (InTheWay, KitShort):
            self._refused("reserve_a_kit")
        else:
            self._happened("reserve_a_kit")

    @precondition(lambda self: self._holding())
    @rule(which=any_of)
    def release_a_kit(self, which: int) -> None:
        with self.plant.database.writing() as connection:
            release_kit(connection, one(self._holding(), which), now=self.now, by=CALLER.name)
        self._happened("release_a_kit")

    @rule(by=st.sampled_from([{"hours": 3}, {"hours": 30}, {"days": 5}, {"weeks": 3}, {"weeks": 9}]))
    def time_goes_by(self, by: dict[str, float]) -> None:
        self.now += timedelta(**by)
        self._changes_only("time_goes_by")

    def _fitting(self) -> list[tuple[Row, verbs.Verb]]:
        """What the states of the orders allow, but for withdrawing: too few would get under way."""
        return [
            (order, verb)
            for order in self.books.tables["work_orders"]
            for verb in VERBS
            if order["state"] in verb.from_states and verb is not verbs.WITHDRAW
        ]

    def _withdrawable(self) -> list[Row]:
        return [order for order in self.books.tables["work_orders"] if order["state"] in verbs.WITHDRAW.from_states]

    def _with_kits(self) -> list[Row]:
        """The orders that wait, with something on a shelf for one of their tasks."""
        on_shelf = {pick["task"] for pick in self.books.tables["picks"] if pick["store"] is not None}
        orders = {task["work_order"] for task in self.books.rows("tasks", state="open") if task["id"] in on_shelf}
        waits = {"draft", "issued", "held"}
        return [row for row in self.books.tables["work_orders"] if row["id"] in orders and row["state"] in waits]

    def _holding(self) -> list[int]:
        """The orders for which something is held."""
        order_of = {task["id"]: task["work_order"] for task in self.books.rows("tasks", state="open")}
        held = [pick["task"] for pick in self.books.tables["picks"] if pick["reserved_at"] is not None]
        return sorted({order_of[task] for task in held if task in order_of})

    def _proposed(self) -> list[int]:
        """The orders to which the last pass would change something."""
        issued = {order["id"] for order in self.books.rows("work_orders", state="issued")}
        proposed = [task for task in self.books.rows("tasks", state="open") if _says(task["proposal"])]
        return [task["work_order"] for task in proposed if task["work_order"] in issued]

    def _ask_for_order(self, name: str, verb: verbs.Verb, order: Row) -> None:
        try:
            with self.plant.database.writing() as connection:
                verbs.do(connection, order["id"], verb, now=self.now, by=CALLER.name, note="walked by")
        except InTheWay:
            self._refused(name)
        else:
            self._happened(name)


def _says(proposal: Any) -> bool:
    """JSON that is not null: of SQLite its text, of PostgreSQL what it says."""
    return proposal not in (None, "null")
