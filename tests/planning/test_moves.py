"""A due date that moved, and because of what. The thresholds and the order of causes are ours."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.moves import (
    LEAST_SHIFT_D,
    LEAST_SHIFT_SHARE,
    MasterChange,
    News,
    Recorded,
    Told,
    causes_of,
    movement,
    settled,
)
from scheduler.vocabulary import Movement, Trigger

DAY = 20_000.0
FITTED = {"fitted_day": DAY - 100.0, "run_h": 800.0, "hours_per_week": 56.0, "readings": 5, "risk": 0.1}


def told(
    due_day: float | None = DAY + 10.0,
    *,
    as_of: float = DAY,
    trigger: Trigger | None = Trigger.PRESSURE,
    **facts: Any,
) -> Told:
    return Told(as_of, due_day, trigger, FITTED | facts)


def codes(before: Told | None, after: Told | None, news: News | None = None) -> list[str]:
    return [cause["code"] for cause in causes_of(before, after, news or News())]


def reading(dp_bar: float = 1.9, **more: Any) -> Recorded:
    return Recorded("dp_readings", {"at_day": DAY + 1.0, "dp_bar": dp_bar}, **more)


METER = Recorded("meter_readings", {"at_day": DAY + 1.0, "hours": 9000.0})


def test_a_date_that_moves_by_a_day_at_most_is_the_same_date() -> None:
    assert movement(told(DAY + 10.0), told(DAY + 10.0 + LEAST_SHIFT_D, as_of=DAY + 0.5)) is None
    assert movement(told(DAY + 10.0), told(DAY + 11.1)) is Movement.LATER
    assert movement(told(DAY + 10.0), told(DAY + 8.9)) is Movement.EARLIER


def test_a_far_date_moves_only_by_more_than_its_share_of_the_time_left() -> None:
    far = 400.0
    assert movement(told(DAY + far), told(DAY + far * (1.0 + 0.9 * LEAST_SHIFT_SHARE))) is None
    assert movement(told(DAY + far), told(DAY + far * (1.0 + 1.1 * LEAST_SHIFT_SHARE))) is Movement.LATER


def test_the_same_date_by_another_trigger_is_told() -> None:
    assert movement(told(), told(trigger=Trigger.HOURS)) is Movement.OTHER_TRIGGER


def test_an_element_that_stays_due_now_does_not_move_because_now_goes_on() -> None:
    now = told(DAY)
    assert movement(now, told(DAY + 30.0, as_of=DAY + 30.0)) is None
    forecast = told(DAY + 3.0)
    assert movement(forecast, told(DAY + 9.0, as_of=DAY + 9.0)) is None


def test_an_element_that_was_due_now_and_is_due_later_has_moved() -> None:
    assert movement(told(DAY), told(DAY + 9.0, as_of=DAY + 1.0)) is Movement.LATER


def test_a_passed_limit_that_turns_out_to_have_passed_earlier_has_moved() -> None:
    before = told(DAY - 2.0, trigger=Trigger.HOURS)
    assert movement(before, told(DAY - 9.0, trigger=Trigger.HOURS)) is Movement.EARLIER


def test_another_element_is_done_whatever_its_date_says() -> None:
    assert movement(told(), told(fitted_day=DAY)) is Movement.DONE


def test_a_bare_date_of_fitting_before_its_noon_is_no_second_change() -> None:
    morning = told(as_of=DAY, fitted_day=DAY)  # counts as now until noon
    assert movement(morning, told(as_of=DAY + 1.0, fitted_day=DAY + 0.25)) is None


def test_a_position_comes_goes_and_loses_its_element() -> None:
    empty = Told(DAY, None, None, {})
    assert movement(None, told()) is Movement.NEW
    assert movement(told(), None) is Movement.LEFT
    assert movement(told(), empty) is Movement.UNDATED
    assert movement(empty, told()) is Movement.NEW
    assert movement(empty, empty) is None
    assert movement(None, None) is None


def test_a_date_that_goes_beyond_twenty_years_or_comes_back_has_moved() -> None:
    assert movement(told(), told(None)) is Movement.LATER
    assert movement(told(None), told()) is Movement.EARLIER
    assert movement(told(None), told(None, as_of=DAY + 50.0)) is None


@given(st.floats(-50.0, 2000.0), st.floats(0.0, 300.0), st.sampled_from(Trigger))
def test_telling_the_same_again_is_no_move(ahead: float, later: float, trigger: Trigger) -> None:
    before = told(DAY + ahead, trigger=trigger)
    again = told(max(DAY + ahead, DAY + later) if ahead >= 0.0 else DAY + ahead, as_of=DAY + later, trigger=trigger)
    assert movement(before, again) is None


def test_a_reading_that_counts_is_the_cause_with_its_numbers() -> None:
    (cause,) = causes_of(told(), told(DAY + 2.0, readings=6), News((reading(),)))
    assert cause["code"] == "dp_readings"
    assert (cause["facts"]["dp_bar"], cause["facts"]["count"], cause["facts"]["counted"]) == (1.9, 1, 1)


def test_a_reading_with_cold_oil_moves_nothing_and_time_is_the_cause() -> None:
    assert codes(told(), told(DAY + 12.0, as_of=DAY + 3.0), News((reading(),))) == ["time", "dp_readings"]


@pytest.mark.parametrize(("trigger", "first"), [(Trigger.PRESSURE, "dp_readings"), (Trigger.HOURS, "meter_readings")])
def test_what_the_trigger_goes_by_is_told_first(trigger: Trigger, first: str) -> None:
    news = News((METER, reading()))
    assert codes(told(trigger=trigger), told(DAY + 2.0, trigger=trigger, readings=6), news)[0] == first


def test_a_correction_names_the_earlier_and_the_new_value() -> None:
    news = News((reading(0.9, earlier={"at_day": DAY - 3.0, "dp_bar": 9.0}),))
    (cause,) = causes_of(told(), told(DAY + 20.0), news)
    assert cause["code"] == "corrected"
    changes = {each["column"]: (each["earlier"], each["new"]) for each in cause["facts"]["changes"]}
    assert changes["dp_bar"] == (9.0, 0.9)


def test_a_correction_that_says_the_same_is_none() -> None:
    same = reading(1.9, earlier={"at_day": DAY + 1.0, "dp_bar": 1.9, "source": "import 1"})
    assert codes(told(), told(DAY + 2.0), News((same,))) == ["time"]


def test_a_changed_element_is_told_with_what_is_fitted_and_why_the_other_went() -> None:
    ended = {"fitted_at_day": DAY - 100.0, "removed_at_day": DAY + 1.0, "reason": "early", "part_number": "EL-10"}
    begun = {"fitted_at_day": DAY + 1.0, "part_number": "EL-10", "lot": "L-2"}
    was = {name: ended[name] for name in ("fitted_at_day", "part_number")}
    news = News((Recorded("installations", ended, earlier=was), Recorded("installations", begun)))
    first = causes_of(told(), told(DAY + 90.0, fitted_day=DAY + 1.0), news)[0]
    assert first["code"] == "element_changed"
    assert (first["facts"]["lot"], first["facts"]["reason"]) == ("L-2", "early")


def test_a_change_whose_time_is_corrected_or_that_is_taken_back_is_not_done_again() -> None:
    ended = {"fitted_at_day": DAY - 100.0, "removed_at_day": DAY, "part_number": "EL-10"}
    corrected = News((Recorded("installations", ended | {"removed_at_day": DAY - 4.0}, earlier=ended),))
    before = told(fitted_day=DAY, as_of=DAY + 1.0)
    after = told(DAY + 4.0, fitted_day=DAY - 4.0, as_of=DAY + 1.0)
    assert settled(before, after, Movement.DONE, corrected) is Movement.EARLIER
    assert codes(before, after, corrected)[0] == "fitting_corrected"
    begun = {name: value for name, value in ended.items() if name != "removed_at_day"}
    really = News((Recorded("installations", ended, earlier=begun),))
    assert settled(before, after, Movement.DONE, really) is Movement.DONE


def test_master_data_is_told_once_by_the_import_or_else_by_the_reason() -> None:
    before = told(trigger=Trigger.HOURS, max_hours=1000.0)
    after = told(DAY + 2.0, trigger=Trigger.HOURS, max_hours=800.0)
    change = MasterChange("positions", "P1", "max_hours", "1000.0", "800.0")
    (by_import,) = causes_of(before, after, News(master=(change,)))
    (by_reason,) = causes_of(before, after, News())
    assert (by_import["code"], by_import["facts"]["key"]) == ("master_data", "P1")
    assert (by_reason["facts"]["earlier"], by_reason["facts"]["new"]) == (1000.0, 800.0)


def test_another_risk_and_another_rate_are_told_with_both_values() -> None:
    found = {
        c["code"]: c["facts"] for c in causes_of(told(), told(DAY + 4.0, risk=0.02, hours_per_week=70.0), News())
    }
    assert (found["master_data"]["earlier"], found["master_data"]["new"]) == (0.1, 0.02)
    assert found["use_rate"] == {"from_hours_per_week": 56.0, "to_hours_per_week": 70.0}


def test_lives_that_ended_elsewhere_are_a_cause_by_the_life_model() -> None:
    lives = {"lives_seen": 2, "lives_to_limit": 1, "life_median_h": 1500.0}
    more = {"lives_seen": 3, "lives_to_limit": 2, "life_median_h": 1300.0}
    before, after = told(trigger=Trigger.LIFE, **lives), told(DAY + 2.0, trigger=Trigger.LIFE, **more)
    (cause,) = causes_of(before, after, News())
    assert (cause["code"], cause["facts"]["from_lives_seen"], cause["facts"]["to_lives_seen"]) == ("lives", 2, 3)


def test_a_sighting_of_the_indicator_is_told_by_its_trip() -> None:
    after = told(DAY, trigger=Trigger.INDICATOR, trip_day=DAY - 0.1, trips=2)
    assert codes(told(), after)[0] == "tripped"


def test_an_opened_system_does_not_move_a_limit_in_hours_but_a_pump_failure_does() -> None:
    def by_event(kind: str) -> list[str]:
        news = News((Recorded("events", {"at_day": DAY, "kind": kind}),))
        return codes(told(trigger=Trigger.HOURS), told(DAY + 2.0, trigger=Trigger.HOURS), news)

    assert by_event("opened") == ["time", "events"]
    assert by_event("pump_failure") == ["events"]


def test_time_alone_is_told_as_such_with_the_days() -> None:
    (cause,) = causes_of(told(), told(DAY + 13.0, as_of=DAY + 6.5), News())
    assert (cause["code"], cause["facts"]["days"], cause["facts"]["beside"]) == ("time", 6.5, 0)


COST = MasterChange("systems", "S1", "late_cost_minor", "", "8000.00")
BY_COSTS: dict[str, Any] = {"risk": 0.03, "risk_from": "costs"}


def test_a_cost_that_decides_is_named_with_what_it_makes_of_the_risk() -> None:
    causes = causes_of(told(risk_from="usual"), told(DAY + 4.0, **BY_COSTS), News(master=(COST,)))
    assert [cause["code"] for cause in causes] == ["master_data", "risk"]
    assert causes[0]["facts"]["new"] == "8000.00"
    assert causes[1]["facts"] == {"from_risk": 0.1, "to_risk": 0.03, "from_source": "usual", "to_source": "costs"}


def test_a_cost_moves_nothing_where_the_risk_is_set_by_hand() -> None:
    before, after = told(risk_from="set"), told(DAY + 4.0, risk_from="set")
    assert codes(before, after, News(master=(COST,))) == ["time"]


def test_a_risk_that_follows_the_forecast_is_nothing_that_was_entered() -> None:
    assert codes(told(**BY_COSTS), told(DAY + 4.0, **BY_COSTS | {"risk": 0.01})) == ["time"]
