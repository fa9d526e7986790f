"""When positions are due: one trigger at a time, then all of them at the plant's risk."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scheduler.planning.due import DueItem
from scheduler.planning.duty import assess_duty
from scheduler.planning.limit_dates import AHEAD_D
from scheduler.statistics.life_left import remaining_life
from scheduler.vocabulary import EventKind, IndicatorState, Place, RemovalReason, Status, Trigger
from tests.planning.small_plant import (
    BREATHER,
    HOURS_PER_DAY,
    NAN,
    NEVER_BY_CONDITION,
    NOW,
    STRAINER,
    Event,
    Life,
    MeterReading,
    Plant,
    Position,
    Reading,
    StopSpec,
    System,
    assess,
    due_of,
    life_of,
    plant,
    rising_readings,
    steady_meter,
)

MAIN = ("S1", "")
TERMINAL = 2.5


def hard_due(position: Position, **more: object) -> DueItem:
    """Due by limits alone: the element itself would last for ever."""
    return due_of(position, life=NEVER_BY_CONDITION, **more)


def ahead(day: float | None) -> float:
    """Days from now; a date that is none lies beyond every other."""
    return np.inf if day is None else day - NOW


# Limits in run hours


def test_a_limit_in_hours_becomes_a_date_by_the_use_rate() -> None:
    """200 h to go at 8 h a day."""
    item = hard_due(Position(max_hours=1000.0))
    assert item.trigger is Trigger.HOURS
    assert item.hours_left == pytest.approx(200.0)
    assert ahead(item.median_day) == pytest.approx(25.0, abs=0.3)


def test_the_spread_of_the_date_is_that_of_the_use_rate() -> None:
    """Hours run over C planned hours are normal with mean ρC and variance C s² + C² var ρ (computation, 5)."""
    columns = plant(Position(max_hours=1000.0))
    duty = assess_duty(columns)
    days = np.linspace(0.1, 60.0, 6000)
    planned_h = 10.0 * days
    variance = (
        planned_h * duty.variance_per_planned_hour[0] + planned_h**2 * duty.rate_variance[0] + duty.run_h_sd[0] ** 2
    )
    reached = stats.norm.cdf(duty.rate_mean[0] * planned_h - 200.0, scale=np.sqrt(variance))
    item = assess(columns, NEVER_BY_CONDITION).items[0]
    for level, day in ((0.1, item.early_day), (0.5, item.median_day), (0.9, item.late_day)):
        assert ahead(day) == pytest.approx(float(np.interp(level, reached, days)), abs=0.1)


def test_a_stop_before_the_limit_moves_the_date_by_its_length() -> None:
    stop = [StopSpec(NOW + 5.0, NOW + 19.0)]
    item = hard_due(Position(max_hours=1000.0), stops=stop)
    assert ahead(item.median_day) == pytest.approx(39.0, abs=0.3)


def test_a_stop_after_the_limit_moves_nothing() -> None:
    stop = [StopSpec(NOW + 60.0, NOW + 74.0)]
    assert hard_due(Position(max_hours=1000.0), stops=stop).due_day == hard_due(Position(max_hours=1000.0)).due_day


def test_a_passed_limit_keeps_its_past_day_and_counts_the_hours_since() -> None:
    """700 h were run 87.5 d after the fitting; 12.5 d and 100 h ago."""
    item = hard_due(Position(max_hours=700.0))
    assert item.due_day == pytest.approx(NOW - 12.5, abs=0.05)
    assert item.overdue_hours == pytest.approx(100.0, abs=0.5)
    assert item.hours_left == 0.0
    assert item.early_day == item.median_day == item.late_day == item.due_day


def test_a_passed_limit_has_the_same_day_in_every_later_pass() -> None:
    position = Position(max_hours=700.0)
    days = [hard_due(position, now=NOW + later).due_day for later in (0.0, 7.0, 21.0)]
    assert days == pytest.approx([NOW - 12.5] * 3, abs=0.05)


@pytest.mark.parametrize("read_until_day", [NOW, NOW - 60.0])
def test_a_limit_reached_just_now_is_due_now(read_until_day: float) -> None:
    item = hard_due(Position(max_hours=800.01), meters={MAIN: steady_meter(read_until_day)})
    assert ahead(item.due_day) == pytest.approx(0.0, abs=0.6)
    assert item.overdue_hours == pytest.approx(0.0, abs=0.1)


def test_hours_that_nobody_has_read_for_long_make_the_date_earlier_not_later() -> None:
    fresh, stale = (
        hard_due(Position(max_hours=1000.0), meters={MAIN: steady_meter(NOW - since)}) for since in (0.0, 60.0)
    )
    assert ahead(stale.due_day) < ahead(fresh.due_day)
    assert ahead(stale.median_day) == pytest.approx(ahead(fresh.median_day), abs=0.5)


def test_a_new_element_in_a_system_without_a_meter_is_not_due_at_once() -> None:
    """However old the rest of the plant is: the doubt of its hours began with its fitting."""
    columns = plant(
        Position("P1", max_hours=1000.0, fitted_day=NOW - 1.0),
        Position("P2", system="S2", fitted_day=NOW - 4000.0),
        systems=[System(), System("S2")],
        meters={MAIN: ()},
    )
    item = assess(columns, life_of(1e6, 0.1, positions=2)).items[0]
    assert ahead(item.due_day) > 40.0
    assert item.because["facts"]["meter_known"] is False


def test_a_typing_error_at_the_meter_moves_no_due_date() -> None:
    right = steady_meter()
    typed = [*right]
    typed[-3] = MeterReading(right[-3].day, right[-3].shown_h * 10.0)
    found = [hard_due(Position(max_hours=1000.0), meters={MAIN: each}) for each in (right, typed)]
    assert ahead(found[1].median_day) == pytest.approx(ahead(found[0].median_day), abs=0.5)


# Calendar age


def test_an_age_limit_is_a_day_and_no_distribution() -> None:
    item = hard_due(Position(max_age_d=120.0))
    assert item.trigger is Trigger.AGE
    assert [item.due_day, item.early_day, item.median_day, item.late_day] == [NOW + 20.0] * 4
    assert item.hours_left == pytest.approx(160.0, rel=0.01)


def test_a_passed_age_keeps_its_day() -> None:
    item = hard_due(Position(max_age_d=90.0))
    assert item.due_day == NOW - 10.0
    assert item.overdue_hours == pytest.approx(80.0, abs=0.2)


def test_the_losing_limit_is_the_runner_up_with_its_own_date() -> None:
    item = hard_due(Position(max_hours=1000.0, max_age_d=110.0))
    assert (item.trigger, item.runner_up) == (Trigger.AGE, Trigger.HOURS)
    assert item.without_trigger_day == hard_due(Position(max_hours=1000.0)).due_day


# What nobody knows


def test_where_nothing_is_fitted_there_is_no_date() -> None:
    item = hard_due(Position(fitted=None, max_hours=100.0, max_age_d=10.0))
    assert (item.part_number, item.due_day, item.trigger, item.hours_left) == (None, None, None, None)
    assert item.because == {"code": "nothing_fitted", "facts": {}}


def test_with_neither_readings_nor_lives_the_answer_is_wide_and_says_so() -> None:
    item = due_of(Position())
    assert item.trigger is Trigger.LIFE
    assert ahead(item.late_day) > 10.0 * ahead(item.early_day)
    assert item.because["facts"]["lives_seen"] == 0
    assert item.pressure_hours_left is None


def test_a_system_that_never_runs_has_no_date() -> None:
    item = due_of(Position(max_hours=1000.0), systems=[System(hours_per_week=0.0)])
    assert (item.due_day, item.median_day, item.trigger) == (None, None, None)
    assert item.because["code"] == "nothing_within_20_years"


def test_a_date_beyond_twenty_years_is_none() -> None:
    assert hard_due(Position(max_age_d=AHEAD_D + 101.0)).due_day is None
    assert hard_due(Position(max_age_d=AHEAD_D + 99.0)).due_day is not None


def test_nothing_is_said_of_positions_out_of_service() -> None:
    columns = plant(Position("P1"), Position("P2", system="S2"), systems=[System(), System("S2")])
    laid_up = plant(
        Position("P1", system="S2"),
        Position("P2"),
        systems=[System(), System("S2", status=Status.LAID_UP)],
    )
    assert [item.position for item in assess(columns).items] == [0, 1]
    assert [item.position for item in assess(laid_up).items] == [1]


# Condition


def worn(*readings: Reading, **more: object) -> Position:
    given: dict[str, object] = {"terminal_dp_bar": TERMINAL, "readings": readings}
    return Position(**(given | more))  # type: ignore[arg-type]


def test_a_forecast_tells_its_own_hours_beside_the_date() -> None:
    item = due_of(worn(*rising_readings(130.0)))
    assert item.trigger is Trigger.PRESSURE
    assert item.pressure_hours_left is not None
    low, middle, high = item.pressure_hours_left
    assert low is not None
    assert middle is not None
    assert high is not None
    assert low < middle < high
    assert low < item.hours_left < middle
    assert ahead(item.median_day) == pytest.approx(middle / HOURS_PER_DAY, rel=0.05)


def test_a_passed_forecast_is_due_now_and_no_earlier() -> None:
    spent = tuple(Reading(NOW - day, 3.2) for day in (6.0, 4.0, 2.0, 0.0))
    item = due_of(worn(*spent))
    assert item.due_day == NOW
    assert item.overdue_hours == 0.0
    assert item.pressure_hours_left == (0.0, 0.0, 0.0)


def test_a_cold_start_reading_moves_no_due_date() -> None:
    series = rising_readings(400.0)
    cold = Reading(NOW, 3.2, oil_temperature_degC=10.0)
    assert due_of(worn(*series, cold)).due_day == due_of(worn(*series)).due_day


def test_the_readings_of_the_element_before_move_no_due_date() -> None:
    fitted = NOW - 60.0
    before = (Reading(fitted - 0.9, 2.6), Reading(fitted - 0.1, 2.7))
    after = rising_readings(400.0, fitted_day=fitted)
    assert due_of(worn(*before, *after, fitted_day=fitted)).due_day == due_of(worn(*after, fitted_day=fitted)).due_day


def test_a_flat_line_late_in_life_is_due_by_the_lives_before() -> None:
    flat = tuple(Reading(NOW - day, 0.30) for day in np.arange(224.0, -1.0, -8.0))
    life = life_of(1500.0, 0.3)
    item = due_of(worn(*flat, fitted_day=NOW - 225.0), life=life)
    by_age_h = float(remaining_life(life, np.array([1800.0])).quantile(0.5)[0])
    assert item.trigger is Trigger.PRESSURE
    assert item.hours_left is not None
    assert 0.8 * (1800.0 + by_age_h) < 1800.0 + item.hours_left < 1.4 * (1800.0 + by_age_h)


def test_a_breather_without_a_gauge_is_due_by_its_lives_or_its_age() -> None:
    breather = Position(place=Place.BREATHER, part=BREATHER, fitted=BREATHER)
    lives = [Life(NOW - 100.0 - 110.0 * (n + 1), NOW - 100.0 - 110.0 * n, part=BREATHER) for n in range(5)]
    by_life = due_of(breather, lives=lives)
    assert by_life.trigger is Trigger.LIFE
    assert ahead(by_life.median_day) < 60.0  # 800 of about 880 h are run
    by_age = due_of(replace(breather, max_age_d=101.0), lives=lives)
    assert (by_age.trigger, by_age.due_day) == (Trigger.AGE, NOW + 1.0)


def test_a_suction_strainer_is_due_by_its_vacuum() -> None:
    bars = (0.08, 0.08, 0.09, 0.11, 0.16, 0.24, 0.31)
    readings = tuple(Reading(NOW - 60.0 + 10.0 * step, vacuum_bar=bar) for step, bar in enumerate(bars))
    strainer = Position(place=Place.SUCTION, part=STRAINER, fitted=STRAINER, readings=readings)
    item = due_of(strainer, life=life_of(3000.0))
    assert item.trigger is Trigger.PRESSURE
    assert ahead(item.median_day) < 30.0
    assert item.because["facts"]["is_vacuum"] is True
    assert item.because["facts"]["last_read_bar"] == 0.31
    assert item.because["facts"]["vacuum_limit_bar"] == 0.34  # 10 inHg, general practice


def test_early_changes_make_a_life_longer_and_the_date_later() -> None:
    def due(reason: RemovalReason) -> float:
        lives = [Life(NOW - 100.0 - 110.0 * (n + 1), NOW - 100.0 - 110.0 * n, reason) for n in range(5)]
        return ahead(due_of(Position(), lives=lives).due_day)

    assert due(RemovalReason.EARLY) > 1.3 * due(RemovalReason.FAILURE)


# Indicator


def trip(oil_temperature_degC: float, day: float = NOW - 1.0) -> Reading:
    return Reading(day, NAN, NAN, oil_temperature_degC, IndicatorState.TRIPPED)


def test_a_warm_trip_makes_the_position_due_at_once() -> None:
    item = hard_due(worn(trip(50.0)))
    assert (item.trigger, item.due_day, item.hours_left) == (Trigger.INDICATOR, NOW, 0.0)
    assert item.because["facts"]["trip"] == "certain"


@pytest.mark.parametrize("oil_temperature_degC", [NAN, 10.0])
def test_a_single_trip_cold_or_of_unknown_temperature_moves_no_date(oil_temperature_degC: float) -> None:
    item = hard_due(worn(trip(oil_temperature_degC)))
    assert item.due_day == hard_due(worn()).due_day
    assert item.because["facts"]["trip"] == ("cold" if oil_temperature_degC == 10.0 else "unconfirmed")


def test_a_second_sighting_makes_the_position_due_and_a_reset_takes_it_back() -> None:
    twice = (trip(NAN, NOW - 2.0), trip(NAN))
    reset = Reading(NOW, NAN, NAN, NAN, IndicatorState.RESET)
    assert hard_due(worn(*twice)).trigger is Trigger.INDICATOR
    assert hard_due(worn(*twice, reset)).trigger is not Trigger.INDICATOR


def test_a_limit_passed_before_the_trip_keeps_its_day() -> None:
    item = hard_due(worn(trip(50.0), max_hours=700.0))
    assert (item.trigger, item.runner_up) == (Trigger.HOURS, Trigger.INDICATOR)
    assert item.due_day == pytest.approx(NOW - 12.5, abs=0.05)


# Events


def test_after_a_pump_failure_what_caught_the_debris_is_changed_early() -> None:
    """50 h after the event (common practice, no source): 16 h are run since, 34 h or 4.25 d are left."""
    item = hard_due(Position(max_hours=5000.0), events=[Event(EventKind.PUMP_FAILURE, NOW - 2.0)])
    assert item.trigger is Trigger.EVENT
    assert ahead(item.median_day) == pytest.approx(4.25, abs=0.3)
    assert item.because["facts"]["event"] == "pump_failure"


def test_the_shortened_interval_passes_like_any_other() -> None:
    item = hard_due(Position(), events=[Event(EventKind.PUMP_FAILURE, NOW - 20.0)])
    assert item.trigger is Trigger.EVENT
    assert item.due_day == pytest.approx(NOW - 20.0 + 50.0 / HOURS_PER_DAY, abs=0.1)
    assert item.overdue_hours == pytest.approx(110.0, abs=1.0)


@pytest.mark.parametrize(
    "position",
    [
        Position(fitted_day=NOW - 1.0),  # fitted since
        Position(place=Place.SUCTION, part=STRAINER, fitted=STRAINER),
        Position(place=Place.BREATHER, part=BREATHER, fitted=BREATHER),
    ],
)
def test_what_the_debris_of_the_pump_cannot_have_reached_keeps_its_interval(position: Position) -> None:
    failure = [Event(EventKind.PUMP_FAILURE, NOW - 2.0)]
    assert hard_due(position, events=failure).due_day == hard_due(position).due_day


def test_a_pump_failure_elsewhere_is_nobodys_concern() -> None:
    columns = plant(
        Position("P1"),
        Position("P2", system="S2"),
        systems=[System(), System("S2")],
        events=[Event(EventKind.PUMP_FAILURE, NOW - 2.0, system="S2")],
    )
    triggers = [item.trigger for item in assess(columns, life_of(1e6, 0.1, positions=2)).items]
    assert triggers[1] is Trigger.EVENT
    assert triggers[0] is not Trigger.EVENT


def test_the_first_elements_after_commissioning_are_changed_early() -> None:
    fitted = Position(fitted_day=NOW - 3.0)
    item = hard_due(fitted, events=[Event(EventKind.COMMISSIONED, NOW - 2.8)])
    assert item.trigger is Trigger.EVENT
    assert ahead(item.median_day) == pytest.approx((50.0 - 2.8 * HOURS_PER_DAY) / HOURS_PER_DAY, abs=0.3)
    later = hard_due(Position(fitted_day=NOW - 3.0), events=[Event(EventKind.COMMISSIONED, NOW - 300.0)])
    assert later.trigger is not Trigger.EVENT


# Duplex housings


def duplex(side: str, **more: object) -> DueItem:
    sides = [Position(name, housing="H1", side=name, **more) for name in ("A", "B")]  # type: ignore[arg-type]
    if side == "B":
        sides.reverse()
    columns = plant(*sides, events=[Event(EventKind.CHANGEOVER, NOW - 50.0, position="A")])
    return assess(columns, life_of(1e6, 0.1, positions=2)).items[0]


def test_the_resting_side_of_a_duplex_housing_runs_towards_no_limit() -> None:
    assert duplex("A", max_hours=1000.0).trigger is Trigger.HOURS
    assert duplex("B", max_hours=1000.0).due_day is None


def test_a_resting_side_grows_old_all_the_same() -> None:
    assert duplex("B", max_age_d=130.0).due_day == NOW + 30.0


def test_a_limit_passed_before_a_side_came_to_rest_is_overdue_by_its_own_hours() -> None:
    """B ran 400 h until it came to rest 50 d ago; its 300 h were passed 12.5 d before that."""
    item = duplex("B", max_hours=300.0)
    assert item.due_day == pytest.approx(NOW - 62.5, abs=0.1)
    assert item.overdue_hours == pytest.approx(100.0, abs=1.0)


def test_a_side_that_rested_since_the_pump_failed_has_run_no_hours_since() -> None:
    columns = plant(
        Position("A", housing="H1", side="A"),
        Position("B", housing="H1", side="B"),
        events=[
            Event(EventKind.CHANGEOVER, NOW - 50.0, position="A"),
            Event(EventKind.PUMP_FAILURE, NOW - 20.0),
            Event(EventKind.CHANGEOVER, NOW - 1.0, position="B"),
        ],
    )
    item = assess(columns, life_of(1e6, 0.1, positions=2)).items[1]
    assert item.trigger is Trigger.EVENT
    assert ahead(item.median_day) == pytest.approx((50.0 - HOURS_PER_DAY) / HOURS_PER_DAY, abs=0.3)


# All of them together


@pytest.mark.parametrize(
    "position",
    [
        Position(),
        Position(max_hours=1000.0),
        Position(max_hours=1000.0, max_age_d=123.0),
        worn(*rising_readings(130.0)),
        worn(*rising_readings(200.0), max_hours=1100.0),
    ],
)
def test_who_accepts_more_risk_is_never_due_earlier(position: Position) -> None:
    days = [
        ahead(due_of(position, plants=[Plant(risk=risk)]).due_day) for risk in (0.01, 0.05, 0.1, 0.2, 0.5, 0.9, 0.99)
    ]
    assert np.all(np.diff(days) >= 0.0)
    assert days[0] < days[-1]


def test_one_more_trigger_is_never_later() -> None:
    base = worn(*rising_readings(160.0))
    life = life_of(1200.0)
    event = [Event(EventKind.PUMP_FAILURE, NOW - 1.0)]
    for position, more in [
        *((replace(base, max_age_d=age_d), {}) for age_d in (90.0, 105.0, 130.0, 5000.0)),
        *((replace(base, max_hours=max_hours), {}) for max_hours in (700.0, 850.0, 1500.0, 50_000.0)),
        (base, {"events": event}),
        (replace(base, max_age_d=130.0, max_hours=1000.0), {"events": event}),
        (replace(base, readings=(*base.readings, trip(50.0, NOW))), {}),
    ]:
        alone, together = due_of(base, life=life), due_of(position, life=life, **more)
        for name in ("due_day", "early_day", "median_day", "late_day"):
            assert ahead(getattr(together, name)) <= ahead(getattr(alone, name)) + 1e-9


def newest_read(dp_bar: float, count: int, **more: object) -> float:
    series = rising_readings(180.0, until_day=NOW - 8.0)
    newest = [Reading(NOW - 2.0 * step, dp_bar) for step in range(count)]
    return ahead(due_of(worn(*series, *newest, **more), life=life_of(1500.0, 0.4)).due_day)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_worse_warm_reading_is_never_later(count: int) -> None:
    """The newest up to a third higher, as far as one reading is believed; a few per cent where another shape fits."""
    level = rising_readings(180.0, until_day=NOW - 8.0)[-1].dp_bar
    days = [newest_read(level * worse, count) for worse in (1.0, 1.08, 1.16, 1.25, 1.35)]
    assert all(later <= 1.06 * min(days[:place]) for place, later in enumerate(days) if place)


def test_agreeing_readings_are_never_later_for_being_worse_up_to_and_beyond_the_bypass() -> None:
    """The bypass is set to 3.0 bar: from 2.85 bar on the reading is gated as `bypass_open`."""
    days = [newest_read(bar, 2, bypass_dp_bar=3.0) for bar in (0.9, 1.2, 1.6, 2.0, 2.4, 2.8, 2.9, 3.1)]
    assert all(later <= 1.06 * min(days[:place]) + 0.05 for place, later in enumerate(days) if place)
    assert days[-1] == pytest.approx(0.0, abs=0.1)


def test_the_only_reading_is_never_later_for_being_worse() -> None:
    def due(bar: float) -> float:
        return ahead(due_of(worn(Reading(NOW, bar), bypass_dp_bar=3.0)).due_day)

    assert np.all(np.diff([due(bar) for bar in (0.3, 0.6, 1.0, 1.5, 2.0, 2.5, 2.8, 2.9, 3.2)]) <= 0.0)


POSITIONS = st.builds(
    Position,
    max_hours=st.sampled_from([NAN, 600.0, 800.0, 950.0, 4000.0]),
    max_age_d=st.sampled_from([NAN, 60.0, 100.0, 140.0, 700.0]),
    terminal_dp_bar=st.sampled_from([NAN, 1.0, 2.5]),
    bypass_dp_bar=st.sampled_from([NAN, 3.0]),
    fitted_day=st.sampled_from([NOW - 100.0, NOW - 10.0, NOW]),
    readings=st.lists(
        st.builds(
            Reading,
            day=st.floats(NOW - 110.0, NOW),
            dp_bar=st.sampled_from([NAN, 0.0, 0.05, 0.3, 0.8, 1.7, 2.9, 9.0]),
            flow_lpm=st.sampled_from([NAN, 0.0, 20.0, 100.0, 130.0]),
            oil_temperature_degC=st.sampled_from([NAN, -20.0, 10.0, 30.0, 50.0, 70.0]),
            indicator=st.sampled_from([None, None, *IndicatorState]),
            is_date=st.booleans(),
        ),
        max_size=9,
    ).map(tuple),
)


@settings(max_examples=120, deadline=None)
@given(POSITIONS, st.sampled_from([(), steady_meter(), steady_meter(NOW - 40.0)]))
def test_the_dates_are_in_order_and_the_due_date_is_the_ten_per_cent_point(
    position: Position, meter: tuple[MeterReading, ...]
) -> None:
    item = due_of(position, meters={MAIN: meter})
    early, median, late = ahead(item.early_day), ahead(item.median_day), ahead(item.late_day)
    assert early <= median <= late
    assert ahead(item.due_day) == pytest.approx(early, abs=1e-6)
    assert (item.due_day is None) == (item.trigger is None)
    assert item.overdue_hours is not None
    assert item.overdue_hours >= 0.0
    if item.trigger in {Trigger.PRESSURE, Trigger.LIFE, Trigger.INDICATOR}:
        assert ahead(item.due_day) >= 0.0
