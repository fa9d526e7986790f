"""What a later folder changes in what is known, and what was known on a past day."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.database import Database
from service.plant_folder.merging import Change, TableOutcome
from tests.service.plant_folder.invented_plant import NOW
from tests.service.plant_folder.kept_plant import (
    LATER,
    current,
    export,
    kept,
    known_on,
    take,
    take_only,
    take_tables,
    versions,
)

AT = "2026-03-05T08:00"
READ_AT = datetime(2026, 3, 5, 7, tzinfo=UTC)  # Oslo is at UTC+1 in winter
DP = "position,at,dp [bar],flow [L/min],recorded_at\n"
LIVES = "position,fitted_at,part_number,removed_at,reason,condition,recorded_at\n"


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    with kept(tmp_path / "plant.sqlite") as opened:
        take_tables(opened, tmp_path / "first")
        yield opened


def test_the_same_folder_again_changes_nothing(tmp_path: Path, database: Database) -> None:
    outcome = take_tables(database, tmp_path / "again", now=LATER)
    assert not outcome.changes_anything
    assert outcome.tables["positions"] == TableOutcome(unchanged=2)
    assert len(versions(database, "dp_readings")) == 1


def test_a_corrected_reading_keeps_the_earlier_value(tmp_path: Path, database: Database) -> None:
    outcome = take_only(database, tmp_path / "next", now=LATER, dp_readings=f"{DP}PRESS-R1,{AT},1.7,,\n")
    assert outcome.tables["dp_readings"] == TableOutcome(corrected=1)
    assert outcome.changes == [
        Change("dp_readings", "PRESS-R1 2026-03-05T07:00:00Z", "dp_bar", "1.5", "1.7", is_correction=True)
    ]
    earlier, corrected = versions(database, "dp_readings")
    assert (earlier["dp_bar"], earlier["recorded_at"], earlier["superseded_at"]) == (1.5, READ_AT, LATER)
    assert (corrected["dp_bar"], corrected["recorded_at"], corrected["superseded_at"]) == (1.7, LATER, None)
    assert [row["dp_bar"] for row in known_on(database, "dp_readings", 2026, 6, 3)] == [1.5]
    assert [row["dp_bar"] for row in known_on(database, "dp_readings", 2026, 6, 4)] == [1.7]


def test_a_correction_may_say_when_it_was_known(tmp_path: Path, database: Database) -> None:
    take_only(database, tmp_path / "next", dp_readings=f"{DP}PRESS-R1,{AT},1.7,,2026-03-09\n")
    assert [row["dp_bar"] for row in known_on(database, "dp_readings", 2026, 3, 8)] == [1.5]
    assert [row["dp_bar"] for row in known_on(database, "dp_readings", 2026, 3, 9)] == [1.7]


def test_a_correction_in_an_exported_folder_is_known_when_it_is_taken_in(tmp_path: Path, database: Database) -> None:
    export(database, tmp_path / "out")
    path = tmp_path / "out" / "dp_readings.csv"
    path.write_text(path.read_text().replace(",1.5,", ",1.7,"))  # its recorded_at is still that of the reading
    take(database, tmp_path / "out", now=LATER)
    assert [row["recorded_at"] for row in versions(database, "dp_readings")] == [READ_AT, LATER]


def test_an_empty_cell_never_erases(tmp_path: Path, database: Database) -> None:
    take_only(database, tmp_path / "full", dp_readings=f"{DP}PRESS-R1,{AT},1.5,60,\n")
    types = "part_number,kind,seal_kit,price\nE-10,element,,12\n"
    outcome = take_only(database, tmp_path / "next", dp_readings=f"{DP}PRESS-R1,{AT},1.6,,\n", element_types=types)
    assert [(row["dp_bar"], row["flow_lpm"]) for row in current(database, "dp_readings")] == [(1.6, 60.0)]
    assert {row["part_number"]: row["seal_kit"] for row in current(database, "element_types")}["E-10"] == "K-1"
    assert {change.column for change in outcome.changes} == {"dp_bar", "price_minor"}


def test_a_missing_row_deletes_nothing(tmp_path: Path, database: Database) -> None:
    positions = "position,system,place,part_number\nPRESS-R1,PRESS,return,E-10\n"
    outcome = take_only(database, tmp_path / "next", positions=positions, dp_readings="position,at,dp [bar]\n")
    assert not outcome.changes_anything
    assert len(current(database, "positions")) == 2
    assert len(current(database, "dp_readings")) == 1


def test_master_data_is_updated_in_place(tmp_path: Path, database: Database) -> None:
    positions = "position,system,place,part_number,max_hours [h]\nPRESS-R1,PRESS,return,E-20,1000\n"
    outcome = take_only(database, tmp_path / "next", positions=positions)
    assert outcome.tables["positions"] == TableOutcome(updated=1)
    assert outcome.changes == [
        Change("positions", "PRESS-R1", "part_number", "E-10", "E-20", is_correction=False),
        Change("positions", "PRESS-R1", "max_hours", "", "1000.0", is_correction=False),
    ]
    kept_now = {row["position"]: (row["part_number"], row["max_hours"]) for row in current(database, "positions")}
    assert kept_now == {"PRESS-R1": ("E-20", 1000.0), "PRESS-R2": ("E-10", None)}


def test_a_value_that_was_missing_completes_a_fact(tmp_path: Path, database: Database) -> None:
    outcome = take_only(database, tmp_path / "next", now=LATER, dp_readings=f"{DP}PRESS-R1,{AT},1.5,60,\n")
    assert outcome.tables["dp_readings"] == TableOutcome(completed=1)
    assert [change.is_correction for change in outcome.changes] == [False]
    assert [row["flow_lpm"] for row in known_on(database, "dp_readings", 2026, 6, 3)] == [None]


def test_only_the_value_that_was_there_before_is_a_correction(tmp_path: Path, database: Database) -> None:
    outcome = take_only(database, tmp_path / "next", dp_readings=f"{DP}PRESS-R1,{AT},1.7,60,\n")
    assert outcome.tables["dp_readings"] == TableOutcome(corrected=1)
    told = {change.column: change.is_correction for change in outcome.changes}
    assert told == {"dp_bar": True, "flow_lpm": False}


def test_a_removal_that_is_added_later_completes_the_stay_from_its_own_day_on(
    tmp_path: Path, database: Database
) -> None:
    take_only(database, tmp_path / "fitted", installations=f"{LIVES}PRESS-R1,2026-01-05,E-10,,,,\n")
    removed = f"{LIVES}PRESS-R1,2026-01-05,E-10,2026-03-05,due,grey,\n"
    outcome = take_only(database, tmp_path / "removed", installations=removed)
    assert outcome.tables["installations"] == TableOutcome(completed=1)
    assert {change.column: change.is_correction for change in outcome.changes} == dict.fromkeys(
        ("removed_at", "removed_at_is_date", "reason", "condition"), False
    )
    assert [row["reason"] for row in known_on(database, "installations", 2026, 3, 4)] == [None]
    assert [row["reason"] for row in known_on(database, "installations", 2026, 3, 5)] == ["due"]


def test_another_day_of_removal_is_a_correction(tmp_path: Path, database: Database) -> None:
    take_only(database, tmp_path / "one", installations=f"{LIVES}PRESS-R1,2026-01-05,E-10,2026-03-05,,,\n")
    outcome = take_only(
        database, tmp_path / "two", now=LATER, installations=f"{LIVES}PRESS-R1,2026-01-05,E-10,2026-03-04,,,\n"
    )
    assert outcome.tables["installations"] == TableOutcome(corrected=1)
    days = [row["removed_at"].day for row in known_on(database, "installations", 2026, 6, 3)]
    assert (days, [row["removed_at"].day for row in current(database, "installations")]) == ([5], [4])


def test_a_finished_life_taken_in_at_once_was_open_until_its_end_was_known(
    tmp_path: Path, database: Database
) -> None:
    life = f"{LIVES}PRESS-R1,2026-01-05T08:00,E-10,2026-03-05T08:00,due,grey,2026-03-09T08:00\n"
    assert take_only(database, tmp_path / "next", installations=life).tables["installations"].added == 1
    assert known_on(database, "installations", 2026, 1, 4) == []
    (before,) = known_on(database, "installations", 2026, 3, 8)
    told_at_the_end = ("removed_at", "removed_at_is_date", "reason", "condition")
    assert [before[name] for name in told_at_the_end] == [None] * 4
    (after,) = known_on(database, "installations", 2026, 3, 9)
    assert after["removed_at"] == READ_AT
    assert (after["reason"], after["condition"]) == ("due", "grey")


def test_an_end_is_not_known_before_it_came_though_the_row_was_recorded_at_the_fitting(
    tmp_path: Path, database: Database
) -> None:
    life = f"{LIVES}PRESS-R1,2026-01-05T08:00,E-10,2026-03-05T08:00,due,,2026-01-05T09:00\n"
    take_only(database, tmp_path / "next", installations=life)
    assert [row["removed_at"] for row in known_on(database, "installations", 2026, 3, 4)] == [None]
    assert [row["removed_at"] for row in known_on(database, "installations", 2026, 3, 5)] == [READ_AT]


def test_an_end_of_a_bare_date_may_be_recorded_that_morning(tmp_path: Path, database: Database) -> None:
    life = f"{LIVES}PRESS-R1,2026-01-05,E-10,2026-03-05,due,,2026-03-05T09:00\n"
    take_only(database, tmp_path / "next", installations=life)
    (now,) = current(database, "installations")
    assert now["recorded_at"] == READ_AT + timedelta(hours=1)


def test_what_is_taken_in_now_is_known_now_though_its_day_is_not_over(tmp_path: Path, database: Database) -> None:
    morning = datetime(2026, 6, 1, 6, tzinfo=UTC)
    text = f"{DP}PRESS-R1,2026-06-01,1.6,,\nPRESS-R2,2026-05-31,1.6,,2026-06-01\n"  # noon is still to come
    take_only(database, tmp_path / "next", now=morning, dp_readings=text)
    assert [row["recorded_at"] for row in versions(database, "dp_readings")] == [READ_AT, morning, morning]


def test_a_recount_is_known_when_it_was_counted(tmp_path: Path, database: Database) -> None:
    stock = "part_number,store,on_hand,counted_at\nE-10,Hall,{}\n"
    take_only(database, tmp_path / "one", stock=stock.format("4,2026-04-01"))
    outcome = take_only(database, tmp_path / "two", stock=stock.format("2,2026-05-01"))
    assert outcome.tables["stock"] == TableOutcome(corrected=1)
    assert [row["on_hand"] for row in known_on(database, "stock", 2026, 4, 30)] == [4]
    assert [row["on_hand"] for row in known_on(database, "stock", 2026, 5, 1)] == [2]


def test_an_order_line_is_of_a_part_or_of_oil_and_never_of_both(tmp_path: Path, database: Database) -> None:
    supply = "order,line,part_number,fluid,quantity,expected_at\nB-1,1,{},2,2026-07-01\n"
    take_only(database, tmp_path / "one", supply=supply.format("E-10,"))
    outcome = take_only(database, tmp_path / "two", supply=supply.format(",HM46"))
    assert [(row["part_number"], row["fluid"]) for row in current(database, "supply")] == [(None, "HM46")]
    assert [(change.column, change.earlier, change.new) for change in outcome.changes] == [
        *[("part_number", "E-10", ""), ("fluid", "", "HM46")]
    ]
    export(database, tmp_path / "out")
    assert not take(database, tmp_path / "out").changes_anything


def test_a_stop_of_a_system_and_one_of_its_plant_are_different_stops(tmp_path: Path, database: Database) -> None:
    stops = "plant,system,starts_at,ends_at\n,PRESS,2026-07-01,2026-07-02\nNORTH,,2026-07-01,2026-07-02\n"
    assert take_only(database, tmp_path / "one", stops=stops).tables["stops"] == TableOutcome(added=2)
    assert take_only(database, tmp_path / "two", stops=stops).tables["stops"] == TableOutcome(unchanged=2)


def test_notes_are_joined_and_a_changed_one_is_told(tmp_path: Path, database: Database) -> None:
    fluids = "fluid,viscosity_40 [mm2/s],x_drum,x_tap\nHM46,46,{}\n"
    take_only(database, tmp_path / "one", fluids=fluids.format("blue,3"))
    outcome = take_only(database, tmp_path / "two", fluids=fluids.format(",4"))
    assert outcome.tables["fluids"] == TableOutcome(updated=1)
    assert [row["notes"] for row in current(database, "fluids")] == [{"x_drum": "blue", "x_tap": "4"}]


def test_rows_beyond_one_batch_are_found_again(tmp_path: Path, database: Database) -> None:
    rows = "".join(f"PRESS-R1,2026-04-{1 + i // 60:02}T10:{i % 60:02},1.5,,\n" for i in range(1201))
    one = take_only(database, tmp_path / "one", dp_readings=DP + rows)
    two = take_only(database, tmp_path / "two", now=NOW, dp_readings=DP + rows)
    assert (one.tables["dp_readings"].added, two.tables["dp_readings"].unchanged) == (1201, 1201)
