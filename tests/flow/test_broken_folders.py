"""Twelve kinds of broken folder: every error told exactly and completely, and nothing in the database changed.

test_mistakes_of_plants.py has the mistakes that people make inside the cells.
"""

import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.database import Database
from tests.flow.broken_folder import WriteFolder, folder_with, refused_without_a_change, standing_plant
from tests.service.plant_folder.invented_plant import write_folder

HEAD = "position,at,dp [bar]\n"
DIFFERENCES = "expected one of: bar, mbar, Pa, kPa, MPa, psi, inHg, mmHg"
ISO_8601 = "expected ISO 8601, like 2026-03-05 or 2026-03-05T14:30 or 2026-03-05T14:30+01:00"


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    with standing_plant(tmp_path_factory.mktemp("standing")) as opened:
        yield opened


def zip_that_escapes(at: Path) -> Path:
    path = at / "broken.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("plants.csv", "plant,time_zone\nNORTH,Europe/Oslo\n")
        archive.writestr("../dp_readings.csv", HEAD)
    return path


KINDS: dict[str, tuple[WriteFolder, list[str]]] = {
    "a bad unit": (
        folder_with(dp_readings="position,at,dp [baar]\nPRESS-R1,2026-03-06,1.5\n"),
        [f"dp_readings.csv, row 1, dp [baar]: unknown unit 'baar'; {DIFFERENCES}"],
    ),
    "a gauge unit for a difference": (
        folder_with(dp_readings="position,at,dp [barg]\nPRESS-R1,2026-03-06,1.5\n"),
        [
            "dp_readings.csv, row 1, dp [barg]: 'barg' is gauge pressure (against atmosphere), but this is a pressure"
            f" difference; {DIFFERENCES}"
        ],
    ),
    "bad dates": (
        folder_with(dp_readings=HEAD + "PRESS-R1,2026-02-30,1.5\nPRESS-R1,06.03.2026,1.5\n"),
        [
            f"dp_readings.csv, row 2, at: '2026-02-30' is not in the calendar or on the clock; {ISO_8601}",
            f"dp_readings.csv, row 3, at: '06.03.2026' is not a date or time; {ISO_8601}",
        ],
    ),
    "a key twice with other values": (
        folder_with(dp_readings=HEAD + "PRESS-R1,2026-03-06,1.5\nPRESS-R1,2026-03-06,1.6\n"),
        [
            "dp_readings.csv, row 3, position, at: rows 2 and 3 have the same key (PRESS-R1, 2026-03-06), but"
            " dp [bar] is '1.6' here and '1.5' there"
        ],
    ),
    "an unknown part": (
        folder_with(positions="position,system,place,part_number\nPRESS-R1,PRESS,return,E-11\n", dp_readings=None),
        [
            "positions.csv, row 2, part_number: unknown element type 'E-11': it is neither in element_types.csv nor"
            " in the database; did you mean 'E-10'?"
        ],
    ),
    "negative hours": (
        folder_with(meter_readings="system,meter,at,hours [h]\nPRESS,,2026-03-06,-5\n"),
        ["meter_readings.csv, row 2, hours [h]: -5 h is below 0 h"],
    ),
    "Windows-1252": (
        folder_with(
            systems="system,plant,name,fluid,reservoir_volume [L]\nPRESS,NORTH,Ölpresse,HM46,400\n".encode("cp1252")
        ),
        ["systems.csv, row 2: is not UTF-8 (byte 0xD6), probably Windows-1252; save it as CSV in UTF-8"],
    ),
    "semicolons": (
        folder_with(dp_readings="position;at;dp [bar]\nPRESS-R1;2026-03-06;1,5\n"),
        [
            "dp_readings.csv, row 1: its cells are separated by semicolons; save it with commas and decimal points,"
            " or import it with --separator ';' (with --decimal ',' where numbers have decimal commas)"
        ],
    ),
    "a required column missing": (
        folder_with(systems="system,plant,fluid\nPRESS,NORTH,HM46\n"),
        [
            "systems.csv, row 1, reservoir_volume: the required column 'reservoir_volume' is missing; it is written"
            " with its unit in square brackets"
        ],
    ),
    "an unknown column": (
        folder_with(dp_readings="position,at,dp [bar],flwo [L/min]\nPRESS-R1,2026-03-06,1.5,80\n"),
        [
            "dp_readings.csv, row 1, flwo [L/min]: unknown column 'flwo'; did you mean 'flow'?"
            " (columns of your own begin with x_)"
        ],
    ),
    "an empty file": (
        folder_with(dp_readings=""),
        ["dp_readings.csv: is empty: expected a header row, even where there are no rows"],
    ),
    "a zip that escapes its folder": (
        zip_that_escapes,
        ["../dp_readings.csv: its path leads out of the archive; pack the tables without folders above them"],
    ),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_broken_folder_is_told_in_full_and_changes_nothing(kind: str, database: Database, tmp_path: Path) -> None:
    write, expected = KINDS[kind]
    refused = refused_without_a_change(database, write(tmp_path))
    assert [str(refusal) for refusal in refused.refusals] == expected
    assert refused.further == {}


def test_errors_of_several_files_are_told_together(database: Database, tmp_path: Path) -> None:
    broken = write_folder(
        tmp_path / "broken",
        {
            "plants": "plant,time_zone\nNORTH,Europe/Osloo\n",
            "dp_readings": HEAD + "PRESS-R1,2026-03-06,x\nPRESS-R9,2026-03-06,1.5\n",
            "element_types": "part_number,kind\nE-10,elemant\nE-20,element\n",
        },
    )
    files = [refusal.file for refusal in refused_without_a_change(database, broken).refusals]
    assert files.count("dp_readings.csv") == 2
    assert {"plants.csv", "element_types.csv"} <= set(files)
