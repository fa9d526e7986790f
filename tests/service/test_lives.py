"""`/v1/lives` and `elementdue lives`: the demo plant's lives in numbers, page by page, and of one's plants only."""

import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from scheduler.vocabulary import Scope
from service.app import create_app
from service.database import Database
from service.demo.folder import write_demo_folder
from service.demo.loading import load_demo
from service.due.planning_pass import run_pass
from service.keys.keeping import Caller
from service.lives.answering import Only, lives_page
from service.migrating import migrate
from service.settings import Settings
from tests.databases import url_at
from tests.service.served import Served, run

NOW = datetime(2026, 5, 6, 9, 30, tzinfo=UTC)
EVERYBODY = Caller("test", frozenset({Scope.ADMINISTER}))


@dataclass(frozen=True)
class Demo:
    path: Path
    database: Database
    served: Served
    installations: list[dict[str, str]]

    def page(self, only: Only | None = None, caller: Caller = EVERYBODY, **more: Any) -> Any:
        with self.database.reading() as connection:
            return lives_page(connection, caller, NOW, only or Only(), **more)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("lives")
    path = folder / "demo.sqlite"
    database = Database(url_at(path))
    migrate(database)
    load_demo(database, NOW, "test")
    with database.writing() as connection:
        run_pass(connection, as_of=NOW, now=NOW, cause="test", by="test")
    write_demo_folder(folder / "folder", NOW.date())
    with (folder / "folder" / "installations.csv").open(encoding="utf-8", newline="") as file:
        installations = list(csv.DictReader(file))
    yield Demo(path, database, Served(database, create_app(database, Settings(), ticks=False)), installations)
    database.close()


def test_reasons_are_those_that_stand_in_the_plants_folder(demo: Demo) -> None:
    """Counted from the folder with nothing but the csv module; a life without known hours is in no record."""
    told: dict[str, Counter[str]] = {}
    for row in demo.installations:
        if row["removed_at"] and row["reason"] not in ("", "mistake"):
            told.setdefault(row["position"], Counter())[row["reason"]] += 1
    items = [item for item in demo.page().items if item.position is not None]
    found: dict[str, Counter[str]] = {}
    for item in items:
        found.setdefault(item.position, Counter()).update(item.reasons)
    same = [position for position in told if found.get(position) == told[position]]
    assert len(same) > 0.9 * len(told)
    assert all(found[position] <= told[position] for position in found if found[position])


def test_the_type_is_the_sum_of_its_positions(demo: Demo) -> None:
    items = demo.page().items
    for whole in (item for item in items if item.position is None):
        parts = [each for each in items if each.part_number == whole.part_number and each.position is not None]
        assert whole.lives == sum(each.lives for each in parts)
        assert whole.running == sum(each.running for each in parts)
        assert whole.early.changes == sum(each.early.changes for each in parts)


def test_curves_fall_within_their_bands_and_have_the_pass_beside_them(demo: Demo) -> None:
    points = [(item, point) for item in demo.page().items for point in item.curve]
    assert len(points) > 30
    for _, point in points:
        if point.low is not None and point.high is not None:
            assert point.low <= point.survival <= point.high
    of_fitted = [point for item, point in points if item.running and item.position is not None]
    assert of_fitted
    assert all(point.model is not None for point in of_fitted)


def test_pages_miss_nothing_and_tell_nothing_twice(demo: Demo) -> None:
    whole = demo.page().items
    paged, cursor = [], None
    while True:
        page = demo.page(limit=40, cursor=cursor)
        paged += page.items
        cursor = page.next
        if cursor is None:
            break
    assert paged == whole
    keys = [(item.part_number, item.position or "") for item in whole]
    assert keys == sorted(keys)


def test_filters_leave_what_was_asked_for(demo: Demo) -> None:
    system = next(item.system for item in demo.page().items if item.system is not None)
    of_system = demo.page(Only(system=system)).items
    assert {item.system for item in of_system} == {None, system}
    position = of_system[-1].position
    (whole, alone) = demo.page(Only(position=position, part_number=of_system[-1].part_number)).items
    assert (whole.lives, alone.position) == (alone.lives, position)


def test_what_is_not_there_is_not_found_and_a_plant_not_seen_is_not_told_of(demo: Demo) -> None:
    key = demo.served.key(Scope.READ)
    with demo.served.client(key) as client:
        for name in ("plant", "system", "part_number", "position"):
            answer = client.get("/v1/lives", params={name: "NOWHERE"})
            assert (answer.status_code, "NOWHERE" in answer.json()["detail"]) == (404, True)
        assert client.get("/v1/lives", params={"cursor": "nonsense"}).status_code == 422
    elsewhere = Caller("bound", frozenset({Scope.READ}), frozenset({"ELSEWHERE"}))
    assert demo.page(caller=elsewhere).items == []


def test_the_command_line_tells_what_the_api_does(demo: Demo) -> None:
    with demo.served.client(demo.served.key(Scope.READ, name="reader")) as client:
        answer = client.get("/v1/lives", params={"part_number": "QR-130-10G"})
    assert answer.status_code == 200
    ended = run("lives", "--part", "QR-130-10G", database=demo.path)
    assert ended.returncode == 0, ended.stderr
    lines = ended.stdout.splitlines()
    for item in answer.json()["items"]:
        (line,) = [each for each in lines if each.split()[:1] == [item["position"] or item["part_number"]]]
        assert line.split()[1:4] == [str(item[name]) for name in ("lives", "at_limit", "running")]
