"""Two who do the same thing at the same moment, many times over: it happens once, and one of them hears so.

Each of the two has an application and a pool of connections of its own, as two serving processes have.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from threading import Barrier
from typing import Any, TypeVar

import pytest

from service.clock.pass_clock import PassClock
from tests.flow.running_plant import RunningPlant, copied, iso, make_planned, running
from tests.flow.small_folder import Row, SmallPlant, small_plant
from tests.how_often import races

TIMES = races(25)
"""With `ELEMENTDUE_TEST_RACES=200` as often as tests/measure/RESULTS.md tells of."""

SYSTEMS = [f"LINE{number}" for number in range(20)]
BREATHERS = [(system, f"{system}-BR{number}") for system in SYSTEMS for number in range(TIMES // len(SYSTEMS))]
ON_HAND = TIMES + 50

Told = TypeVar("Told")
Two = tuple[RunningPlant, RunningPlant]


def plant_of_breathers() -> SmallPlant:
    """As many breathers as there will be close-outs, each due by its age within the horizon."""
    plant = small_plant()
    (like,) = [row for row in plant.tables["systems"] if row["system"] == "CONV"]
    systems: list[Row] = [like | {"system": system} for system in SYSTEMS]
    fixed: Row = {"place": "breather", "part_number": "BR-1", "max_age [d]": 365, "access": "running"}
    positions: list[Row] = [{"position": code, "system": system, **fixed} for system, code in BREATHERS]
    lives: list[Row] = [
        {"position": code, "part_number": "BR-1", "fitted_at": plant.at(345)} for _, code in BREATHERS
    ]
    stock: Row = {
        "part_number": "BR-1",
        "lot": "B-1",
        "store": "MAIN",
        "on_hand": ON_HAND,
        "counted_at": plant.at(10),
    }
    return (
        plant.with_rows("systems", *systems)
        .with_rows("positions", *positions)
        .with_rows("installations", *lives)
        .with_rows("stock", stock)
    )


@pytest.fixture(scope="module")
def file_of_breathers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("breathers") / "plant.sqlite", plant_of_breathers())


@contextmanager
def two_over(path: Path) -> Iterator[Two]:
    with running(path) as one, running(path) as other:
        for plant in (one, other):
            # an application builds its routes as requests come by them, under warning filters that are global: a path
            # that none of them serves comes by all of them
            assert plant.client.post("/v1/nothing-here").status_code == 404
        yield one, other


@pytest.fixture
def two(planned_file: Path, tmp_path: Path) -> Iterator[Two]:
    """The small plant, served twice."""
    with two_over(copied(planned_file, tmp_path / "plant.sqlite")) as both:
        yield both


@pytest.fixture
def two_with_breathers(file_of_breathers: Path, tmp_path: Path) -> Iterator[Two]:
    with two_over(copied(file_of_breathers, tmp_path / "plant.sqlite")) as both:
        yield both


@contextmanager
def at_once() -> Iterator[Callable[[Callable[[], Told], Callable[[], Told]], list[Told]]]:
    """Runs two calls that begin together."""
    together = Barrier(2)

    def begin(call: Callable[[], Told]) -> Told:
        together.wait(timeout=60)
        return call()

    with ThreadPoolExecutor(2) as pool:
        yield lambda one, other: list(pool.map(begin, (one, other)))


def each_position_has_one_open_task_of_a_kind(plant: RunningPlant) -> None:
    open_tasks = Counter((row["system"], row["position"], row["kind"]) for row in plant.rows("tasks", state="open"))
    assert open_tasks
    assert set(open_tasks.values()) == {1}


def work_of(plant: RunningPlant) -> dict[str, Any]:
    return plant.dump("work_orders", "tasks", "picks", "diagnoses")


def test_two_close_outs_of_one_task_at_once_end_it_once(two_with_breathers: Two) -> None:
    one, other = two_with_breathers
    task_at = {row["position"]: row["id"] for row in one.rows("tasks", state="open")}
    with at_once() as both_at_once:
        for _, position in BREATHERS:
            body = {"task": task_at[position], "at": iso(one.now), "element": {"lot": "B-1"}}
            answers = both_at_once(
                *(partial(plant.client.post, "/v1/close-outs", json=body) for plant in (one, other))
            )
            assert sorted(answer.status_code for answer in answers) == [201, 409], [each.text for each in answers]
            (refused,) = [answer.json() for answer in answers if answer.status_code == 409]
            (kept,) = [answer.json() for answer in answers if answer.status_code == 201]
            assert f"was closed by close-out {kept['id']} of" in refused["detail"]
    closed = one.rows("close_outs")
    assert Counter(row["position"] for row in closed) == Counter(position for _, position in BREATHERS)
    moved = one.rows("stock_movements", part_number="BR-1")
    assert Counter(row["source"] for row in moved) == Counter(f"close-out {row['id']}" for row in closed)
    assert {row["quantity"] for row in moved} == {-1}
    assert one.on_hand("BR-1") == ON_HAND - len(BREATHERS)
    assert one.rows("stock_discrepancies") == []
    fitted = one.holds_now("installations", removed_at=None, part_number="BR-1", lot="B-1")
    assert sorted(row["position"] for row in fitted) == sorted(position for _, position in BREATHERS)
    ended = {task_at[position] for _, position in BREATHERS}
    assert {row["state"] for row in one.rows("tasks") if row["id"] in ended} == {"done"}
    each_position_has_one_open_task_of_a_kind(one)


def test_two_clocks_that_tick_at_once_run_one_pass_for_each_slot(two: Two) -> None:
    one, other = two
    before = len(one.rows("passes"))
    clocks = [PassClock(plant.database, 60, lambda: one.now) for plant in two]
    slots = []
    with at_once() as both_at_once:
        for _ in range(TIMES):
            slots.append(clocks[0].due_slot(one.later(hours=1)))
            both_at_once(clocks[0].tick, clocks[1].tick)
            assert [clock.last_error for clock in clocks] == [None, None]
    run = one.rows("passes")
    assert len(run) == before + TIMES
    assert sorted(row["slot"] for row in run if row["slot"] is not None) == slots
    each_position_has_one_open_task_of_a_kind(other)


def test_two_passes_asked_for_at_once_leave_the_work_that_one_would_have_left(two: Two) -> None:
    one, other = two
    tasks_before = len(one.rows("tasks"))
    with at_once() as both_at_once:
        for _ in range(TIMES):
            other.now = one.later(days=200 / TIMES)  # news for both: dates move, and work comes into the horizon
            passes = both_at_once(one.run_pass, other.run_pass)
            assert len({each["id"] for each in passes}) == 2
            each_position_has_one_open_task_of_a_kind(one)
    left = work_of(one)
    assert len(left["tasks"]) > tasks_before, "no work came into the horizon"
    one.run_pass()
    assert work_of(other) == left
