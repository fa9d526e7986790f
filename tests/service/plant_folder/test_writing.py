"""Import and export are each other's inverse: nothing is changed, nothing is lost, every byte comes again.

The texts that are expected follow from the plant folder's contract (units in brackets, ISO 8601 with offset,
currencies by ISO 4217); IANA's time zone data says when Oslo's clocks change.
"""

import zipfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.database import Database
from service.demo.folder import write_demo_folder
from service.plant_folder import table_writing
from service.plant_folder.tables import dp_readings
from service.plant_folder.writing import TargetRefused
from tests.flow.foreign_plant import write_folder as write_foreign_folder
from tests.service.plant_folder.invented_plant import NOW
from tests.service.plant_folder.kept_plant import (
    LATER,
    current,
    export,
    kept,
    take,
    take_only,
    take_tables,
    texts,
)

LAST_DAY = (NOW - timedelta(days=1)).date()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with kept(tmp_path / "plant.sqlite") as opened:
        yield opened


def _write_demo(at: Path) -> None:
    write_demo_folder(at, LAST_DAY)


def _write_foreign(at: Path) -> None:
    write_foreign_folder(at, today=LAST_DAY, positions=12, dp_readings=300)


def assert_round_trip(database: Database, at: Path) -> None:
    """What is exported changes nothing here, and comes out of an empty database byte by byte."""
    assert export(database, at / "first")
    again = take(database, at / "first", now=LATER)
    assert not again.changes_anything, again.changes[:5]
    with kept(at / "fresh.sqlite") as fresh:
        take(fresh, at / "first", now=LATER)
        export(fresh, at / "second")
    assert texts(at / "second") == texts(at / "first")


@pytest.mark.parametrize("write", [_write_demo, _write_foreign], ids=["demo", "foreign"])
def test_a_plant_comes_back_as_it_was_taken_in(
    tmp_path: Path, database: Database, write: Callable[[Path], None]
) -> None:
    write(tmp_path / "given")
    told = take(database, tmp_path / "given")
    assert not take(database, tmp_path / "given", now=LATER).changes_anything
    assert_round_trip(database, tmp_path)
    written = {name: len(text.splitlines()) - 1 for name, text in texts(tmp_path / "first").items()}
    assert written == {f"{table}.csv": counts.added for table, counts in told.tables.items() if counts.added}


def test_two_plants_taken_in_one_after_the_other_come_back_together(tmp_path: Path, database: Database) -> None:
    _write_foreign(tmp_path / "foreign")
    _write_demo(tmp_path / "demo")
    take(database, tmp_path / "demo")
    take(database, tmp_path / "foreign")
    assert not take(database, tmp_path / "demo", now=LATER).changes_anything, "a new plant's zone moved a bare date"
    assert_round_trip(database, tmp_path)


def test_headers_carry_canonical_units_and_only_columns_that_say_something_are_written(
    tmp_path: Path, database: Database
) -> None:
    dp = "position,at,stage,dp [psi],oil_temperature [degF],x_round\nPRESS-R1,2026-03-05T08:00,,14.5,122,\n"
    take_tables(database, tmp_path / "given", dp_readings=dp)
    assert export(database, tmp_path / "out")["dp_readings"] == 1
    header, row = (tmp_path / "out" / "dp_readings.csv").read_text().splitlines()
    assert header == "position,at,dp [bar],oil_temperature [degC],recorded_at"
    position, at, dp_bar, temperature, recorded_at = row.split(",")
    assert (position, at, temperature) == ("PRESS-R1", "2026-03-05T08:00:00+01:00", "50.0")
    assert float(dp_bar) == pytest.approx(14.5 * 0.06894757, rel=1e-7)  # NIST SP 811, B.8
    assert recorded_at == "2026-03-05T07:00:00Z"  # no recorded_at: known when it was read


def test_rows_come_in_the_order_of_their_keys(tmp_path: Path, database: Database) -> None:
    times = ("2026-03-05T08:00", "2026-03-04T08:00", "2026-03-05T07:00+02:00")
    rows = "".join(f"{position},{at},1.5\n" for position in ("PRESS-R2", "PRESS-R1") for at in times)
    take_tables(database, tmp_path / "given", dp_readings=f"position,at,dp [bar]\n{rows}")
    export(database, tmp_path / "out")
    lines = (tmp_path / "out" / "dp_readings.csv").read_text().splitlines()[1:]
    assert [line.split(",")[:2] for line in lines] == [
        [position, at]
        for position in ("PRESS-R1", "PRESS-R2")
        for at in ("2026-03-04T08:00:00+01:00", "2026-03-05T06:00:00+01:00", "2026-03-05T08:00:00+01:00")
    ]


