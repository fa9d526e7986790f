"""Whatever people and machines do, in whatever order: the promises of the books hold after every step.

A walk of hypothesis over the service in process. A failure ends with the shortest walk that shows it and with the
seed that finds it again: `ELEMENTDUE_TEST_SEED=… pytest tests/flow/test_any_order.py`.
"""

import os
import secrets
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test
from sqlalchemy.exc import IntegrityError

from scheduler.planning.kits import Pick
from scheduler.planning.oil_kits import OilPick
from scheduler.statistics.run_hours import MeterHours, cumulative_hours
from service.close_outs import amending, consequences, recording
from service.due import planning_pass
from service.feed import recording as recording_of_feed
from service.feed.noticing import Noticed
from service.keys import answering
from service.problems import Problem
from service.work_orders.picking import save_picks
from service.work_orders.tables import picks
from tests.databases import ON_POSTGRESQL
from tests.flow.any_order import promises
from tests.flow.any_order.books import Books
from tests.flow.any_order.plant_in_hand import PlantInHand
from tests.flow.any_order.walk import Walk
from tests.flow.small_folder import NOW
from tests.how_often import walks

SEED = "ELEMENTDUE_TEST_SEED"
PARTS = 1 if ON_POSTGRESQL else 2
WALKS = walks(8 if ON_POSTGRESQL else 14)
"""Of each part."""

STEPS = 40

HAPPENS = (
    *("count_a_shelf", "read_a_gauge", "correct_a_gauge_reading", "read_a_meter", "correct_a_meter_reading"),
    *("supply_comes_in", "a_change_is_told_by_a_file", "the_last_file_comes_again", "plan", "time_goes_by"),
    *(
        "do issue",
        "do start",
        "do hold",
        "do release",
        "reserve_a_kit",
        "withdraw_an_order",
        "do_anything, refused",
    ),
    *("close_a_task", "close_an_open_task", "close_by_position", "fit_the_wrong_element, confirmed"),
    *("close_by_position, refused", "add_a_reading", "undo_a_close_out", "correct_and_think_better_of_it"),
    *("close_and_think_better_of_it", "repeat_a_request", "use_the_key_of_another_request, refused"),
)
"""What a hundred walks are certain to meet, and a dozen most of: one in which nothing happens is found out."""


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PlantInHand]:
    with closing(PlantInHand(tmp_path_factory.mktemp("any_order"))) as plant:
        yield plant


def _walk(plant: PlantInHand, walks: int, chosen: int, *phases: Phase) -> None:
    def walk() -> Walk:
        return Walk(plant)

    profile = settings(
        max_examples=walks,
        stateful_step_count=STEPS,
        deadline=None,
        derandomize=False,
        database=None,
        print_blob=False,
        report_multiple_bugs=False,
        phases=phases,
        suppress_health_check=list(HealthCheck),
    )
    begun: Any = seed(chosen)(walk)  # hypothesis takes a function that makes the walk, its types only know a class
    # what hypothesis makes of an earlier walk would otherwise often be a shorter one
    run_state_machine_as_test(begun, settings=profile, _min_steps=STEPS)


