"""Stories of run-hour meters. A meter runs at most 24 h a day; the rest is arithmetic done by hand."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.meter_path import MeterMark
from scheduler.statistics.planned_hours import planned_hours
from scheduler.statistics.run_hours import MeterHours, ReadingOutcome, cumulative_hours
from scheduler.vocabulary import MeterReadingKind
from tests.measure.run_hours_accuracy import measure

A, ROLLED, REPLACED, RESET, REPEATED, BACKWARD, JUMP, IMPOSSIBLE = ReadingOutcome
READING, LAST, FIRST = MeterMark


def _plain(day: npt.ArrayLike, shown_h: npt.ArrayLike, digits: int | None = None) -> MeterHours:
    return cumulative_hours(day, shown_h, np.zeros(np.shape(day), dtype=int), digits=digits)


def test_a_clean_meter_is_what_it_shows() -> None:
    meter = _plain([3.0, 1.0, 2.0], [130.0, 100.0, 110.0])
    assert meter.day.tolist() == [1.0, 2.0, 3.0]
    assert meter.cumulative_h.tolist() == [100.0, 110.0, 130.0]
    assert not meter.inferred.any()
    assert meter.earlier_h.tolist()[0] == 110.0
    assert np.isnan(meter.earlier_h[1])
    assert meter.earlier_day.tolist()[0] == 2.0


@pytest.mark.parametrize("digits", [4, None])
def test_a_four_digit_meter_rolls_over_at_9999(digits: int | None) -> None:
    meter = _plain([0.0, 10.0, 20.0, 30.0], [9_800.0, 9_900.0, 0.0, 100.0], digits)
    assert meter.cumulative_h.tolist() == [9_800.0, 9_900.0, 10_000.0, 10_100.0]
    assert meter.outcome.tolist() == [A, A, ROLLED, A]


def test_a_rollover_shows_at_once_though_it_is_the_newest_reading() -> None:
    meter = _plain([0.0, 10.0, 20.0], [9_800.0, 9_900.0, 8.0])
    assert meter.outcome.tolist()[-1] == ROLLED
    assert meter.cumulative_h[-1] == 10_008.0


def test_a_rollover_that_would_take_more_than_24_h_a_day_is_none() -> None:
    meter = _plain([0.0, 10.0, 20.0], [9_300.0, 9_400.0, 8.0], 4)
    assert meter.outcome.tolist() == [A, A, BACKWARD]


def test_a_fall_in_the_middle_of_the_range_is_no_rollover_unless_the_digits_say_so() -> None:
    day, shown_h = [0.0, 100.0, 200.0], [6_000.0, 8_000.0, 0.0]
    assert _plain(day, shown_h).outcome.tolist() == [A, A, BACKWARD]
    assert _plain(day, shown_h, 4).outcome.tolist() == [A, A, ROLLED]


def test_a_declared_replacement_goes_on_from_the_old_meters_last_value() -> None:
    meter = cumulative_hours(
        [0.0, 10.0, 12.0, 12.0, 20.0], [5_000.0, 5_080.0, 5_096.0, 3.0, 67.0], [0, 0, LAST, FIRST, 0]
    )
    assert meter.day.tolist() == [0.0, 10.0, 12.0, 20.0]
    assert meter.cumulative_h.tolist() == [5_000.0, 5_080.0, 5_096.0, 5_160.0]
    assert meter.outcome.tolist() == [A, A, A, REPLACED, A]
    assert not meter.inferred.any()


def test_the_days_reading_at_the_noon_of_a_change_may_belong_to_either_meter() -> None:
    of_old = cumulative_hours([0.0, 10.0, 10.0, 10.0], [900.0, 980.0, 980.0, 0.0], [0, 0, LAST, FIRST])
    of_new = cumulative_hours([0.0, 10.0, 10.0, 10.0], [900.0, 5.0, 980.0, 0.0], [0, 0, LAST, FIRST])
    assert of_old.outcome.tolist() == [A, A, A, REPLACED]
    assert of_new.outcome.tolist() == [A, A, A, REPLACED]
    assert of_new.cumulative_h.tolist() == [900.0, 985.0]


def test_hours_while_the_meter_was_out_are_filled_in_at_its_own_rate_and_flagged() -> None:
    """40 planned hours a week, half of them run (96 h of prior beside 4,040): 10 days out."""
    planned = planned_hours(0.0, 1000.0, 40.0)
    day = [0.0, 700.0, 710.0, 717.0]
    meter = cumulative_hours(day, [0.0, 2_000.0, 0.0, 20.0], [0, LAST, FIRST, 0], planned=planned)
    assert meter.inferred.tolist() == [False, False, True, False]
    assert meter.cumulative_h[2] - 2_000.0 == pytest.approx(10 / 7 * 20.0, rel=0.02)
    assert meter.cumulative_h[3] - meter.cumulative_h[2] == pytest.approx(20.0)


def test_a_new_meter_that_nobody_declared_is_believed_once_a_second_reading_agrees() -> None:
    day = [0.0, 10.0, 20.0, 30.0, 40.0]
    shown_h = [5_000.0, 5_080.0, 5_160.0, 6.0, 86.0]
    first_sight = _plain(day[:4], shown_h[:4])
    assert first_sight.outcome.tolist() == [A, A, A, BACKWARD]
    assert first_sight.cumulative_h.tolist() == [5_000.0, 5_080.0, 5_160.0]
    assert first_sight.earlier_h[3] == 5_160.0
    meter = _plain(day, shown_h)
    assert meter.outcome.tolist() == [A, A, A, RESET, A]
    assert meter.inferred.tolist() == [False, False, False, True, False]
    assert meter.earlier_h[3] == 5_160.0
    assert meter.cumulative_h[-1] == pytest.approx(5_320.0, abs=30.0)  # 8 h/d throughout


def test_no_hours_are_filled_in_over_a_planned_standstill() -> None:
    planned = planned_hours(0.0, 100.0, 56.0, [[20.0, 30.0]])
    meter = cumulative_hours(
        [0.0, 10.0, 20.0, 30.0, 40.0], [500.0, 580.0, 660.0, 1.0, 81.0], [0] * 5, planned=planned
    )
    assert meter.outcome.tolist()[3] == RESET
    assert meter.cumulative_h.tolist()[3] == 660.0


@pytest.mark.parametrize("slip", [10.0, 0.1])
def test_a_decimal_slip_is_reported_and_left_out(slip: float) -> None:
    shown_h = [1_000.0, 1_080.0, 1_160.0 * slip, 1_240.0, 1_320.0]
    meter = _plain([0.0, 10.0, 20.0, 30.0, 40.0], shown_h)
    assert meter.outcome.tolist() == [A, A, JUMP if slip > 1.0 else BACKWARD, A, A]
    assert meter.cumulative_h.tolist() == [1_000.0, 1_080.0, 1_240.0, 1_320.0]
    assert meter.earlier_h[2] == 1_080.0
    assert meter.earlier_day[2] == 10.0


def test_two_slips_in_a_row_are_no_new_meter() -> None:
    shown_h = [1_000.0, 1_080.0, 11_600.0, 12_400.0, 1_320.0, 1_400.0]
    meter = _plain([0.0, 10.0, 20.0, 30.0, 40.0, 50.0], shown_h)
    assert meter.outcome.tolist() == [A, A, JUMP, JUMP, A, A]


def test_a_slip_in_the_oldest_reading_is_left_out_too() -> None:
    meter = _plain([0.0, 10.0, 20.0], [10_000.0, 1_080.0, 1_160.0])
    assert meter.outcome.tolist() == [JUMP, A, A]
    assert np.isnan(meter.earlier_h[0])


def test_the_newest_reading_that_does_not_fit_is_reported_and_loses_nothing() -> None:
    for odd_h, outcome in [(12_400.0, JUMP), (900.0, BACKWARD)]:
        meter = _plain([0.0, 10.0, 20.0, 30.0], [1_000.0, 1_080.0, 1_160.0, odd_h])
        assert meter.outcome.tolist() == [A, A, A, outcome]
        assert meter.cumulative_h.tolist() == [1_000.0, 1_080.0, 1_160.0]


def test_a_reading_with_only_a_date_may_have_been_taken_before_that_mornings() -> None:
    """996 noted for the day, 1000 at 14:00 of the day before: up to 12 h off either way is no error."""
    meter = cumulative_hours(
        [9.5, 10.25, 10.5, 12.0], [990.0, 1_000.0, 996.0, 1_030.0], [0] * 4, is_date=[False, False, True, False]
    )
    assert meter.outcome.tolist() == [A, A, A, A]
    assert meter.cumulative_h.tolist() == [990.0, 1_000.0, 1_000.0, 1_030.0]
    timed = _plain([9.5, 10.25, 10.5, 12.0], [990.0, 1_000.0, 996.0, 1_030.0])
    assert BACKWARD in timed.outcome.tolist() or JUMP in timed.outcome.tolist()


def test_a_timed_reading_outvotes_a_noon_that_was_really_an_evening() -> None:
    meter = cumulative_hours(
        [9.5, 10.5, 10.6, 12.0], [990.0, 1_008.0, 1_000.0, 1_030.0], [0] * 4, is_date=[False, True, False, False]
    )
    assert meter.cumulative_h.tolist() == [990.0, 1_000.0, 1_000.0, 1_030.0]


def test_the_same_reading_entered_twice_counts_once() -> None:
    meter = _plain([0.0, 10.0, 10.0, 20.0], [0.0, 80.0, 80.0, 160.0])
    assert meter.outcome.tolist() == [A, A, REPEATED, A]
    assert meter.day.tolist() == [0.0, 10.0, 20.0]


def test_two_values_at_one_time_leave_one_knot() -> None:
    meter = _plain([0.0, 10.0, 10.0, 20.0], [0.0, 80.0, 82.0, 160.0])
    assert meter.day.tolist() == [0.0, 10.0, 20.0]
    assert meter.cumulative_h.tolist() == [0.0, 82.0, 160.0]


def test_two_readings_one_and_none() -> None:
    assert _plain([0.0, 10.0], [5.0, 85.0]).cumulative_h.tolist() == [5.0, 85.0]
    assert _plain([0.0], [5.0]).cumulative_h.tolist() == [5.0]
    nothing = _plain([], [])
    assert nothing.day.shape == nothing.outcome.shape == nothing.earlier_h.shape == (0,)


def test_a_value_that_no_meter_shows_is_called_impossible() -> None:
    meter = _plain([0.0, 10.0, 20.0, 30.0], [-5.0, np.nan, 12_345.0, 40.0], 4)
    assert meter.outcome.tolist() == [IMPOSSIBLE, IMPOSSIBLE, IMPOSSIBLE, A]
    assert meter.cumulative_h.tolist() == [40.0]
    only = _plain([1.0], [-5.0])
    assert only.outcome.tolist() == [IMPOSSIBLE]
    assert np.isnan(only.earlier_h).all()


def test_the_marks_stand_in_the_order_of_the_plant_folders_words() -> None:
    assert [kind.name for kind in MeterReadingKind] == [mark.name for mark in MeterMark]


@pytest.mark.parametrize(
    ("day", "shown_h", "kind", "digits", "named"),
    [
        ([0.0], [1.0, 2.0], [0], None, "each reading"),
        ([np.inf], [1.0], [0], None, "inf"),
        ([0.0], [1.0], [7], None, "7"),
        ([0.0], [1.0], [0], 0, "0 digits"),
    ],
)
def test_what_is_no_list_of_readings_is_refused(
    day: list[float], shown_h: list[float], kind: list[int], digits: int | None, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        cumulative_hours(day, shown_h, kind, digits=digits)


@st.composite
def _any_readings(draw: st.DrawFn) -> tuple[list[float], list[float], list[int], list[bool], int | None]:
    count = draw(st.integers(0, 14))
    days = st.floats(0.0, 200.0) | st.integers(0, 200).map(lambda day: day + 0.5)
    values = st.floats(0.0, 12_000.0) | st.integers(0, 200).map(lambda day: 9_500.0 + 6.0 * day)
    return (
        draw(st.lists(days, min_size=count, max_size=count)),
        draw(st.lists(values, min_size=count, max_size=count)),
        draw(st.lists(st.sampled_from([0, 0, 0, 1, 2]), min_size=count, max_size=count)),
        draw(st.lists(st.booleans(), min_size=count, max_size=count)),
        draw(st.sampled_from([None, 4, 5])),
    )


@settings(deadline=None)
@given(_any_readings(), st.randoms(use_true_random=False))
def test_hours_never_run_backwards_and_the_order_of_entry_does_not_matter(
    given_readings: tuple[list[float], list[float], list[int], list[bool], int | None], random: st.DataObject
) -> None:
    day, shown_h, kind, is_date, digits = given_readings
    meter = cumulative_hours(day, shown_h, kind, digits=digits, is_date=is_date)
    assert (np.diff(meter.day) > 0.0).all()
    assert (np.diff(meter.cumulative_h) >= 0.0).all()
    assert len(meter.outcome) == len(day)
    order = list(range(len(day)))
    random.shuffle(order)  # type: ignore[attr-defined]
    again = cumulative_hours(
        *([column[at] for at in order] for column in (day, shown_h, kind)),
        digits=digits,
        is_date=[is_date[at] for at in order],
    )
    assert np.array_equal(meter.day, again.day)
    assert np.array_equal(meter.cumulative_h, again.cumulative_h)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.5, 20.0), st.floats(0.2, 23.0)), min_size=4, max_size=20),
    st.data(),
    st.floats(0.0, 100_000.0),
)
def test_one_typing_error_never_moves_the_final_hours_by_more_than_the_newest_gap_allows(
    steps: list[tuple[float, float]], data: st.DataObject, typed_h: float
) -> None:
    day = np.cumsum([0.0] + [gap for gap, _ in steps])
    shown_h = 1_000.0 + np.cumsum([0.0] + [gap * rate for gap, rate in steps])
    wrong = shown_h.copy()
    at = data.draw(st.integers(1, len(day) - 1))
    wrong[at] = typed_h
    meter = _plain(day, wrong, 6)
    tolerance_h = 24.0 * (day[-1] - day[-3] + 1.0)
    assert meter.cumulative_h[-1] == pytest.approx(shown_h[-1], abs=tolerance_h)


def test_simulated_meters_are_told_better_than_by_a_slope() -> None:
    """The short version of `tests/measure/run_hours_accuracy.py`; RESULTS.md there has the long one."""
    results = measure(meters=100, seed=7)
    ours = results["elementdue, planned hours told"]
    simple = results["newest minus oldest"]
    cleaned = results["the same after naive cleaning"]
    assert ours["total_wrong"] <= 0.05 < cleaned["total_wrong"] < simple["total_wrong"]
    assert ours["date_error_median"] < 0.12
    assert ours["date_error_median"] < simple["date_error_median"]
    assert ours["date_error_over_half"] < cleaned["date_error_over_half"]
    assert 0.7 <= ours["covered_80"] <= 0.96
