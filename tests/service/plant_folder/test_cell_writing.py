"""Every value that can be kept is written so that its column's parser makes the same value of it."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.vocabulary import CANONICAL_UNIT
from service.plant_folder.cell_writing import cell_writer, header_of, in_zone
from service.plant_folder.cells import cell_parser
from service.plant_folder.layout import TABLES, Column, Moment, Money, Number, Quantity, WordList
from service.plant_folder.moments import ReadMoment
from service.plant_folder.register import RowTerms

QUANTITIES = {
    column.cell: column for table in TABLES for column in table.columns if isinstance(column.cell, Quantity | Number)
}
"""One column for each kind of number and its bounds."""

OSLO = ZoneInfo("Europe/Oslo")
ZONES = [
    *(OSLO, ZoneInfo("America/St_Johns"), ZoneInfo("Pacific/Auckland"), ZoneInfo("Australia/Lord_Howe")),
    ZoneInfo("Africa/Monrovia"),  # IANA tzdata: 44 min 30 s behind UTC until 1972
    None,
]
DAYS = st.dates(date(1901, 1, 1), date(2199, 12, 30))
MOMENTS = st.builds(datetime.combine, DAYS, st.times(), st.just(UTC))


def _terms(zone: ZoneInfo | None = None, currency: str = "") -> RowTerms:
    return RowTerms(zone, 0.0, currency)


def _symbol(column: Column) -> str:
    return CANONICAL_UNIT[column.cell.kind] if isinstance(column.cell, Quantity) else ""


@pytest.mark.parametrize("column", QUANTITIES.values(), ids=lambda column: column.name)
@settings(deadline=None)  # the first conversion of a unit opens the unit registry
@given(data=st.data())
def test_a_number_comes_back_to_the_last_bit(column: Column, data: st.DataObject) -> None:
    cell = column.cell
    assert isinstance(cell, Quantity | Number)
    value = data.draw(
        st.floats(
            cell.minimum,
            cell.maximum,
            allow_nan=False,
            allow_infinity=False,
            exclude_min=isinstance(cell, Quantity) and cell.above_minimum,
        )
    )
    text = cell_writer(column, [])(value, False, _terms())
    assert cell_parser(column, _symbol(column), ".")(text, _terms()) == value


@given(at=MOMENTS, zone=st.sampled_from(ZONES))
def test_a_moment_comes_back_in_every_zone_and_season(at: datetime, zone: ZoneInfo | None) -> None:
    column = Column("at", Moment(), key=True)
    text = cell_writer(column, [])(at, False, _terms(zone))
    assert cell_parser(column, "", ".")(text, _terms(zone)) == ReadMoment(at, is_date=False)


@given(day=DAYS, zone=st.sampled_from(ZONES))
def test_a_bare_date_comes_back_as_the_day_that_it_was(day: date, zone: ZoneInfo | None) -> None:
    column = Column("at", Moment(), key=True)
    read = cell_parser(column, "", ".")(day.isoformat(), _terms(zone))
    assert isinstance(read, ReadMoment)
    assert cell_writer(column, [])(read.at, True, _terms(zone)) == day.isoformat()


@given(minor=st.integers(0, 10**14), currency=st.sampled_from(["", "EUR", "JPY", "KWD"]))
def test_an_amount_comes_back_in_every_currency(minor: int, currency: str) -> None:
    column = Column("price", Money())
    text = cell_writer(column, [])(minor, False, _terms(currency=currency))
    assert cell_parser(column, "", ".")(text, _terms(currency=currency)) == minor


@given(words=st.lists(st.text("abc_ -é", min_size=1).map(str.strip).filter(bool), unique=True))
def test_words_come_back_in_their_order(words: list[str]) -> None:
    column = Column("hazards", WordList())
    text = cell_writer(column, [])(words, False, _terms())
    assert cell_parser(column, "", ".")(text, _terms()) == words


def test_a_header_says_its_unit() -> None:
    headers = {header_of(column) for table in TABLES for column in table.columns}
    assert {"dp [bar]", "hours [h]", "viscosity_40 [mm2/s]", "quantity", "price", "at"} <= headers


def test_a_key_whose_noon_has_moved_with_its_zone_is_written_as_the_moment() -> None:
    noon_in_oslo = datetime(2026, 1, 7, 11, tzinfo=UTC)
    perth = _terms(ZoneInfo("Australia/Perth"))
    key, other = Column("at", Moment(), key=True), Column("expires_at", Moment())
    assert cell_writer(key, [OSLO])(noon_in_oslo, True, perth) == "2026-01-07T19:00:00+08:00"
    assert cell_writer(other, [OSLO])(noon_in_oslo, True, perth) == "2026-01-07"
    assert cell_writer(other, [])(noon_in_oslo, True, perth) == "2026-01-07T19:00:00+08:00"


def test_an_offset_with_seconds_is_written_in_utc() -> None:
    at = datetime(1970, 1, 1, 12, tzinfo=UTC)
    assert in_zone(at, ZoneInfo("Africa/Monrovia")) == "1970-01-01T12:00:00+00:00"
    assert in_zone(at + timedelta(days=3650), ZoneInfo("Africa/Monrovia")) == "1979-12-30T12:00:00+00:00"
