"""The clock: one pass for each slot, whoever ticks; a missed one caught up once; and the timetable under it."""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from scheduler.timetable import Timetable, slot_of
from scheduler.vocabulary import Scope
from service.app import create_app
from service.clock import pass_clock
from service.clock.now import now_utc
from service.clock.pass_clock import PassClock
from service.database import Database
from service.due.planning_pass import run_pass
from service.due.tables import passes
from service.settings import Settings
from tests.service.served import CHECKOUT, Served, opened, take_small_plant

HOUR = timedelta(hours=1)
SIX = datetime(2026, 3, 5, 6, tzinfo=UTC)

TICK_AT_ONCE = """
import sys
from datetime import datetime
from service.clock.pass_clock import PassClock
from service.database import Database
now = datetime.fromisoformat(sys.argv[2])
clock = PassClock(Database(sys.argv[1]), 60, lambda: now)
print("ready", flush=True)
for _ in sys.stdin:
    clock.tick()
    print(clock.last_error, flush=True)
"""


class Hands:
    """A clock's hands, moved by the test."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with opened(tmp_path / "plant.sqlite") as database:
        take_small_plant(database, tmp_path / "small")
        yield database


def slots_answered(database: Database) -> list[datetime]:
    with database.reading() as connection:
        return list(connection.scalars(sa.select(passes.c.slot).order_by(passes.c.id)))


def wait_until(reached: Callable[[], bool], within_s: float = 20.0) -> None:
    give_up = time.monotonic() + within_s
    while not reached():
        assert time.monotonic() < give_up, "it did not come to pass"
        time.sleep(0.01)


def test_a_slot_gets_one_pass_however_often_the_clock_ticks(database: Database) -> None:
    hands = Hands(SIX + timedelta(minutes=1))
    clock = PassClock(database, 60, hands)
    for minute in (1, 2, 59):
        hands.now = SIX + timedelta(minutes=minute)
        clock.tick()
    assert slots_answered(database) == [SIX]
    hands.now = SIX + HOUR
    clock.tick()
    assert slots_answered(database) == [SIX, SIX + HOUR]


def test_a_pass_says_when_it_was_known_and_who_asked(database: Database) -> None:
    at = SIX + timedelta(minutes=7)
    PassClock(database, 60, Hands(at)).tick()
    with database.reading() as connection:
        row = connection.execute(sa.select(passes)).mappings().one()
    assert (row["as_of"], row["recorded_at"], row["cause"], row["by"]) == (at, at, "clock", "clock")


def test_a_pass_that_a_person_asked_for_does_not_answer_the_slot(database: Database) -> None:
    with database.writing() as connection:
        run_pass(connection, as_of=SIX, now=SIX, cause="asked for", by="planner")
    PassClock(database, 60, Hands(SIX)).tick()
    assert slots_answered(database) == [None, SIX]


def test_the_hour_that_summer_time_repeats_is_two_slots_and_the_one_it_leaves_out_is_none(database: Database) -> None:
    # Europe/Oslo: 02:00-03:00 comes twice on 2025-10-26 (00:00 and 01:00 UTC) and not at all on 2025-03-30
    hands = Hands(SIX)
    clock = PassClock(database, 60, hands)
    autumn = [datetime(2025, 10, 26, hour, 30, tzinfo=UTC) for hour in (0, 1)]
    spring = [datetime(2025, 3, 30, hour, 30, tzinfo=UTC) for hour in (0, 1)]
    for hands.now in (*spring, *autumn):
        clock.tick()
    assert slots_answered(database) == [at.replace(minute=0) for at in (*spring, *autumn)]


def test_two_clocks_in_one_process_run_one_pass_for_each_slot(database: Database) -> None:
    clocks = 2
    together = threading.Barrier(clocks)
    errors: list[str | None] = []

    def tick_through_ten_slots() -> None:
        hands = Hands(SIX)
        clock = PassClock(database, 60, hands)
        for number in range(10):
            hands.now = SIX + number * HOUR
            together.wait()
            clock.tick()
            errors.append(clock.last_error)

    threads = [threading.Thread(target=tick_through_ten_slots) for _ in range(clocks)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == [None] * 20
    assert slots_answered(database) == [SIX + number * HOUR for number in range(10)]


def test_two_processes_that_tick_at_once_run_one_pass(database: Database) -> None:
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", TICK_AT_ONCE, str(database.url), SIX.isoformat()],
            cwd=CHECKOUT,
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        for _ in range(2)
    ]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("tick\n")
        process.stdin.flush()
    told = [process.communicate(timeout=60)[0] for process in processes]
    assert told == ["None\n", "None\n"]
    assert slots_answered(database) == [SIX]


def test_one_clock_never_runs_two_passes_beside_each_other(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    running, most = 0, 0

    def slow_pass(*_: object, **__: object) -> None:
        nonlocal running, most
        running += 1
        most = max(most, running)
        time.sleep(0.05)
        running -= 1

    monkeypatch.setattr(pass_clock, "run_pass", slow_pass)
    clock = PassClock(database, 60, Hands(SIX))
    threads = [threading.Thread(target=clock.tick) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1


def test_what_was_missed_while_the_server_was_down_is_caught_up_by_one_pass_at_once(database: Database) -> None:
    a_day = 1440
    yesterday = now_utc() - timedelta(days=5)
    PassClock(database, a_day, Hands(yesterday)).tick()
    clock = PassClock(database, a_day, now_utc)
    clock.start()
    try:
        wait_until(lambda: len(slots_answered(database)) > 1)
        assert clock.running
    finally:
        clock.stop()
    assert slots_answered(database) == [slot_of(yesterday, a_day), slot_of(now_utc(), a_day)]
    assert not clock.running
    again = PassClock(database, a_day, now_utc)
    again.start()
    again.stop()  # waits for the tick at the start
    assert len(slots_answered(database)) == 2


def test_a_pass_that_fails_keeps_nothing_is_told_and_the_next_tick_works(
    database: Database, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def half_a_pass(connection: sa.Connection, **how: object) -> None:
        run_pass(connection, **how)  # type: ignore[arg-type]
        raise RuntimeError("the disk is full")

    clock = PassClock(database, 60, Hands(SIX))
    with monkeypatch.context() as broken:
        broken.setattr(pass_clock, "run_pass", half_a_pass)
        clock.tick()
    assert clock.last_error == "RuntimeError: the disk is full"
    assert "the planning pass failed" in caplog.text
    assert slots_answered(database) == []
    clock.tick()
    assert clock.last_error is None
    assert slots_answered(database) == [SIX]


def test_the_clock_is_shown_with_its_slot_its_next_tick_and_the_last_ten_passes(database: Database) -> None:
    hands = Hands(SIX)
    ticking = PassClock(database, 60, hands)
    for number in range(12):
        hands.now = SIX + number * HOUR
        ticking.tick()
    service = Served(database, create_app(database, Settings(pass_every_minutes=60), ticks=False))
    with service.client(service.key(Scope.READ)) as client:
        still = client.get("/v1/clock").json()
        service.app.state.clock.start()
        try:
            wait_until(lambda: client.get("/v1/clock").json()["answered"])
            shown = client.get("/v1/clock").json()
        finally:
            service.app.state.clock.stop()
    assert (still["running"], still["next_at"], still["answered"]) == (False, None, False)
    assert [record["as_of"] for record in still["passes"]] == [
        (SIX + number * HOUR).isoformat().replace("+00:00", "Z") for number in range(11, 1, -1)
    ]
    assert (shown["running"], shown["every_minutes"], shown["last_error"]) == (True, 60, None)
    slot, after = (datetime.fromisoformat(shown[name]) for name in ("due_slot", "next_at"))
    assert (slot.minute, slot.second, slot.microsecond) == (0, 0, 0)
    assert after - slot == HOUR
    assert slot <= datetime.fromisoformat(shown["now"]) < after


@pytest.mark.parametrize("every_minutes", [1, 7, 15, 60, 1440])
def test_ticks_fall_on_whole_slots_since_1970_whenever_the_server_started(every_minutes: int) -> None:
    now = now_utc()
    timetable = Timetable(lambda: None, every_minutes, now)
    timetable.start()
    try:
        wait_until(lambda: timetable.next_at != now)  # the tick at the start
        following = timetable.next_at
    finally:
        timetable.stop()
    assert following is not None
    assert following.timestamp() % (every_minutes * 60) == 0
    assert timedelta(0) < following - now <= 2 * timedelta(minutes=every_minutes)  # two where a slot begins meanwhile


@pytest.mark.parametrize("every_minutes", [1, 7, 60, 1440])
def test_a_slot_begins_at_a_tick_and_lasts_to_the_next(every_minutes: int) -> None:
    for second in range(0, 100_000, 997):
        now = SIX + timedelta(seconds=second)
        slot = slot_of(now, every_minutes)
        assert slot.timestamp() % (every_minutes * 60) == 0
        assert slot <= now < slot + timedelta(minutes=every_minutes)


def test_a_tick_that_takes_longer_than_its_slot_neither_overlaps_nor_is_made_up_for_in_a_burst() -> None:
    slot_s, tick_s, watched_s = 0.05, 0.3, 1.2
    began: list[float] = []
    ended: list[float] = []

    def slow_tick() -> None:
        began.append(time.monotonic())
        time.sleep(tick_s)
        ended.append(time.monotonic())

    timetable = Timetable(slow_tick, slot_s / 60, now_utc())
    timetable.start()
    time.sleep(watched_s)
    timetable.stop()
    assert len(began) == len(ended), "stopping waits for the tick that is under way"
    assert 2 <= len(began) <= watched_s / tick_s + 2
    assert all(later >= earlier for earlier, later in zip(ended, began[1:], strict=False))
