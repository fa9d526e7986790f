"""Twenty clients on a bad line, a server that is killed again and again: nothing is lost and nothing done twice.

The line cuts requests and answers and stalls; clients repeat until they are answered, repeat what was answered, and
take keys for other requests. The kill is SIGKILL at drawn moments: transactions and restarts are shown, and that a
commit is on the disk is `synchronous=FULL`, which test_database.py looks at. In PostgreSQL two processes serve.
`ELEMENTDUE_TEST_KILLS=200` is the long run of tests/measure/RESULTS.md.
"""

from collections import Counter, defaultdict
from contextlib import closing
from typing import Any

import pytest
import sqlalchemy as sa

from service.database import Database
from tests.databases import ON_POSTGRESQL, url_at
from tests.flow.unreliable import plant
from tests.flow.unreliable.clients import KINDS
from tests.flow.unreliable.line import Fate
from tests.flow.unreliable.lived import Lived, live
from tests.how_often import kills

KILLS = kills(4 if ON_POSTGRESQL else 20)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Lived:
    return live(tmp_path_factory.mktemp("unreliable"), kills=KILLS, seed=20260306)


def rows(lived: Lived, query: str) -> list[tuple[Any, ...]]:
    with closing(Database(url_at(lived.file))) as database, database.reading() as connection:
        return [tuple(row) for row in connection.execute(sa.text(query))]


def test_nobody_was_answered_what_contradicts_an_earlier_answer(lived: Lived) -> None:
    assert lived.faults == []


def test_the_line_did_what_it_is_here_for(lived: Lived) -> None:
    assert set(lived.line.fates) == set(Fate)
    assert lived.history.kills == KILLS
    assert lived.history.repeated > 0
    assert lived.history.refused_reuse > 0
    assert any(write.tries > 1 for write in lived.history.writes)
    assert {write.what for write in lived.history.writes} == KINDS


def test_every_acknowledged_change_is_there_exactly_once(lived: Lived) -> None:
    told = Counter(write.body["body"]["note"] for write in lived.history.of("change"))
    kept = Counter(note for (note,) in rows(lived, "SELECT told ->> 'note' FROM close_outs"))
    assert kept == told
    assert set(kept.values()) == {1}


def test_each_change_took_one_element_from_stock_and_fitted_one(lived: Lived) -> None:
    closed = rows(lived, "SELECT id, position, at FROM close_outs")
    moved = rows(lived, "SELECT source, part_number, lot, quantity FROM stock_movements")
    assert sorted(moved) == sorted((f"close-out {id_}", plant.ELEMENT, plant.LOT, -1) for id_, _, _ in closed)
    fitted = rows(
        lived,
        "SELECT position, fitted_at, count(*) FROM installations WHERE superseded_at IS NULL "
        "AND fitted_at > (SELECT min(fitted_at) FROM installations) GROUP BY position, fitted_at",
    )
    assert sorted(fitted) == sorted((position, at, 1) for _, position, at in closed)
    assert rows(lived, "SELECT count(*) FROM stock_discrepancies") == [(0,)]


def test_each_position_holds_one_element_and_each_earlier_one_came_out_when_the_next_went_in(lived: Lived) -> None:
    query = "SELECT position, fitted_at, removed_at FROM installations WHERE superseded_at IS NULL ORDER BY fitted_at"
    stays = defaultdict(list)
    for position, fitted_at, removed_at in rows(lived, query):
        stays[position].append((fitted_at, removed_at))
    assert len(stays) == len(plant.SYSTEMS)
    for stay in stays.values():
        assert [removed for _, removed in stay[:-1]] == [fitted for fitted, _ in stay[1:]]
        assert stay[-1][1] is None


def test_nothing_is_half_written(lived: Lived) -> None:
    changes = len(list(lived.history.of("change")))
    done = rows(lived, "SELECT count(*) FROM tasks WHERE state = 'done'")
    readings = rows(lived, "SELECT count(*) FROM meter_readings WHERE source LIKE 'close-out %'")
    planned = rows(lived, "SELECT count(DISTINCT cause) FROM passes WHERE cause LIKE 'close-out %'")
    assert (done, readings, planned) == ([(changes,)],) * 3
    orphans = rows(
        lived,
        "SELECT source FROM (SELECT source FROM stock_movements UNION SELECT source FROM installations "
        "UNION SELECT source FROM meter_readings) AS told WHERE source LIKE 'close-out %' "
        "AND source NOT IN (SELECT 'close-out ' || id FROM close_outs)",
    )
    assert orphans == []
    still_open = rows(
        lived,
        "SELECT w.id FROM work_orders w WHERE w.state = 'done' "
        "AND EXISTS (SELECT 1 FROM tasks t WHERE t.work_order = w.id AND t.state = 'open')",
    )
    assert still_open == []


def test_every_acknowledged_reading_of_a_meter_is_there_exactly_once(lived: Lived) -> None:
    told = Counter(
        (row["system"], row["hours"]) for write in lived.history.of("meter") for row in write.body["body"]["rows"]
    )
    query = "SELECT system, hours FROM meter_readings WHERE superseded_at IS NULL AND source NOT LIKE 'close-out %'"
    kept = Counter((system, hours) for system, hours in rows(lived, query) if hours > plant.LAST_HOURS)
    assert kept == told


def test_each_key_was_answered_once_and_for_good(lived: Lived) -> None:
    kept = dict(rows(lived, "SELECT idempotency_key, status FROM kept_answers"))
    for write in lived.history.writes:
        assert kept[write.key] == write.status


def test_an_order_never_went_back_to_an_earlier_version(lived: Lived) -> None:
    """What was answered before another request was sent holds for that other one, too."""
    by_order = defaultdict(list)
    for write in lived.history.of("verb"):
        by_order[write.answer["id"]].append(write)
    for writes in by_order.values():
        writes.sort(key=lambda write: write.answered)
        for at, later in enumerate(writes):
            earlier = [write.answer["version"] for write in writes[:at] if write.answered < later.sent]
            assert later.answer["version"] >= max(earlier, default=0)


def test_the_feed_has_no_gap_and_nothing_was_put_in_behind_its_reader(lived: Lived) -> None:
    assert [event["number"] for event in lived.feed] == list(range(1, len(lived.feed) + 1))
    assert lived.followed == lived.feed


def test_the_feed_tells_each_change_once_and_each_order_forwards(lived: Lived) -> None:
    recorded = Counter(event["subject"] for event in lived.feed if event["type"] == "close_out.recorded")
    assert set(recorded.values()) == {1}
    assert len(recorded) == len(list(lived.history.of("change")))
    versions = defaultdict(list)
    for event in lived.feed:
        if event["type"] == "work_order.changed":
            versions[event["subject"]].append(event["data"]["version"])
    assert all(seen == sorted(seen) for seen in versions.values())


def test_the_file_is_sound(lived: Lived) -> None:
    if not ON_POSTGRESQL:  # there the killed processes were clients only
        assert rows(lived, "PRAGMA integrity_check") == [("ok",)]
        assert rows(lived, "PRAGMA foreign_key_check") == []
