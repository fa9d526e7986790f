"""Planned hours against counting them one by one, and against the calendar's own arithmetic."""

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.planned_hours import (
    CALENDAR_PRIOR,
    SHIFT_PRIOR,
    UsePrior,
    planned_hours,
)

_STANDSTILLS = st.lists(
    st.tuples(st.integers(-20, 70), st.integers(0, 30)).map(lambda pair: (pair[0], pair[0] + pair[1])),
    max_size=6,
)


def _counted_quarter_days(start: int, day: float, hours_per_week: float, standstills: list[tuple[int, int]]) -> float:
    """The slow obvious way: each quarter of a day is either planned or stood still."""
    total = 0.0
    for quarter in range(start * 4, int(day * 4)):
        if not any(a * 4 <= quarter < b * 4 for a, b in standstills):
            total += hours_per_week / 28.0
    return total


@settings(deadline=None)
@given(_STANDSTILLS, st.floats(0.0, 168.0), st.integers(0, 200).map(lambda quarters: quarters / 4))
def test_planned_hours_are_those_counted_quarter_day_by_quarter_day(
    standstills: list[tuple[int, int]], hours_per_week: float, day: float
) -> None:
    planned = planned_hours(0.0, 50.0, hours_per_week, standstills)
    assert planned.at(day) == pytest.approx(_counted_quarter_days(0, day, hours_per_week, standstills))


@settings(deadline=None)
@given(_STANDSTILLS, st.lists(st.floats(-10.0, 90.0), min_size=2, max_size=20))
def test_planned_hours_never_run_backwards(standstills: list[tuple[int, int]], days: list[float]) -> None:
    planned = planned_hours(0.0, 50.0, 100.0, standstills)
    assert (np.diff(planned.at(np.sort(days))) >= -1e-9).all()


@settings(deadline=None)
@given(_STANDSTILLS, st.floats(1.0, 168.0), st.floats(-100.0, 2000.0))
def test_the_day_when_hours_are_reached_is_the_first_such_day(
    standstills: list[tuple[int, int]], hours_per_week: float, wanted_h: float
) -> None:
    planned = planned_hours(0.0, 50.0, hours_per_week, standstills)
    day = float(planned.day_when(wanted_h))
    assert planned.at(day) == pytest.approx(wanted_h, abs=1e-6)
    assert planned.at(day - 0.01) < wanted_h


@settings(deadline=None)
@given(_STANDSTILLS, st.tuples(st.integers(0, 40), st.integers(1, 9)), st.floats(1.0, 300.0))
def test_one_more_stop_never_makes_the_day_earlier(
    standstills: list[tuple[int, int]], stop: tuple[int, int], wanted_h: float
) -> None:
    without = planned_hours(0.0, 50.0, 80.0, standstills)
    with_stop = planned_hours(0.0, 50.0, 80.0, [*standstills, (stop[0], stop[0] + stop[1])])
    assert with_stop.day_when(wanted_h) >= without.day_when(wanted_h) - 1e-9


def test_overlapping_and_touching_standstills_count_once() -> None:
    planned = planned_hours(0.0, 28.0, 168.0, [[12.0, 15.0], [5.0, 10.0], [8.0, 12.0]])
    assert planned.at([5.0, 10.0, 15.0, 28.0]).tolist() == [120.0, 120.0, 120.0, 432.0]


def test_a_laid_up_system_plans_nothing_to_the_end_but_runs_on_as_usual_after_it() -> None:
    planned = planned_hours(0.0, 10.0, 168.0, [[4.0, np.inf]])
    assert planned.at([4.0, 10.0, 11.0]).tolist() == [96.0, 96.0, 120.0]


def test_a_system_that_never_runs_never_gets_there() -> None:
    planned = planned_hours(0.0, 10.0, 0.0)
    assert planned.day_when([0.0, 1.0, -1.0]).tolist() == [0.0, np.inf, -np.inf]


def test_a_week_over_a_local_clock_change_counts_the_hours_that_really_passed() -> None:
    """The EU puts clocks forward on 2024-03-31 and back on 2024-10-27 (Directive 2000/84/EC)."""
    zone = ZoneInfo("Europe/Berlin")

    def utc_day(*when: int) -> float:
        return datetime(*when, tzinfo=zone).timestamp() / 86_400.0  # type: ignore[misc,arg-type]

    spring = [utc_day(2024, 3, 28, 12), utc_day(2024, 4, 4, 12)]
    autumn = [utc_day(2024, 10, 24, 12), utc_day(2024, 10, 31, 12)]
    planned = planned_hours(spring[0], autumn[1], None)
    assert np.diff(planned.at(spring)) == pytest.approx(167.0)
    assert np.diff(planned.at(autumn)) == pytest.approx(169.0)


def test_untold_weekly_hours_are_planned_round_the_clock_with_a_belief_of_one_shift() -> None:
    untold = planned_hours(0.0, 7.0, None)
    assert untold.at(7.0) == pytest.approx(168.0)
    assert untold.prior is CALENDAR_PRIOR
    assert untold.prior.mean * 168.0 == pytest.approx(40.0)  # one shift week: common practice, no source
    assert planned_hours(0.0, 7.0, 168.0).prior is SHIFT_PRIOR


@pytest.mark.parametrize(
    ("start", "end", "hours_per_week", "standstills", "named"),
    [
        (0.0, 10.0, 169.0, [], "169"),
        (0.0, 10.0, -1.0, [], "-1"),
        (0.0, 10.0, np.nan, [], "nan"),
        (10.0, 10.0, 40.0, [], "10"),
        (0.0, np.inf, 40.0, [], "inf"),
        (0.0, 10.0, 40.0, [[5.0, 4.0]], "5.0 to 4.0"),
        (0.0, 10.0, 40.0, [[np.nan, 4.0]], "nan"),
    ],
)
def test_what_cannot_be_a_plan_is_refused_with_its_number(
    start: float, end: float, hours_per_week: float, standstills: npt.ArrayLike, named: str
) -> None:
    with pytest.raises(ValueError, match=named):
        planned_hours(start, end, hours_per_week, standstills)


def test_a_belief_without_weight_is_refused() -> None:
    with pytest.raises(ValueError, match="weight_planned_h 0"):
        UsePrior(mean=0.8, weight_planned_h=0.0)
