"""An older stock count does not undo a newer one, and a plant with facts keeps its time zone."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.database import Database
from service.imports.importing import import_folder
from service.plant_folder.refusals import FolderRefused
from tests.service.plant_folder.invented_plant import NOW, write_folder
from tests.service.plant_folder.kept_plant import current, kept, take_tables

STOCK = "part_number,store,on_hand,counted_at\nE-10,MAIN,{},{}T08:00+00:00\n"
OTHER_ZONE = "plant,time_zone,currency,altitude [m]\nNORTH,America/Denver,EUR,1000\n"


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with kept(tmp_path / "plant.sqlite") as opened:
        yield opened


def test_an_older_count_in_an_older_folder_leaves_the_newer_one(database: Database, tmp_path: Path) -> None:
    take_tables(database, tmp_path / "new", stock=STOCK.format(7, "2026-05-20"))
    outcome = take_tables(database, tmp_path / "old", stock=STOCK.format(3, "2026-04-02"))
    assert not outcome.changes_anything
    assert [row["on_hand"] for row in current(database, "stock")] == [7]


def test_a_newer_count_replaces_the_older_one(database: Database, tmp_path: Path) -> None:
    take_tables(database, tmp_path / "old", stock=STOCK.format(3, "2026-04-02"))
    take_tables(database, tmp_path / "new", stock=STOCK.format(7, "2026-05-20"))
    assert [row["on_hand"] for row in current(database, "stock")] == [7]


def test_a_plant_with_readings_keeps_its_time_zone(database: Database, tmp_path: Path) -> None:
    take_tables(database, tmp_path / "first")
    moved = write_folder(tmp_path / "moved", {"plants": OTHER_ZONE})
    with pytest.raises(FolderRefused, match="its time zone cannot change"):
        import_folder(database, moved, name="moved", now=NOW, by="test")
    assert [row["time_zone"] for row in current(database, "plants")] == ["Europe/Oslo"]
    assert len(current(database, "dp_readings")) == 1


def test_a_plant_without_facts_may_still_move(database: Database, tmp_path: Path) -> None:
    take_tables(database, tmp_path / "first", dp_readings=None)
    moved = write_folder(tmp_path / "moved", {"plants": OTHER_ZONE, "dp_readings": None})
    import_folder(database, moved, name="moved", now=NOW, by="test")
    assert [row["time_zone"] for row in current(database, "plants")] == ["America/Denver"]