def test_amounts_have_the_decimals_of_their_currency(tmp_path: Path, database: Database) -> None:
    plants = "plant,time_zone,currency\nNORTH,Europe/Oslo,JPY\nSOUTH,Asia/Kuwait,EUR\n"
    systems = (
        "system,plant,fluid,reservoir_volume [L],stop_cost\nPRESS,NORTH,HM46,400,1250\nSAW,SOUTH,HM46,90,1250.5\n"
    )
    types = "part_number,kind,price,currency\nE-10,element,1.25,KWD\nE-20,element,7,\n"
    take_tables(database, tmp_path / "given", plants=plants, systems=systems, element_types=types)
    # ISO 4217: the yen has no minor unit, the dinar three digits, the euro two; no currency is taken as two
    costs = {row["system"]: row["stop_cost_minor"] for row in current(database, "systems")}
    prices = {row["part_number"]: row["price_minor"] for row in current(database, "element_types")}
    assert costs == {"PRESS": 1250, "SAW": 125_050}
    assert prices == {"E-10": 1250, "E-20": 700}
    assert_round_trip(database, tmp_path)
    assert b"PRESS,NORTH,HM46,400.0,1250\nSAW,SOUTH,HM46,90.0,1250.50\n" in texts(tmp_path / "first")["systems.csv"]
    assert b"E-10,element,1.250,KWD\nE-20,element,7.00,\n" in texts(tmp_path / "first")["element_types.csv"]


def test_a_bare_date_comes_back_as_a_bare_date_of_its_plant(tmp_path: Path, database: Database) -> None:
    plants = "plant,time_zone\nNORTH,Pacific/Auckland\n"
    dp = "position,at,dp [bar]\nPRESS-R1,2026-01-05,1.5\nPRESS-R1,2026-01-06T12:00,1.6\n"
    stock = "part_number,store,on_hand,counted_at\nE-10,Hall,4,2026-01-07\n"
    take_tables(database, tmp_path / "given", plants=plants, dp_readings=dp, stock=stock)
    assert_round_trip(database, tmp_path)
    out = texts(tmp_path / "first")
    assert b"\nPRESS-R1,2026-01-05,1.5," in out["dp_readings.csv"]
    assert b"\nPRESS-R1,2026-01-06T12:00:00+13:00,1.6," in out["dp_readings.csv"]  # noon that was told as a time
    assert b"\nE-10,Hall,4,2026-01-07," in out["stock.csv"]


def test_a_plant_in_another_zone_does_not_move_the_day_on_which_stock_was_counted(
    tmp_path: Path, database: Database
) -> None:
    stock = "part_number,store,on_hand,counted_at\nE-10,Hall,4,2026-01-07\n"
    take_tables(database, tmp_path / "north", plants="plant,time_zone\nNORTH,Pacific/Auckland\n", stock=stock)
    take_only(database, tmp_path / "south", plants="plant,time_zone\nSOUTH,America/Chicago\n")
    outcome = take_only(database, tmp_path / "again", stock=stock)
    assert (outcome.tables["stock"].unchanged, outcome.changes) == (1, [])
    assert_round_trip(database, tmp_path)
    assert b"\nE-10,Hall,4,2026-01-07," in texts(tmp_path / "first")["stock.csv"]
    recount = take_only(database, tmp_path / "recount", stock=stock.replace("01-07", "01-08"))
    assert recount.tables["stock"].corrected == 1


def test_both_readings_of_the_doubled_hour_come_back_apart(tmp_path: Path, database: Database) -> None:
    # IANA tzdata: on 26 October 2025 Oslo's clocks went back from 03:00 (+02:00) to 02:00 (+01:00)
    dp = "position,at,dp [bar]\nPRESS-R1,2025-10-26T02:30,1.5\nPRESS-R1,2025-10-26T02:30+01:00,1.6\n"
    take_tables(database, tmp_path / "given", dp_readings=dp)
    assert_round_trip(database, tmp_path)
    out = texts(tmp_path / "first")["dp_readings.csv"]
    assert b"PRESS-R1,2025-10-26T02:30:00+02:00,1.5," in out
    assert b"PRESS-R1,2025-10-26T02:30:00+01:00,1.6," in out


