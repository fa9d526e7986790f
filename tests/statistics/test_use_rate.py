"""Use rate and hours between and beyond readings: hand arithmetic, slow sums, simulated machines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.planned_hours import CALENDAR_PRIOR, SHIFT_PRIOR, UsePrior, planned_hours
from scheduler.statistics.run_hours import MeterHours, cumulative_hours
from scheduler.statistics.use_rate import UseRate, hours_at, hours_variance_at, use_rate


def _meter(day: list[float], shown_h: list[float]) -> MeterHours:
    return cumulative_hours(day, shown_h, [0] * len(day))


def _weight(start: float, end: float, now: float) -> float:
    """The weight of each moment of a step, halving every 90 days, averaged the slow way."""
    return float(np.mean(2.0 ** (-(now - np.linspace(start, end, 5001)) / 90.0)))


RATE = UseRate(per_planned_hour=0.5, variance=0.01, variance_per_planned_hour=2.0)


def test_without_any_reading_the_prior_rules_and_is_wide() -> None:
    for hours_per_week, prior in ((40.0, SHIFT_PRIOR), (None, CALENDAR_PRIOR)):
        planned = planned_hours(0.0, 100.0, hours_per_week)
        for meter in (_meter([], []), _meter([50.0], [400.0])):
            rate = use_rate(meter, planned, 100.0)
            assert rate.per_planned_hour == pytest.approx(prior.mean)
            assert rate.variance**0.5 > 0.1 * prior.mean
            assert rate.variance_per_planned_hour == pytest.approx(prior.variance_per_planned_hour)


def test_the_rate_is_the_weighted_ratio_of_run_to_planned_hours() -> None:
    """The formula summed term by term, day 0 to 100, weights halving every 90 days."""
    planned = planned_hours(0.0, 200.0, 84.0)  # 12 h a day
    rate = use_rate(_meter([0.0, 40.0, 90.0, 100.0], [0.0, 240.0, 690.0, 790.0]), planned, 100.0)
    run, plan = 96.0 * 0.8, 96.0
    for end, y, c in ((40.0, 240.0, 480.0), (90.0, 450.0, 600.0), (100.0, 100.0, 120.0)):
        weight = _weight(end - c / 12.0, end, 100.0)
        run, plan = run + weight * y, plan + weight * c
    assert rate.per_planned_hour == pytest.approx(run / plan, rel=1e-5)


def test_use_of_long_ago_is_forgotten_with_a_half_life_however_rarely_the_meter_was_read() -> None:
    """20 h a day until 120 days ago, 10 since: an exponential average leaves 2^(−120/90) of the old rate."""
    planned = planned_hours(0.0, 1000.0, 168.0)
    old = 2.0 ** (-120.0 / 90.0)
    for day in ([0.0, 600.0, 720.0], [0.0, 300.0, 600.0, 660.0, 720.0], np.linspace(0.0, 720.0, 25).tolist()):
        shown_h = [20.0 * min(at, 600.0) + 10.0 * max(at - 600.0, 0.0) for at in day]
        rate = use_rate(_meter(day, shown_h), planned, 720.0).per_planned_hour
        assert rate == pytest.approx((old * 20.0 + (1.0 - old) * 10.0) / 24.0, abs=0.02)


def test_readings_after_the_moment_asked_about_are_not_known_yet() -> None:
    planned = planned_hours(0.0, 800.0, 40.0)
    before = use_rate(_meter([0.0, 70.0], [0.0, 300.0]), planned, 100.0)
    assert use_rate(_meter([0.0, 70.0, 140.0], [0.0, 300.0, 310.0]), planned, 100.0) == before


def test_a_prior_of_ones_own_is_taken_instead() -> None:
    planned = planned_hours(0.0, 100.0, 40.0)
    own = UsePrior(mean=0.3, weight_planned_h=40.0)
    assert use_rate(_meter([], []), planned, 0.0, prior=own).per_planned_hour == pytest.approx(0.3)


def test_hours_run_while_nothing_was_planned_say_nothing_of_the_rate() -> None:
    planned = planned_hours(0.0, 100.0, 40.0, [[70.0, 90.0]])
    quiet = use_rate(_meter([0.0, 70.0], [0.0, 300.0]), planned, 90.0)
    with_overtime = use_rate(_meter([0.0, 70.0, 90.0], [0.0, 300.0, 350.0]), planned, 90.0)
    assert with_overtime.per_planned_hour == pytest.approx(quiet.per_planned_hour)


def test_hours_filled_in_over_a_new_meter_do_not_count_as_seen() -> None:
    planned = planned_hours(0.0, 100.0, 40.0)
    day, shown_h = [0.0, 28.0, 56.0, 63.0, 70.0], [900.0, 1_020.0, 1_140.0, 5.0, 45.0]
    meter = cumulative_hours(day, shown_h, [0] * 5, planned=planned)
    assert meter.inferred.tolist() == [False, False, False, True, False]
    run, plan = 96.0 * 0.8, 96.0
    for start, end, y in ((0.0, 28.0, 120.0), (28.0, 56.0, 120.0), (63.0, 70.0, 40.0)):
        run += _weight(start, end, 70.0) * y
        plan += _weight(start, end, 70.0) * (end - start) * 40.0 / 7.0
    assert use_rate(meter, planned, 70.0).per_planned_hour == pytest.approx(run / plan, rel=1e-5)


def test_the_spread_is_found_on_a_machine_whose_spread_is_known() -> None:
    """400 weeks of 100 planned hours, y ~ N(70, 4 · 100): s² 4 to within the sampling error of a variance.

    With a half-life of 90 d about 36 weeks count, so its relative standard error is about √(2/36) = 0.24.
    """
    rng = np.random.default_rng(20261124)
    found = []
    for _ in range(40):
        run_h = np.concatenate([[0.0], np.cumsum(rng.normal(70.0, 20.0, 400))])
        day = np.arange(401) * 7.0
        planned = planned_hours(0.0, 2807.0, 100.0)
        found.append(use_rate(_meter(day.tolist(), run_h.tolist()), planned, 2800.0))
    spread = np.array([rate.variance_per_planned_hour for rate in found])
    assert spread.mean() == pytest.approx(4.0, abs=4 * 4.0 * 0.24 / 40**0.5 + 0.15)  # 0.15: the prior's pull
    rates = np.array([rate.per_planned_hour for rate in found])
    believed_sd = np.sqrt(np.mean([rate.variance for rate in found]))
    assert np.abs(rates - 0.7).mean() < believed_sd  # errs to the wide side


def test_two_looks_within_one_hour_do_not_blow_up_the_spread() -> None:
    planned = planned_hours(0.0, 100.0, 40.0)
    calm = _meter([0.0, 28.0, 56.0, 84.0], [0.0, 128.0, 256.0, 384.0])
    looked_twice = _meter([0.0, 28.0, 56.0, 83.96, 84.0], [0.0, 128.0, 256.0, 383.0, 384.0])
    assert use_rate(looked_twice, planned, 84.0).variance_per_planned_hour == pytest.approx(
        use_rate(calm, planned, 84.0).variance_per_planned_hour, rel=0.05
    )


def test_a_week_with_next_to_nothing_planned_does_not_outweigh_the_others() -> None:
    stop = [[28.0, 55.9999]]
    planned = planned_hours(0.0, 100.0, 40.0, stop)
    calm = use_rate(_meter([0.0, 28.0, 56.0, 84.0], [0.0, 128.0, 128.0, 256.0]), planned, 84.0)
    overtime = use_rate(_meter([0.0, 28.0, 56.0, 84.0], [0.0, 128.0, 134.0, 262.0]), planned, 84.0)
    assert overtime.variance_per_planned_hour < 2.0 * calm.variance_per_planned_hour
    assert overtime.variance < 2.0 * calm.variance


def test_between_readings_hours_follow_the_plan_and_a_standstill_adds_none() -> None:
    planned = planned_hours(0.0, 100.0, 168.0, [[10.0, 20.0]])
    meter = _meter([0.0, 30.0], [100.0, 300.0])
    assert hours_at(meter, planned, RATE, [0.0, 5.0, 10.0, 15.0, 20.0, 30.0]) == pytest.approx(
        [100.0, 150.0, 200.0, 200.0, 200.0, 300.0]
    )


def test_hours_that_rose_while_nothing_was_planned_are_spread_over_the_time() -> None:
    planned = planned_hours(0.0, 100.0, 168.0, [[0.0, 50.0]])
    meter = _meter([10.0, 20.0, 60.0], [100.0, 110.0, 130.0])
    assert hours_at(meter, planned, RATE, [12.0, 40.0, 55.0]) == pytest.approx([102.0, 110.0, 120.0])
    variance = hours_variance_at(meter, planned, RATE, [20.0, 15.0])
    assert variance.tolist() == [0.0, 25.0]  # 10 h in one block, before or after: 10² · ½ · ½


def test_beyond_the_readings_hours_go_on_at_the_use_rate() -> None:
    planned = planned_hours(0.0, 100.0, 84.0)
    meter = _meter([20.0, 30.0], [100.0, 160.0])
    assert hours_at(meter, planned, RATE, [10.0, 40.0]) == pytest.approx([40.0, 220.0])
    only = _meter([20.0], [100.0])
    assert hours_at(only, planned, RATE, [10.0, 20.0, 40.0]) == pytest.approx([40.0, 100.0, 220.0])
    assert np.diff(hours_at(_meter([], []), planned, RATE, [10.0, 40.0])) == pytest.approx([180.0])


def test_the_variance_is_nothing_at_readings_and_grows_away_from_them() -> None:
    planned = planned_hours(0.0, 100.0, 168.0)
    meter = _meter([20.0, 30.0], [100.0, 220.0])
    at = hours_variance_at(meter, planned, RATE, [20.0, 25.0, 30.0, 40.0, 50.0, 10.0])
    assert at[[0, 2]].tolist() == [0.0, 0.0]
    assert at[1] == pytest.approx(240.0 * 0.5 * 0.5 * 2.0)  # a bridge over 240 planned hours, in its middle
    assert at[3] == pytest.approx(240.0 * 2.0 + 240.0**2 * 0.01)
    assert at[4] > at[3]
    assert at[5] == pytest.approx(at[3])
    assert hours_variance_at(_meter([], []), planned, RATE, [10.0]) == pytest.approx(at[3])


def test_the_bridge_between_two_readings_matches_simulated_machines() -> None:
    """20,000 machines run in steps of N(ρc, c s²); given the end, a quarter of the way in."""
    rng = np.random.default_rng(5)
    steps = rng.normal(0.5 * 24.0, np.sqrt(24.0 * 2.0), (20_000, 20))
    total = steps.sum(axis=1)
    quarter = steps[:, :5].sum(axis=1) - total * 0.25  # away from the line between the readings
    meter = _meter([0.0, 20.0], [0.0, 240.0])
    variance = hours_variance_at(meter, planned_hours(0.0, 100.0, 168.0), RATE, [5.0])
    assert variance[0] == pytest.approx(quarter.var(), rel=4 * (2 / 20_000) ** 0.5)


def test_a_filled_in_gap_makes_all_days_before_it_less_sure() -> None:
    planned = planned_hours(0.0, 100.0, 168.0)
    day, shown_h = [0.0, 10.0, 20.0, 30.0, 40.0], [900.0, 1_000.0, 1_100.0, 5.0, 105.0]
    meter = cumulative_hours(day, shown_h, [0] * 5, planned=planned)
    whole = 240.0 * 2.0 + 240.0**2 * 0.01
    at = hours_variance_at(meter, planned, RATE, [40.0, 30.0, 25.0, 20.0, 0.0, -10.0])
    assert at[:2].tolist() == [0.0, 0.0]
    assert at[2] == pytest.approx(120.0 * 2.0 + 120.0**2 * 0.01)
    assert at[3:].tolist() == pytest.approx([whole, whole, 2.0 * whole])


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 3000.0)), max_size=12),
    st.lists(st.tuples(st.integers(0, 90), st.integers(1, 20)), max_size=4),
    st.lists(st.floats(-50.0, 200.0), min_size=2, max_size=20),
    st.sampled_from([None, 0.0, 40.0, 168.0]),
)
def test_hours_never_run_backwards_and_variances_are_never_negative(
    readings: list[tuple[float, float]],
    stops: list[tuple[int, int]],
    days: list[float],
    hours_per_week: float | None,
) -> None:
    planned = planned_hours(0.0, 120.0, hours_per_week, [(a, a + length) for a, length in stops])
    meter = cumulative_hours(
        [day for day, _ in readings], [shown for _, shown in readings], [0] * len(readings), planned=planned
    )
    rate = use_rate(meter, planned, 100.0)
    assert rate.per_planned_hour > 0.0
    assert rate.variance > 0.0
    ordered = np.sort(days)
    assert (np.diff(hours_at(meter, planned, rate, ordered)) >= -1e-6).all()
    assert (hours_variance_at(meter, planned, rate, ordered) >= 0.0).all()
    if len(meter.day):
        assert hours_at(meter, planned, rate, meter.day) == pytest.approx(meter.cumulative_h)


def test_a_moment_that_is_no_moment_is_refused() -> None:
    with pytest.raises(ValueError, match="nan"):
        use_rate(_meter([], []), planned_hours(0.0, 1.0, 40.0), float("nan"))
