"""Twelve kinds of broken folder: every error told exactly and completely, and nothing in the database changed."""

import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.database import Database
from service.imports.importing import import_folder
from service.migrating import migrate
from service.plant_folder.refusals import FolderRefused
from service.schema import TABLES
from tests.databases import url_at
from tests.service.plant_folder.invented_plant import NOW, write_folder

HEAD = "position,at,dp [bar]\n"


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    opened = Database(url_at(tmp_path / "plant.sqlite"))
    migrate(opened)
    import_folder(opened, write_folder(tmp_path / "good", {}), name="good", now=NOW, by="test")
    yield opened
    opened.close()


def everything(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    with database.reading() as connection:
        return {table.name: [tuple(row) for row in connection.execute(sa.select(table))] for table in TABLES}


def folder_with(**tables: str | bytes | None) -> Callable[[Path], Path]:
    return lambda at: write_folder(at / "broken", dict(tables))


def zip_that_escapes(at: Path) -> Path:
    path = at / "broken.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("plants.csv", "plant,time_zone\nNORTH,Europe/Oslo\n")
        archive.writestr("../dp_readings.csv", HEAD)
    return path


KINDS: dict[str, tuple[Callable[[Path], Path], list[tuple[str, str]]]] = {
    "a bad unit": (
        folder_with(dp_readings="position,at,dp [baar]\nPRESS-R1,2026-03-06,1.5\n"),
        [("dp_readings.csv, row 1, dp [baar]", "unknown unit 'baar'")],
    ),
    "a gauge unit for a difference": (
        folder_with(dp_readings="position,at,dp [barg]\nPRESS-R1,2026-03-06,1.5\n"),
        [("dp_readings.csv, row 1, dp [barg]", "'barg' is gauge pressure")],
    ),
    "bad dates": (
        folder_with(dp_readings=HEAD + "PRESS-R1,2026-02-30,1.5\nPRESS-R1,06.03.2026,1.5\n"),
        [
            ("dp_readings.csv, row 2, at", "'2026-02-30' is not in the calendar"),
            ("dp_readings.csv, row 3, at", "'06.03.2026' is not a date or time"),
        ],
    ),
    "a key twice with other values": (
        folder_with(dp_readings=HEAD + "PRESS-R1,2026-03-06,1.5\nPRESS-R1,2026-03-06,1.6\n"),
        [("dp_readings.csv, row 3", "rows 2 and 3 have the same key")],
    ),
    "an unknown part": (
        folder_with(positions="position,system,place,part_number\nPRESS-R1,PRESS,return,E-11\n", dp_readings=None),
        [("positions.csv, row 2, part_number", "E-11")],
    ),
    "negative hours": (
        folder_with(meter_readings="system,meter,at,hours [h]\nPRESS,,2026-03-06,-5\n"),
        [("meter_readings.csv, row 2, hours [h]", "-5")],
    ),
    "Windows-1252": (
        folder_with(
            systems="system,plant,name,fluid,reservoir_volume [L]\nPRESS,NORTH,Ölpresse,HM46,400\n".encode("cp1252")
        ),
        [("systems.csv", "UTF-8")],
    ),
    "semicolons": (
        folder_with(dp_readings="position;at;dp [bar]\nPRESS-R1;2026-03-06;1,5\n"),
        [("dp_readings.csv", "--separator ';'")],
    ),
    "a required column missing": (
        folder_with(systems="system,plant,fluid\nPRESS,NORTH,HM46\n"),
        [("systems.csv", "reservoir_volume")],
    ),
    "an unknown column": (
        folder_with(dp_readings="position,at,dp [bar],flwo [L/min]\nPRESS-R1,2026-03-06,1.5,80\n"),
        [("dp_readings.csv, row 1, flwo [L/min]", "flow")],
    ),
    "an empty file": (folder_with(dp_readings=""), [("dp_readings.csv", "empty")]),
    "a zip that escapes its folder": (zip_that_escapes, [("../dp_readings.csv", "")]),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_broken_folder_is_told_in_full_and_changes_nothing(kind: str, database: Database, tmp_path: Path) -> None:
    write, expected = KINDS[kind]
    before = everything(database)
    with pytest.raises(FolderRefused) as refused:
        import_folder(database, write(tmp_path), name=kind, now=NOW, by="test")
    told = [str(refusal) for refusal in refused.value.refusals]
    assert len(told) == len(expected), told
    for text, (where, says) in zip(told, expected, strict=True):
        assert text.startswith(where), text
        assert says in text
    assert everything(database) == before


def test_errors_of_several_files_are_told_together(database: Database, tmp_path: Path) -> None:
    broken = write_folder(
        tmp_path / "broken",
        {
            "plants": "plant,time_zone\nNORTH,Europe/Osloo\n",
            "dp_readings": HEAD + "PRESS-R1,2026-03-06,x\nPRESS-R9,2026-03-06,1.5\n",
            "element_types": "part_number,kind\nE-10,elemant\nE-20,element\n",
        },
    )
    with pytest.raises(FolderRefused) as refused:
        import_folder(database, broken, name="broken", now=NOW, by="test")
    files = [refusal.file for refusal in refused.value.refusals]
    assert files.count("dp_readings.csv") == 2
    assert {"plants.csv", "element_types.csv"} <= set(files)
