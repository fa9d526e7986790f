"""Dates and times of a file, in the plant's zone, through the nights when the clocks change.

Europe/Oslo: to summer time on 29 March 2026 (02:00 becomes 03:00), back on 25 October 2026 (Directive
2000/84/EC: last Sundays, 01:00 UTC).
"""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.plant_folder.known import EMPTY
from service.plant_folder.moments import OrdinaryMoments, read_moment
from service.plant_folder.reading import read_folder
from service.plant_folder.refusals import CellRefused, Refusal, RefusedThroughout, Remark
from tests.service.plant_folder.invented_plant import NOW, read, refusals, write_folder

OSLO = ZoneInfo("Europe/Oslo")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-03-05", "2026-03-05T11:00"),
        ("2026-07-05", "2026-07-05T10:00"),
        ("2026-03-05T14:30", "2026-03-05T13:30"),
        ("2026-03-05 14:30", "2026-03-05T13:30"),
        ("2026-03-05T14:30:15", "2026-03-05T13:30:15"),
        ("2026-03-05T14:30Z", "2026-03-05T14:30"),
        ("2026-03-05T14:30-05:00", "2026-03-05T19:30"),
        ("2026-03-05T14:30+0530", "2026-03-05T09:00"),
        ("2026-03-29T01:59", "2026-03-29T00:59"),
        ("2026-03-29T03:00", "2026-03-29T01:00"),
        ("2026-03-29", "2026-03-29T10:00"),
        ("2026-10-25T02:30+02:00", "2026-10-25T00:30"),
        ("2026-10-25T02:30+01:00", "2026-10-25T01:30"),
        ("2026-10-25T03:00", "2026-10-25T02:00"),
    ],
)
def test_a_time_is_the_plants_unless_it_brings_an_offset(text: str, utc: str) -> None:
    found = read_moment(text, OSLO)
    assert found.at == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert found.at.utcoffset() == timedelta(0)
    assert found.is_date is ("T" not in text and " " not in text)
    assert found.is_doubled is False


def test_of_the_doubled_autumn_hour_the_earlier_is_taken_and_said(tmp_path: Path) -> None:
    text = "position,at,dp [bar]\nPRESS-R1,2025-10-26T02:30,1.5\n"
    folder = read(tmp_path, dp_readings=text)
    assert folder.tables["dp_readings"][0].values["at"] == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
    assert folder.remarks == (
        Remark(
            *("dp_readings.csv", 2, "at", "2025-10-26T02:30"),
            "'2025-10-26T02:30' occurred twice that night; the earlier, 2025-10-26T00:30Z, is taken",
        ),
    )


def test_a_time_that_the_clocks_skipped_is_refused(tmp_path: Path) -> None:
    assert refusals(tmp_path, dp_readings="position,at,dp [bar]\nPRESS-R1,2026-03-29T02:30,1.5\n") == (
        Refusal(
            *("dp_readings.csv", 2, "at", "2026-03-29T02:30"),
            "'2026-03-29T02:30' does not exist in Europe/Oslo: the clocks skipped that hour",
        ),
    )


@pytest.mark.parametrize(
    "text",
    ["05.03.2026", "3/5/2026", "2026-3-5", "20260305", "2026-03-05T14", "yesterday", "46086", "2026-03-05T14:30 CET"],
)
def test_a_date_in_another_form_is_refused(text: str) -> None:
    with pytest.raises(CellRefused, match=r"is not a date or time; expected ISO 8601"):
        read_moment(text, OSLO)


@pytest.mark.parametrize("text", ["2026-02-29", "2026-13-01", "2026-03-05T25:00", "2026-03-05T12:60", "0000-01-01"])
def test_a_date_that_is_not_in_the_calendar_is_refused(text: str) -> None:
    with pytest.raises(CellRefused, match="is not in the calendar or on the clock"):
        read_moment(text, OSLO)


@pytest.mark.parametrize("text", ["0001-01-01", "1026-03-05", "9999-12-31T23:59-12:00"])
def test_a_year_that_is_a_slip_is_refused(text: str) -> None:
    with pytest.raises(CellRefused, match="is outside the years 1900 to 2200"):
        read_moment(text, OSLO)


def test_without_a_zone_an_offset_is_asked_for() -> None:
    with pytest.raises(RefusedThroughout, match="give a time with an offset"):
        read_moment("2026-03-05T14:30", None)
    assert read_moment("2026-03-05T14:30+01:00", None).at == datetime(2026, 3, 5, 13, 30, tzinfo=UTC)


STOCK = "part_number,store,on_hand,counted_at\nK-1,MAIN,4,2026-03-05T08:00\nE-10,MAIN,4,2026-03-05T08:00\n"
TWO_ZONES = "plant,time_zone\nNORTH,Europe/Oslo\nSOUTH,Australia/Perth\n"


def test_a_row_of_no_plant_takes_the_zone_that_all_plants_share(tmp_path: Path) -> None:
    plants = "plant,time_zone\nNORTH,Europe/Oslo\nEAST,Europe/Oslo\n"
    rows = read(tmp_path, plants=plants, stock=STOCK).tables["stock"]
    assert rows[0].values["counted_at"] == datetime(2026, 3, 5, 7, tzinfo=UTC)


def test_a_row_of_no_plant_needs_an_offset_where_plants_are_in_different_zones(tmp_path: Path) -> None:
    assert refusals(tmp_path, plants=TWO_ZONES, stock=STOCK) == (
        Refusal(
            *("stock.csv", 2, "counted_at", "2026-03-05T08:00"),
            "no offset, and no plant says the time zone (no plant is known, or plants are in different zones); "
            "give a time with an offset, like 2026-03-05T14:30+01:00 (2 cells of this kind)",
        ),
    )


