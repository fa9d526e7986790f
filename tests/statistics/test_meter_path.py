"""The cheapest story over a meter's readings, against trying every subset of them."""

import itertools
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.meter_path import (
    DATE_ONLY_D,
    SETTLED_RUN,
    MeterMark,
    SortedReadings,
    kept_readings,
    usual_rate_h_per_day,
)


def _step_cost(readings: SortedReadings, a: int, b: int) -> float:
    """The rules once more, one pair at a time and in plain words."""
    gap_d = float(readings.day[b] - readings.day[a])
    rise_h = float(readings.shown_h[b] - readings.shown_h[a])
    unsure_d = 0.5 * float(readings.is_date[a]) + 0.5 * float(readings.is_date[b])
    most_h = 24.0 * (gap_d + 1.0)
    least_h = -1.0 - 24.0 * max(unsure_d - gap_d, 0.0)
    usual_h = readings.usual_h_per_day * gap_d

    def unsteady(increment_h: float) -> float:
        return 0.0 if math.isnan(usual_h) else 0.1 * min(abs(increment_h - usual_h) / most_h, 1.0)

    if readings.mark[b] == MeterMark.FIRST:
        return 0.0
    if least_h <= rise_h <= most_h:
        return unsteady(rise_h)
    if readings.mark[a] == MeterMark.LAST:
        return 0.0
    if rise_h < 0.0:
        before_h = float(readings.shown_h[a])
        for digits in [readings.digits] if readings.digits else range(4, 8):
            top_h = 10.0**digits
            if readings.digits is None and not 0.9 * top_h <= before_h < top_h:
                continue
            turned_h = rise_h + top_h
            likely = readings.digits or math.isnan(usual_h) or turned_h <= 24.0 + 2.0 * usual_h
            if 0.0 <= turned_h <= most_h and likely:
                return (0.05 if readings.digits else 0.5) + unsteady(turned_h)
    return 1.5


def _story_cost(readings: SortedReadings, kept: tuple[int, ...]) -> float:
    dropped = len(readings.day) - len(kept)
    return dropped + sum(_step_cost(readings, a, b) for a, b in itertools.pairwise(kept))


def _cheapest_by_trying_all(readings: SortedReadings) -> float:
    everything = range(len(readings.day))
    return min(
        _story_cost(readings, kept)
        for size in range(1, len(readings.day) + 1)
        for kept in itertools.combinations(everything, size)
    )


def _readings(
    day: list[float],
    shown_h: list[float],
    mark: list[int] | None = None,
    digits: int | None = None,
    is_date: list[bool] | None = None,
) -> SortedReadings:
    days, values = np.array(day, dtype=np.float64), np.array(shown_h, dtype=np.float64)
    return SortedReadings(
        day=days,
        shown_h=values,
        mark=np.array(mark or [0] * len(day), dtype=np.int64),
        is_date=np.array(is_date or [False] * len(day), dtype=np.bool_),
        digits=digits,
        usual_h_per_day=usual_rate_h_per_day(days, values),
    )


@st.composite
def _troubled(draw: st.DrawFn) -> SortedReadings:
    """A steady meter of up to ten readings on which some values are typed wrong, turned or on a new level."""
    count = draw(st.integers(1, 10))
    gaps = draw(st.lists(st.sampled_from([0.25, 1.0, 3.0, 10.0]), min_size=count, max_size=count))
    day = np.cumsum(gaps)
    digits = draw(st.sampled_from([None, 4, 5]))
    shown_h = draw(st.sampled_from([20.0, 9_900.0, 99_950.0])) + draw(st.sampled_from([6.0, 14.0])) * day
    shown_h = shown_h % 10.0**digits if digits else shown_h
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, count - 1))
        trouble = draw(st.sampled_from(["times ten", "tenth", "new level", "near"]))
        if trouble == "times ten":
            shown_h[at] *= 10.0
        elif trouble == "tenth":
            shown_h[at] /= 10.0
        elif trouble == "new level":
            shown_h[at:] -= shown_h[at] - draw(st.floats(0.0, 9.0))
        else:
            shown_h[at] += draw(st.floats(-30.0, 30.0))
    mark = draw(st.lists(st.sampled_from([0, 0, 0, 0, 0, 1, 2]), min_size=count, max_size=count))
    is_date = draw(st.lists(st.booleans(), min_size=count, max_size=count))
    return _readings(day.tolist(), np.maximum(shown_h, 0.0).tolist(), mark, digits, is_date)


@settings(max_examples=150, deadline=None)
@given(_troubled())
def test_no_choice_of_readings_tells_a_cheaper_story(readings: SortedReadings) -> None:
    kept = tuple(int(at) for at in kept_readings(readings))
    assert kept == tuple(sorted(set(kept)))
    # settled runs are judged before steadiness, which may leave up to a tenth of a drop on the table
    assert _story_cost(readings, kept) <= _cheapest_by_trying_all(readings) + 0.1


def test_settling_long_runs_beforehand_does_not_change_the_story() -> None:
    """Twelve readings, one slip inside and a new meter in the last four: 4096 stories tried."""
    day = [7.0 * week for week in range(12)]
    shown_h = [8_000.0 + 8.0 * at for at in day]
    shown_h[8:] = [10.0, 66.0, 122.0, 178.0]
    shown_h[1] *= 10.0
    readings = _readings(day, shown_h)
    kept = tuple(int(at) for at in kept_readings(readings))
    assert len(kept) > SETTLED_RUN
    assert kept == (0, *range(2, 12))
    assert abs(_story_cost(readings, kept) - _cheapest_by_trying_all(readings)) < 1e-9


def test_of_two_readings_that_contradict_each_other_the_earlier_is_kept() -> None:
    assert kept_readings(_readings([0.0, 7.0], [500.0, 100.0])).tolist() == [0]


def test_between_two_equally_costly_stories_the_steadier_one_wins() -> None:
    """170 could have been run by day 14, but then 160 a week later could not: one of the two is wrong."""
    readings = _readings([0.0, 7.0, 14.0, 21.0, 28.0], [100.0, 120.0, 170.0, 160.0, 180.0])
    assert kept_readings(readings).tolist() == [0, 1, 3, 4]


def test_the_usual_rate_is_not_moved_by_a_new_meter_or_by_two_looks_in_one_shift() -> None:
    day = np.array([0.0, 10.0, 10.0 + DATE_ONLY_D / 2, 20.0, 30.0])
    assert usual_rate_h_per_day(day, np.array([900.0, 980.0, 984.0, 5.0, 85.0])) == 8.0
    assert math.isnan(usual_rate_h_per_day(np.array([0.0]), np.array([5.0])))


def test_a_meter_of_nothing_but_nonsense_still_ends_with_a_story() -> None:
    rng = np.random.default_rng(3)
    readings = _readings(np.arange(500.0).tolist(), rng.uniform(0.0, 1e6, 500).tolist())
    kept = kept_readings(readings)
    assert 1 <= len(kept) < 500
    assert (np.diff(kept) > 0).all()