@pytest.mark.parametrize("part", range(PARTS))  # so that a parallel run can share them out
def test_every_promise_holds_whatever_is_done_in_whatever_order(tiny: PlantInHand, part: int) -> None:
    chosen = int(os.environ.get(SEED) or _seed()) + part
    tiny.done.clear()
    try:
        _walk(tiny, WALKS, chosen, Phase.generate, Phase.shrink)
    except BaseException as failure:
        failure.add_note(f"the same walks again: {SEED}={chosen - part}, part {part}")
        raise
    assert tiny.done["looks at the books"] >= WALKS * (1 + STEPS)  # one of them before the first step
    missing = [what for what in HAPPENS if not tiny.done[what]]
    assert len(missing) <= (0 if WALKS >= 100 else len(HAPPENS) // 4), missing


def _seed() -> int:
    """Anywhere but in CI, which should not fail for what nobody changed, every run takes other walks."""
    return 20261125 if os.environ.get("CI") else secrets.randbelow(2**32)


def _does_nothing(*_told: Any, **_more: Any) -> None:
    return None


def _picks_anew(connection: sa.Connection, planned: Sequence[Pick], oil: Sequence[OilPick]) -> None:
    connection.execute(sa.delete(picks))
    save_picks(connection, planned, oil)


def _notices_nothing(*_told: Any) -> set[int]:
    return set()


def _always_the_first(_connection: sa.Connection) -> int:
    return 3


@pytest.mark.one_database_is_enough
@pytest.mark.parametrize(
    ("room", "does", "instead"),
    [
        pytest.param(consequences, "book_parts", _does_nothing, id="books no parts"),
        pytest.param(consequences, "supersede", _does_nothing, id="leaves the old element in"),
        pytest.param(recording, "_end_task", _does_nothing, id="ends no task"),
        pytest.param(answering, "_kept", _does_nothing, id="forgets what it answered"),
        pytest.param(planning_pass, "save_picks", _picks_anew, id="picks anew at every pass"),
        pytest.param(amending, "take_back_parts", _does_nothing, id="gives no parts back"),
        pytest.param(Noticed, "orders", _notices_nothing, id="tells of no order"),
        pytest.param(recording_of_feed, "dates_that_changed", _notices_nothing, id="tells of no date"),
        pytest.param(recording_of_feed, "newest_number", _always_the_first, id="gives numbers twice"),
    ],
)
def test_a_walk_finds_a_service_that(
    tiny: PlantInHand, monkeypatch: pytest.MonkeyPatch, room: ModuleType | type, does: str, instead: Any
) -> None:
    monkeypatch.setattr(room, does, instead)
    with pytest.raises((AssertionError, Problem, IntegrityError)):
        _walk(tiny, 120, 2, Phase.generate)  # the rarest is found in the first ten or so


@pytest.fixture
def at_rest(tiny: PlantInHand) -> Books:
    tiny.begin_again()
    return tiny.books()


def _one_more(books: Books, table: str, **values: Any) -> Books:
    """The books with the last row of `table` once more, under another id and with other `values`."""
    last = books.tables[table][-1]
    return Books(books.tables | {table: [*books.tables[table], last | {"id": last["id"] + 1} | values]})


def _without_last(books: Books, table: str) -> Books:
    return Books(books.tables | {table: books.tables[table][:-1]})


def _with(books: Books, table: str, **values: Any) -> Books:
    """The books with `values` in every row of `table`."""
    return Books(books.tables | {table: [row | values for row in books.tables[table]]})


def test_the_books_of_a_plant_at_rest_break_no_promise(tiny: PlantInHand, at_rest: Books) -> None:
    assert [each for promise in promises.PROMISES for each in promise(at_rest)] == []
    assert list(promises.shelves_are_counts_and_movements(at_rest, tiny.shown(NOW).shelves)) == []


@pytest.mark.parametrize(
    ("promise", "break_it"),
    [
        (promises.one_open_task_of_a_kind, lambda books: _one_more(books, "tasks")),
        (promises.open_work_hangs_together, lambda books: _with(books, "work_orders", state="done")),
        (promises.open_work_hangs_together, lambda books: _with(books, "tasks", state="withdrawn")),
        (promises.a_task_is_done_by_one_close_out, lambda books: _with(books, "tasks", state="done")),
        (promises.a_fact_holds_once, lambda books: _one_more(books, "stock")),
        (promises.the_feed_has_no_gap, lambda books: _with(books, "feed", number=7)),
        (promises.the_feed_has_no_gap, lambda books: _without_last(books, "feed")),
        (promises.the_feed_folds_to_the_books, lambda books: _with(books, "work_orders", version=99)),
        (promises.the_feed_folds_to_the_books, lambda books: _with(books, "tasks", kind="flush")),
        (promises.the_feed_folds_to_the_books, lambda books: _with(books, "picks", store=None)),
        (promises.the_feed_folds_to_the_books, lambda books: _with(books, "due_items", trigger="age")),
        (promises.the_feed_folds_to_the_books, lambda books: _without_last(books, "feed")),
        (
            promises.stays_follow_each_other,
            lambda books: _one_more(books, "installations", fitted_at=books.tables["passes"][-1]["as_of"]),
        ),
    ],
)
def test_a_broken_promise_is_found_out(
    at_rest: Books, promise: promises.Promise, break_it: Callable[[Books], Books]
) -> None:
    assert list(promise(at_rest)) == []
    assert list(promise(break_it(at_rest)))


def test_hours_that_fall_are_found_out(at_rest: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    def falling(*told: Any, **more: Any) -> MeterHours:
        meter = cumulative_hours(*told, **more)
        return replace(meter, cumulative_h=meter.cumulative_h[::-1])

    monkeypatch.setattr(promises, "cumulative_hours", falling)
    assert len(list(promises.hours_run_forwards(at_rest))) == 2


def test_a_piece_too_many_or_too_few_on_a_shelf_is_found_out(tiny: PlantInHand, at_rest: Books) -> None:
    shelves = dict(tiny.shown(NOW).shelves)
    for lot, pieces in shelves.items():
        for wrong in (pieces + 1, pieces - 1, -1):
            assert list(promises.shelves_are_counts_and_movements(at_rest, shelves | {lot: wrong}))


def test_a_piece_that_nobody_booked_is_found_out(at_rest: Books) -> None:
    assert list(promises.nothing_used_is_lost(at_rest, {1: {"EL-10": 1}}, {})) != []
    assert list(promises.nothing_used_is_lost(at_rest, {}, {1: {"OIL-46": 4.0}})) != []
    assert list(promises.nothing_used_is_lost(at_rest, {1: {}}, {1: {}})) == []