def test_notes_words_and_texts_come_back_as_they_were_written(tmp_path: Path, database: Database) -> None:
    systems = (
        "system,plant,fluid,reservoir_volume [L],hazards,permits,x_hall [m2],x_key\n"
        'PRESS,NORTH,HM46,400,"accumulator, suspended_load|hot floor",=1+1,"north, ""bay 3""",\n'
        "SAW,NORTH,HM46,90,,@home,,ß;Ω\n"
    )
    dp = "position,at,dp [bar],x_round,external_ref\nPRESS-R1,2026-03-05T08:00,1.5,east,R7\n"
    take_tables(database, tmp_path / "given", systems=systems, dp_readings=dp)
    assert_round_trip(database, tmp_path)
    out = texts(tmp_path / "first")
    assert out["systems.csv"].decode() == (
        "system,plant,fluid,reservoir_volume [L],hazards,permits,x_hall [m2],x_key\n"
        'PRESS,NORTH,HM46,400.0,accumulator; suspended_load; hot floor,=1+1,"north, ""bay 3""",\n'
        "SAW,NORTH,HM46,90.0,,@home,,ß;Ω\n"
    )
    assert out["dp_readings.csv"].decode() == (
        "position,at,dp [bar],external_ref,recorded_at,x_round\n"
        "PRESS-R1,2026-03-05T08:00:00+01:00,1.5,R7,2026-03-05T07:00:00Z,east\n"
    )


def test_only_the_version_that_holds_now_is_written(tmp_path: Path, database: Database) -> None:
    take_tables(database, tmp_path / "given")
    take_tables(database, tmp_path / "later", dp_readings="position,at,dp [bar]\nPRESS-R1,2026-03-05T08:00,1.7\n")
    assert_round_trip(database, tmp_path)
    rows = texts(tmp_path / "first")["dp_readings.csv"].splitlines()[1:]
    assert rows == [b"PRESS-R1,2026-03-05T08:00:00+01:00,1.7,2026-06-01T12:00:00Z"]


def test_a_zip_holds_the_same_bytes_and_replaces_the_last_one(tmp_path: Path, database: Database) -> None:
    take_tables(database, tmp_path / "given")
    export(database, tmp_path / "folder")
    (tmp_path / "plant.zip").write_bytes(b"the export of yesterday")
    written = export(database, tmp_path / "plant.zip")
    with zipfile.ZipFile(tmp_path / "plant.zip") as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == texts(tmp_path / "folder")
    once = dict.fromkeys(["plants", "fluids", "systems", "parts", "dp_readings"], 1)
    assert written == once | dict.fromkeys(["element_types", "positions"], 2)
    first = (tmp_path / "plant.zip").read_bytes()
    export(database, tmp_path / "plant.zip")
    assert (tmp_path / "plant.zip").read_bytes() == first
    assert not take(database, tmp_path / "plant.zip", now=LATER).changes_anything


@pytest.mark.parametrize("name", ["out", "plant.zip", "plant.xlsx"])
def test_a_fault_on_the_way_leaves_nothing_half_written(
    tmp_path: Path, database: Database, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    take_tables(database, tmp_path / "given")
    before = b"the export of yesterday"
    (tmp_path / "plant.zip").write_bytes(before)

    def disk_full(_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(table_writing, "in_utc", disk_full)
    with pytest.raises(OSError, match="No space left"):
        export(database, tmp_path / name)
    assert (tmp_path / "plant.zip").read_bytes() == before
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_place_that_holds_something_else_is_refused(tmp_path: Path, database: Database) -> None:
    take_tables(database, tmp_path / "given")
    (tmp_path / "folder.zip").mkdir()
    (tmp_path / "file").write_text("mine")
    for target, says in [("given", "is not empty"), ("folder.zip", "is a folder"), ("file", "is a file")]:
        with pytest.raises(TargetRefused, match=says):
            export(database, tmp_path / target)
    assert (tmp_path / "file").read_text() == "mine"


def test_an_empty_folder_and_one_below_a_missing_one_are_taken(tmp_path: Path, database: Database) -> None:
    take_tables(database, tmp_path / "given")
    (tmp_path / "empty").mkdir()
    export(database, tmp_path / "empty")
    export(database, tmp_path / "year" / "month")
    assert texts(tmp_path / "empty") == texts(tmp_path / "year" / "month")


def test_a_fact_that_was_kept_to_the_microsecond_is_found_again(tmp_path: Path, database: Database) -> None:
    take_tables(database, tmp_path / "given", dp_readings=None)
    at = NOW - timedelta(days=1, microseconds=123_457)
    reading = {"position": "PRESS-R1", "at": at, "at_is_date": False, "stage": "", "dp_bar": 0.1 + 0.2}
    with database.writing() as connection:
        connection.execute(sa.insert(dp_readings).values(**reading, recorded_at=at, source="api"))
    assert_round_trip(database, tmp_path)
    assert b"0.30000000000000004" in texts(tmp_path / "first")["dp_readings.csv"]


def test_an_empty_database_writes_nothing(tmp_path: Path, database: Database) -> None:
    assert export(database, tmp_path / "out") == {}
    assert list((tmp_path / "out").iterdir()) == []
