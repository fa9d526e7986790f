"""When supply comes, against SciPy's truncated normal, enumeration and simulation."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.arrival import (
    ASSUMED_LEAD_TIME_D,
    Lateness,
    LatenessPrior,
    LeadTime,
    OnOrder,
    arrived_by,
    lead_time,
    learn_lateness,
    pieces_arrived,
)

USUAL = Lateness(0.0, 7.0, 0)


def test_a_supplier_who_is_always_ten_days_late_is_believed_by_halves_after_four_lines() -> None:
    found = learn_lateness(np.full(4, 10.0), LatenessPrior(mean_d=0.0, sd_d=7.0, worth_lines=4.0))
    assert (found.mean_d, found.lines_seen) == (5.0, 4)


def test_many_lines_outweigh_the_prior() -> None:
    late_d = np.random.default_rng(1).normal(12.0, 3.0, 5_000)
    found = learn_lateness(late_d)
    assert found.mean_d == pytest.approx(np.mean(late_d), abs=0.02)
    assert found.sd_d == pytest.approx(np.std(late_d), abs=0.05)


def test_the_next_line_is_predicted_as_the_posterior_summed_over_a_grid_predicts_it() -> None:
    late_d, prior = np.array([3.0, 14.0, -2.0, 9.0, 6.0]), LatenessPrior()
    found = learn_lateness(late_d, prior)
    # slow reference: p(μ, σ²) ∝ scaled inverse χ²(ν₀ = 4, s₀²) · N(μ | 0, σ²/4) · likelihood, on a grid
    worth, start = prior.worth_lines, prior.sd_d**2 / (1.0 + 1.0 / prior.worth_lines)
    mu, ln_var = np.meshgrid(np.linspace(-60.0, 70.0, 801), np.linspace(0.0, 10.0, 601), indexing="ij")
    sd = np.exp(0.5 * ln_var)
    log_p = stats.invgamma.logpdf(sd**2, worth / 2.0, scale=worth * start / 2.0) + ln_var
    log_p += stats.norm.logpdf(mu, 0.0, sd / np.sqrt(worth))
    log_p += sum(stats.norm.logpdf(x, mu, sd) for x in late_d)
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    assert found.mean_d == pytest.approx(np.sum(p * mu), abs=0.01)
    within = np.sum(p * (stats.norm.cdf(found.mean_d + found.sd_d, mu, sd) - 0.5))
    assert within == pytest.approx(stats.t.cdf(1.0, worth + len(late_d)) - 0.5, abs=1e-3)


def test_a_line_that_has_not_come_is_a_normal_cut_off_at_now() -> None:
    late = Lateness(2.0, 7.0, 30)
    expected_d, day_d = np.array([-6.0, 0.0, 5.0, 40.0]), np.array([0.0, 1.0, 7.0, 30.0, 60.0])
    for expects_d, row in zip(expected_d, arrived_by(expected_d, day_d, late), strict=True):
        mean_d = expects_d + 2.0
        cut = stats.truncnorm(-mean_d / 7.0, np.inf, loc=mean_d, scale=7.0)
        assert row == pytest.approx(cut.cdf(day_d), abs=1e-12)


def test_an_overdue_line_still_comes() -> None:
    (row,) = arrived_by(np.array([-20.0]), np.array([0.0, 30.0, 365.0]), USUAL)
    assert row[0] == 0.0
    assert row[1] > 0.5
    assert row[2] == pytest.approx(1.0)


def test_a_line_forgotten_for_months_is_not_promised_for_tomorrow() -> None:
    (row,) = arrived_by(np.array([-90.0]), np.array([2.0, 90.0]), USUAL)
    cut = stats.truncnorm(90.0 / 7.0, np.inf, loc=-90.0, scale=7.0)
    assert cut.cdf(2.0) > 0.95  # what the spread of the others would promise
    assert row[0] < 0.05
    assert row[1] > 0.5


def test_pieces_on_independent_lines_add_up_as_every_combination_of_lines_says() -> None:
    quantity, come = np.array([3, 0, 5, 3]), np.array([[0.2, 0.9], [0.5, 0.6], [0.7, 1.0], [0.0, 0.4]])
    found = pieces_arrived(quantity, come)
    for day in range(2):
        slow = np.zeros(12)
        for has_come in product((0, 1), repeat=4):
            chance = np.prod([p if came else 1.0 - p for p, came in zip(come[:, day], has_come, strict=True)])
            slow[int(quantity @ has_come)] += chance
        assert found[day] == pytest.approx(slow, abs=1e-15)


def test_pieces_arrive_as_drawn_lines_do() -> None:
    late, day_d = Lateness(3.0, 9.0, 10), np.array([7.0, 21.0, 42.0])
    on_order = OnOrder(np.array([4, 6, 2]), np.array([-5.0, 18.0, 25.0]))
    found = pieces_arrived(on_order.quantity, arrived_by(on_order.expected_d, day_d, late))
    rng, came = np.random.default_rng(2), np.zeros((100_000, 3), dtype=int)
    for pieces, expects_d in zip(on_order.quantity, on_order.expected_d, strict=True):
        drawn_d = expects_d + rng.normal(3.0, 9.0, 600_000)
        came += pieces * (drawn_d[drawn_d > 0.0][:100_000, None] <= day_d)
    for day in range(3):
        assert found[day] == pytest.approx(np.bincount(came[:, day], minlength=13) / 100_000, abs=0.006)


def test_an_order_placed_today_takes_its_lead_time_with_the_lateness_of_other_lines() -> None:
    late = Lateness(4.0, 9.0, 20)
    for told_d in (0.0, 6.0, 30.0, 120.0):
        found = lead_time(told_d, late)
        cut = stats.truncnorm(-(told_d + 4.0) / 9.0, np.inf, loc=told_d + 4.0, scale=9.0)
        assert found.mean_d == pytest.approx(cut.mean(), abs=1e-3)
        spread_d = np.sqrt(found.share @ (found.day_d - found.mean_d) ** 2)
        assert spread_d == pytest.approx(cut.std(), rel=0.03)
        assert found.share[found.day_d <= cut.ppf(0.9)].sum() == pytest.approx(0.9)


def test_an_unknown_lead_time_is_assumed_and_said_so() -> None:
    assumed, told = lead_time(None, USUAL), lead_time(ASSUMED_LEAD_TIME_D, USUAL)
    assert assumed.is_assumed
    assert not told.is_assumed
    assert assumed.day_d == pytest.approx(told.day_d)


@settings(max_examples=60, deadline=None)
@given(st.floats(-20.0, 100.0), st.floats(0.0, 60.0), st.floats(2.0, 20.0), st.floats(-10.0, 10.0))
def test_a_line_expected_earlier_never_comes_later(
    expected_d: float, earlier_d: float, sd_d: float, mean_d: float
) -> None:
    late = Lateness(mean_d, sd_d, 5)
    first_d = max(expected_d - earlier_d, -mean_d - sd_d)  # not so overdue that its own lateness speaks
    before, after = arrived_by(np.array([min(first_d, expected_d), expected_d]), np.linspace(0.0, 120.0, 30), late)
    if expected_d >= -mean_d - sd_d:
        assert np.all(before >= after - 1e-12)
    assert np.all(np.diff(after) >= 0.0)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="before now"):
        arrived_by(np.zeros(1), np.array([-1.0]), USUAL)
    with pytest.raises(ValueError, match="not finite"):
        learn_lateness(np.array([np.nan]))
    with pytest.raises(ValueError, match=r"± 0\.0 d"):
        Lateness(0.0, 0.0, 3)
    with pytest.raises(ValueError, match="below 0"):
        OnOrder(np.array([-1]), np.zeros(1))
    with pytest.raises(ValueError, match="expected day"):
        OnOrder(np.array([1]), np.array([np.inf]))
    with pytest.raises(ValueError, match="lead time -1"):
        lead_time(-1.0, USUAL)
    with pytest.raises(ValueError, match="sum to"):
        LeadTime(np.array([1.0, 2.0]), np.array([0.5, 0.4]))
