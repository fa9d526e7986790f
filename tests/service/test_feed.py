"""The feed: every change once, in order, for whom it concerns, and for as long as it is kept."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from scheduler.vocabulary import Scope
from service.clock.pass_clock import PassClock
from service.database import Database
from service.diagnoses.tables import diagnoses
from service.due.planning_pass import run_pass
from service.feed import recording
from service.feed.pictures import orders_and_shortages
from service.feed.tables import feed, feed_newest, feed_told, feed_told_dates
from service.keys.keeping import make_key
from service.webhooks.retention import FeedRetention
from service.work_orders.tables import work_orders
from tests.flow.running_plant import RunningPlant, add_plant, copied, make_planned, running
from tests.flow.small_folder import NOW, RETURN, small_plant


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_planned(tmp_path_factory.mktemp("feed") / "plant.sqlite", small_plant())


@pytest.fixture
def plant(planned: Path, tmp_path: Path) -> Iterator[RunningPlant]:
    with running(copied(planned, tmp_path / "plant.sqlite")) as opened:
        yield opened


def newest(plant: RunningPlant) -> int:
    found: int = plant.get("/v1/feed", limit=1)["newest"]
    return found


def news(plant: RunningPlant, after: int) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = plant.get("/v1/feed", after=after)["items"]
    return found


def test_whoever_follows_page_by_page_sees_every_line_once_and_in_order(plant: RunningPlant) -> None:
    whole = plant.get("/v1/feed", limit=1000)
    numbers = [line["number"] for line in whole["items"]]
    assert numbers == list(range(1, whole["newest"] + 1))
    assert (whole["next"], whole["oldest"]) == (whole["newest"], 1)
    assert {line["type"] for line in whole["items"]} >= {"work_order.changed", "due.changed"}
    page, followed = plant.get("/v1/feed", limit=3), []
    while page["items"]:
        followed += page["items"]
        page = plant.get("/v1/feed", after=page["next"], limit=3)
    assert followed == whole["items"]
    assert page["next"] == whole["newest"]


def test_an_order_is_told_with_its_new_state_and_version_and_who_repeats_the_verb_tells_nothing(
    plant: RunningPlant,
) -> None:
    order = next(order for order in plant.orders() if order["state"] == "draft")
    before = newest(plant)
    plant.later(minutes=1)
    issued = plant.post(f"/v1/work-orders/{order['id']}/issue")
    plant.post(f"/v1/work-orders/{order['id']}/issue")
    (line,) = news(plant, before)
    assert (line["number"], line["type"]) == (before + 1, "work_order.changed")
    assert line["subject"] == f"work-order/{order['id']}"
    assert line["at"] == plant.now.isoformat().replace("+00:00", "Z")
    assert (line["data"]["state"], line["data"]["version"]) == ("issued", issued["version"])
    assert [task["id"] for task in line["data"]["tasks"]] == [task["id"] for task in order["tasks"]]


def test_a_refused_change_tells_nothing_and_gives_no_number_away(plant: RunningPlant) -> None:
    order = next(order for order in plant.orders() if order["state"] == "draft")
    before = newest(plant)
    plant.post(f"/v1/work-orders/{order['id']}/start", expect=409)
    with pytest.raises(ZeroDivisionError):
        _note_and_fail(plant)
    assert news(plant, before) == []
    plant.post(f"/v1/work-orders/{order['id']}/issue")
    assert [line["number"] for line in news(plant, before)] == [before + 1]


def _note_and_fail(plant: RunningPlant) -> None:
    with plant.database.writing() as connection:
        connection.execute(sa.update(work_orders).values(note="never kept"))
        raise ZeroDivisionError


def test_a_close_out_its_correction_and_its_end_are_told_with_what_they_change(plant: RunningPlant) -> None:
    before = newest(plant)
    closed = plant.close(position=RETURN, element={"part_number": "EL-10"}, hours=8561.0)
    types = {line["type"] for line in news(plant, before)}
    assert {"close_out.recorded", "work_order.changed", "due.changed"} <= types
    before = newest(plant)
    plant.later(minutes=1)
    plant.post(f"/v1/close-outs/{closed['id']}/corrections", {"why": "mistyped", "hours": 8560.5}, expect=201)
    first, *_ = news(plant, before)
    assert (first["type"], first["data"]["corrections"]) == ("close_out.corrected", 1)
    before = newest(plant)
    plant.later(minutes=1)
    plant.post(f"/v1/close-outs/{closed['id']}/corrections", {"why": "other press", "undo": True}, expect=201)
    first, *_ = news(plant, before)
    assert (first["type"], first["data"]["undone_at"] is None) == ("close_out.undone", False)
    assert plant.get(f"/v1/close-outs/{closed['id']}")["undone_at"] is not None


def test_a_date_that_only_time_moved_is_told_apart_from_one_that_is_news(plant: RunningPlant) -> None:
    before = newest(plant)
    plant.later(hours=1)
    plant.run_pass()
    lines = news(plant, before)
    drifted = [date for line in lines if line["type"] == "due.drifted" for date in line["data"]["dates"]]
    assert drifted
    for date in drifted:
        shown = plant.due(date["position"])
        assert _moment(shown["due_at"]) == _moment(date["due_at"])
        assert _moment(shown["due_late"]) == _moment(date["due_late"])
    assert len([line for line in lines if line["type"].startswith("due.")]) < len(drifted)


def _moment(told: str | None) -> float | None:
    return None if told is None else datetime.fromisoformat(told).timestamp()


def test_a_diagnosis_is_told_when_it_is_raised_changed_and_cleared(plant: RunningPlant) -> None:
    (system,) = {row["system"] for row in plant.rows("positions", position=RETURN)}
    found = {"system": system, "position": "", "code": "ours", "severity": "note", "numbers": {"dp_bar": 1.0}}
    before = newest(plant)
    with plant.database.writing() as connection:
        connection.execute(sa.insert(diagnoses).values(raised_at=NOW, **found))
    own = diagnoses.c.code == "ours"
    for changed in ({"severity": "soon"}, {"severity": "soon"}, {"cleared_at": NOW}):
        with plant.database.writing() as connection:
            connection.execute(sa.update(diagnoses).where(own).values(**changed))
    assert [(line["type"], line["data"]["severity"], line["position"]) for line in news(plant, before)] == [
        ("diagnosis.raised", "note", None),
        ("diagnosis.changed", "soon", None),
        ("diagnosis.cleared", "soon", None),
    ]


def test_a_database_from_before_the_feed_is_told_whole_with_its_first_change(plant: RunningPlant) -> None:
    everything = {line["subject"] for line in plant.get("/v1/feed", limit=1000)["items"]}
    with plant.database.engine.begin() as connection:  # as the migration leaves it
        for table in (feed, feed_newest, feed_told, feed_told_dates):
            connection.execute(sa.delete(table))
    assert plant.get("/v1/feed") == {"items": [], "next": 0, "newest": 0, "oldest": None}
    plant.later(minutes=1)
    plant.run_pass()
    assert {line["subject"] for line in plant.get("/v1/feed", limit=1000)["items"]} == everything


def test_lines_that_are_too_old_are_given_up_and_who_asks_for_them_is_told_what_to_do(plant: RunningPlant) -> None:
    last = newest(plant)
    plant.later(days=20)
    plant.run_pass()
    young = newest(plant)
    plant.later(days=11)
    clock = PassClock(plant.database, 60, lambda: plant.now, FeedRetention(30, "/v1/feed"))
    clock.tick()
    assert clock.last_error is None
    page = plant.get("/v1/feed", limit=1)
    assert page["oldest"] == page["items"][0]["number"] == last + 1
    assert plant.get("/v1/feed", after=last, limit=1)["items"][0]["number"] == last + 1
    answer = plant.client.get("/v1/feed", params={"after": last - 1})
    problem = answer.json()
    assert (answer.status_code, problem["type"]) == (410, "/problems/feed-no-longer-kept")
    assert (problem["oldest"], problem["newest"]) == (last + 1, page["newest"])
    assert f"after={page['newest']}" in problem["detail"]
    plant.later(days=100)
    clock.tick()
    assert newest(plant) > young
    with plant.database.writing() as connection:
        connection.execute(sa.delete(feed))
    emptied = plant.get("/v1/feed")
    assert (emptied["items"], emptied["oldest"]) == ([], None)
    assert emptied["next"] == emptied["newest"] > young


def test_a_number_that_was_never_given_is_refused(plant: RunningPlant) -> None:
    answer = plant.client.get("/v1/feed", params={"after": newest(plant) + 1})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["member"] == "after"
    for unfit in ("-1", "x", "1.5", str(2**31)):
        assert plant.client.get("/v1/feed", params={"after": unfit}).status_code == 422


def test_a_key_of_other_plants_sees_none_of_the_lines_and_moves_over_them(plant: RunningPlant) -> None:
    with plant.database.writing() as connection:
        add_plant(connection, "ELSEWHERE")
        of_none = make_key(connection, "elsewhere", [Scope.READ], now=NOW, plants=["ELSEWHERE"])
        own = {row["plant"] for row in plant.rows("plants")}
        of_own = make_key(connection, "own", [Scope.READ], now=NOW, plants=own)
    ask = {name: {"Authorization": f"Bearer {key}"} for name, key in (("none", of_none), ("own", of_own))}
    whole = plant.get("/v1/feed", limit=1000)
    assert plant.client.get("/v1/feed", params={"limit": 1000}, headers=ask["own"]).json() == whole
    seen = plant.client.get("/v1/feed", params={"limit": 2}, headers=ask["none"]).json()
    assert (seen["items"], seen["next"]) == ([], whole["newest"])


def test_two_that_write_at_once_share_no_number_and_leave_none_out(plant: RunningPlant) -> None:
    orders = [order["id"] for order in plant.orders()]
    before, times = newest(plant), 12

    def note(who: str) -> None:
        with closing(Database(plant.url)) as own:
            for turn in range(times):
                with own.writing() as connection:
                    chosen = work_orders.c.id == orders[turn % len(orders)]
                    connection.execute(sa.update(work_orders).where(chosen).values(note=f"{who} {turn}"))

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(note, ["one", "other"]))
    lines = news(plant, before)
    assert [line["number"] for line in lines] == list(range(before + 1, before + 1 + 2 * times))
    notes = [line["data"]["note"] for line in lines]
    for who in ("one", "other"):
        assert [note for note in notes if note.startswith(who)] == [f"{who} {turn}" for turn in range(times)]


def test_a_pass_of_one_system_looks_at_no_order_that_it_does_not_touch(
    plant: RunningPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    like = plant.rows("work_orders", id=plant.orders()[0]["id"])[0]
    ended = [like | {"id": 1000 + number, "system": "CONV", "state": "done"} for number in range(100)]
    with plant.database.writing() as connection:
        connection.execute(sa.insert(work_orders), ended)
    looked_at: list[int] = []

    def seen(connection: sa.Connection, ids: set[int]) -> Any:
        looked_at.extend(ids)
        return orders_and_shortages(connection, ids)

    monkeypatch.setattr(recording, "orders_and_shortages", seen)
    now, systems = plant.later(minutes=1), frozenset({"PRESS"})
    with plant.database.writing() as connection:
        run_pass(connection, as_of=now, now=now, cause="test", by="test", systems=systems)
    assert looked_at
    assert not [order for order in looked_at if order >= 1000]