def test_each_plants_rows_are_in_its_own_zone(tmp_path: Path) -> None:
    systems = "system,plant,fluid,reservoir_volume [L]\nPRESS,NORTH,HM46,400\nMILL,SOUTH,HM46,400\n"
    stops = "plant,system,starts_at,ends_at\nSOUTH,,2027-01-05T08:00,2027-01-05T18:00\n,PRESS,2027-01-05,2027-01-06\n"
    meters = "system,at,hours [h]\nMILL,2026-03-05T08:00,10\nPRESS,2026-03-05T08:00,10\n"
    tables = read(tmp_path, plants=TWO_ZONES, systems=systems, stops=stops, meter_readings=meters).tables
    # Perth is at UTC+8 all year
    assert [row.values["starts_at"] for row in tables["stops"]] == [
        datetime(2027, 1, 5, 0, tzinfo=UTC),
        datetime(2027, 1, 5, 11, tzinfo=UTC),
    ]
    assert [row.values["at"] for row in tables["meter_readings"]] == [
        datetime(2026, 3, 5, 0, tzinfo=UTC),
        datetime(2026, 3, 5, 7, tzinfo=UTC),
    ]


def test_a_reading_from_the_future_is_refused_but_a_day_of_slack_is_given(tmp_path: Path) -> None:
    text = "position,at,dp [bar]\nPRESS-R1,2026-06-02T12:00Z,1.5\nPRESS-R1,2026-06-02T12:01Z,1.5\n"
    assert refusals(tmp_path, dp_readings=text) == (
        Refusal(
            *("dp_readings.csv", 3, "at", "2026-06-02T12:01Z"),
            "'2026-06-02T12:01Z' lies in the future: now is 2026-06-01T12:00+0000",
        ),
    )


def test_an_end_of_life_in_the_future_is_refused(tmp_path: Path) -> None:
    text = "position,fitted_at,part_number,removed_at\nPRESS-R1,2026-01-05,E-10,2026-07-01\n"
    (found,) = refusals(tmp_path, installations=text)
    assert (found.row, found.column, found.value) == (2, "removed_at", "2026-07-01")
    assert found.says == "'2026-07-01' lies in the future: now is 2026-06-01T12:00+0000"


def test_what_is_expected_may_lie_ahead(tmp_path: Path) -> None:
    supply = "order,line,part_number,quantity,expected_at\nO1,1,K-1,4,2026-09-01\n"
    stock = "part_number,store,on_hand,counted_at,expires_at\nK-1,MAIN,4,2026-03-05,2030-01-01\n"
    folder = read_folder(write_folder(tmp_path, {"supply": supply, "stock": stock}), EMPTY, now=NOW)
    assert folder.tables["supply"][0].values["expected_at"] == datetime(2026, 9, 1, 10, tzinfo=UTC)
    assert folder.tables["stock"][0].values["expires_at_is_date"] is True


@pytest.mark.parametrize("name", ["Europe", "CET+1", "../Oslo", "posix/Europe/Oslo", "localtime", "europe/oslo"])
def test_a_time_zone_that_is_no_iana_name_is_refused_once(tmp_path: Path, name: str) -> None:
    (found,) = refusals(tmp_path, plants=f"plant,time_zone\nNORTH,{name}\n")
    assert (found.file, found.row, found.column, found.value) == ("plants.csv", 2, "time_zone", name)
    assert found.says.startswith(f"'{name}' is not an IANA time zone, like Europe/Oslo")


@settings(max_examples=300, deadline=None)
@given(
    days=st.lists(st.dates(date(2025, 3, 28), date(2025, 11, 2)), min_size=1, max_size=6),
    times=st.lists(st.sampled_from(("T08:30", " 08:30:15", "T02:30", "T02:30Z", "T23:59+05:30", "")), min_size=1),
    zone=st.sampled_from((None, OSLO, ZoneInfo("America/New_York"), ZoneInfo("Asia/Kolkata"))),
)
def test_a_moment_that_was_learnt_is_the_moment_that_would_be_read(
    days: list[date], times: list[str], zone: ZoneInfo | None
) -> None:
    ordinary = OrdinaryMoments()
    for day in days:
        for time in times:
            text = f"{day.isoformat()}{time}"
            told = ordinary.at(text, zone)
            try:
                read = read_moment(text, zone)
            except CellRefused:
                assert told is None
                continue
            assert told in (None, read.at)
            assert told is None or not (read.is_date or read.is_doubled)
            if not read.is_doubled:
                ordinary.learn(text, zone, read)


def test_every_time_of_a_day_is_learnt_by_one_of_its_times_and_one_of_another_day() -> None:
    ordinary = OrdinaryMoments()
    for text in ("2026-03-05T08:30", "2026-03-06T09:30"):
        ordinary.learn(text, OSLO, read_moment(text, OSLO))
    assert ordinary.at("2026-03-05T09:30", OSLO) == read_moment("2026-03-05T09:30", OSLO).at
    assert ordinary.at("2026-03-05T09:30", ZoneInfo("Asia/Kolkata")) is None
    assert ordinary.at("2026-03-07T09:30", OSLO) is None


def test_a_time_that_was_met_in_one_zone_is_another_moment_in_another_zone() -> None:
    ordinary, text, kolkata = OrdinaryMoments(), "2026-03-05T08:30", ZoneInfo("Asia/Kolkata")
    for zone in (OSLO, kolkata):
        ordinary.learn(text, zone, read_moment(text, zone))
    for _ in range(2):
        assert ordinary.at(text, OSLO) == datetime(2026, 3, 5, 7, 30, tzinfo=UTC)
        assert ordinary.at(text, kolkata) == datetime(2026, 3, 5, 3, 0, tzinfo=UTC)
    assert ordinary.at(text, None) is None
