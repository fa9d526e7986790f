"""A bare date is a day, whatever zone's noon was kept of it (offsets from IANA's time zone data)."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from service.plant_folder.bare_dates import days_at_noon

AUCKLAND, HONOLULU = ZoneInfo("Pacific/Auckland"), ZoneInfo("Pacific/Honolulu")


def test_the_day_is_found_from_the_noon_of_any_plant() -> None:
    summer_noon_in_auckland = datetime(2026, 1, 6, 23, tzinfo=UTC)  # +13:00
    noon_in_honolulu = datetime(2026, 1, 7, 22, tzinfo=UTC)  # -10:00
    for noon in (summer_noon_in_auckland, noon_in_honolulu, datetime(2026, 1, 7, 12, tzinfo=UTC)):
        assert days_at_noon(noon, [AUCKLAND, HONOLULU]) == {date(2026, 1, 7)}


def test_a_moment_that_is_nowhere_noon_has_no_day() -> None:
    assert days_at_noon(datetime(2026, 1, 7, 12, 30, tzinfo=UTC), [AUCKLAND, HONOLULU]) == frozenset()
