"""When waiting stops paying: against age replacement as published, and SciPy's quadrature and minimiser.

Published: Barlow & Proschan, Mathematical Theory of Reliability, 1965, age replacement: the best age t* solves
r(t*) ∫₀^t* R − F(t*) = Cp/(Cf − Cp), and costs g* = (Cf − Cp) r(t*) per hour.
"""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from scheduler.statistics.life_model import LifePrior
from scheduler.statistics.remaining_hours import EDGE_H, RemainingHours, from_lognormal, from_survival
from scheduler.statistics.replacement_cost import (
    FORESEEN_SHARE,
    INDIFFERENT_SHARE,
    WATCHED_RATE,
    BestChange,
    age_replacement,
    best_change,
    cost_per_run_hour,
    waiting_pays,
)

ONE = np.ones(1)
Cdf = Callable[[float], float]


def hours(cdf: Cdf) -> RemainingHours:
    return from_survival(np.log1p(-np.array([[min(cdf(edge), 1.0 - 1e-15) for edge in EDGE_H]])))


def weibull(t: float) -> float:
    return float(stats.weibull_min.cdf(t, 2.5, scale=1000.0))


def lognormal(median_h: float, log_sd: float) -> Cdf:
    return lambda t: float(stats.lognorm.cdf(t, log_sd, scale=median_h))


def expected_h(cdf: Cdf, t: float) -> float:
    """E[min(T, t)] = ∫₀ᵗ (1 − F)."""
    return float(integrate.quad(lambda each: 1.0 - cdf(each), 0.0, t, limit=200)[0])


def prior_of(median_h: float, log_sd: float) -> LifePrior:
    seen = np.zeros(1, dtype=np.int64)
    return LifePrior(np.log(median_h) * ONE, log_sd * ONE, seen, seen, seen)


def changed(
    remaining: RemainingHours,
    ratio: float,
    rate: float,
    window_h: float = 1.0,
    *,
    is_watched: bool = False,
    mean_life_h: float = 1.0,
) -> BestChange:
    count = len(remaining)
    return best_change(
        remaining,
        planned_cost=np.ones(count),
        late_cost=np.full(count, ratio),
        cost_per_h=np.full(count, rate),
        window_h=np.full(count, window_h),
        is_watched=np.full(count, is_watched),
        mean_life_h=np.full(count, mean_life_h),
    )


# Age replacement


def test_age_replacement_of_the_published_weibull_example() -> None:
    """Weibull of 1000 h and shape 2.5, a late change five times as dear: 493.05 h and 0.003462 of Cp an hour."""
    found = age_replacement(hours(weibull), planned_cost=ONE, late_cost=5.0 * ONE)
    assert found.change_h[0] == pytest.approx(493.05, rel=0.002)
    assert found.cost_per_h[0] == pytest.approx(0.003462, rel=0.001)


def test_the_published_example_solves_its_own_equation() -> None:
    """So that the two numbers are not taken on trust: r(t)∫R − F = 1/4 at 493.05 h, by SciPy."""

    def excess(t: float) -> float:
        hazard = stats.weibull_min.pdf(t, 2.5, scale=1000.0) / (1.0 - weibull(t))
        return float(hazard * expected_h(weibull, t) - weibull(t) - 0.25)

    best_h = optimize.brentq(excess, 100.0, 2000.0)
    assert best_h == pytest.approx(493.05, abs=0.01)
    hazard = stats.weibull_min.pdf(best_h, 2.5, scale=1000.0) / (1.0 - weibull(best_h))
    assert 4.0 * hazard == pytest.approx(0.003462, abs=1e-6)


@pytest.mark.parametrize(("log_sd", "ratio"), [(0.15, 3.0), (0.3, 4.0), (0.3, 20.0), (0.5, 10.0)])
def test_age_replacement_of_a_log_normal_life_is_what_a_minimiser_finds(log_sd: float, ratio: float) -> None:
    cdf = lognormal(1000.0, log_sd)

    def rate(t: float) -> float:
        return (1.0 + (ratio - 1.0) * cdf(t)) / expected_h(cdf, t)

    best = optimize.minimize_scalar(rate, bounds=(50.0, 1500.0), method="bounded")
    found = age_replacement(hours(cdf), planned_cost=ONE, late_cost=ratio * ONE)
    assert found.cost_per_h[0] == pytest.approx(best.fun, rel=0.003)
    assert found.change_h[0] == pytest.approx(best.x, rel=0.01)


def test_what_does_not_age_is_never_changed_before_its_time() -> None:
    """A constant hazard: no age is better than none, and lateness costs Cf a mean life (Barlow & Proschan)."""
    found = age_replacement(hours(lambda t: -float(np.expm1(-t / 1000.0))), planned_cost=ONE, late_cost=5.0 * ONE)
    assert found.change_h[0] > 20_000.0
    assert found.cost_per_h[0] == pytest.approx(0.005, rel=0.002)


# What an hour costs


def test_an_element_known_by_its_age_costs_what_age_replacement_costs() -> None:
    life = prior_of(1000.0, 0.3)
    costs = {"planned_cost": 200.0 * ONE, "late_cost": 2000.0 * ONE}
    rate = cost_per_run_hour(life, **costs, is_watched=np.array([False]))
    assert rate == age_replacement(from_lognormal(life.log_median, life.log_sd), **costs).cost_per_h


def test_an_element_that_is_read_costs_a_planned_change_and_a_quarter_a_mean_life_at_most() -> None:
    """The mean of a log-normal is e^(μ + σ²/2)."""
    mean_h = float(stats.lognorm.mean(0.4, scale=1500.0))
    costs = {"planned_cost": 300.0 * ONE, "late_cost": 3000.0 * ONE, "is_watched": np.array([True])}
    assert cost_per_run_hour(prior_of(1500.0, 0.4), **costs) == pytest.approx(WATCHED_RATE * 300.0 / mean_h)


# The best change


@pytest.mark.parametrize("ratio", [3.0, 5.0, 12.0])
@pytest.mark.parametrize("run_h", [0.0, 200.0])
def test_age_replacement_seen_from_later_is_the_same_age(ratio: float, run_h: float) -> None:
    """Whoever survives to 200 h is due at the same age as when it was new."""
    rate = float(age_replacement(hours(weibull), planned_cost=ONE, late_cost=ratio * ONE).cost_per_h[0])
    age = optimize.brentq(
        lambda t: (ratio - 1.0) * stats.weibull_min.pdf(t, 2.5, scale=1000.0) - rate * (1.0 - weibull(t)), 1.0, 3000.0
    )
    survivor = hours(lambda t: (weibull(run_h + t) - weibull(run_h)) / (1.0 - weibull(run_h)))
    found = changed(survivor, ratio, rate)
    assert found.change_h[0] + run_h == pytest.approx(age, rel=0.01)
    expected_risk = (weibull(age) - weibull(run_h)) / (1.0 - weibull(run_h))
    assert found.risk[0] == pytest.approx(expected_risk, rel=0.03)


def test_an_element_beyond_its_best_age_is_changed_now() -> None:
    rate = float(age_replacement(hours(weibull), planned_cost=ONE, late_cost=5.0 * ONE).cost_per_h[0])
    survivor = hours(lambda t: (weibull(700.0 + t) - weibull(700.0)) / (1.0 - weibull(700.0)))
    found = changed(survivor, 5.0, rate)
    assert (found.change_h[0], found.risk[0]) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("median_h", "log_sd", "ratio"), [(1500.0, 0.3, 10.0), (600.0, 0.5, 15.0), (300.0, 0.2, 30.0)]
)
def test_with_looks_to_come_the_change_is_where_a_minimiser_finds_the_least_cost(
    median_h: float, log_sd: float, ratio: float
) -> None:
    """J(t) = (Cf − Cp) U(t) − g E[min(T, t)] by quadrature; whoever passes within the window is late for sure."""
    window_h, rate = 60.0, 1.25 / 2000.0
    cdf = lognormal(median_h, log_sd)

    def unforeseen(t: float) -> float:
        first = cdf(min(t, window_h))
        return first + (1.0 - FORESEEN_SHARE) * (cdf(t) - first)

    tried_h = np.geomspace(5.0, 3.0 * median_h, 600)
    excess = [(ratio - 1.0) * unforeseen(t) - rate * expected_h(cdf, t) for t in tried_h]
    found = changed(hours(cdf), ratio, rate, window_h, is_watched=True)
    assert found.change_h[0] == pytest.approx(tried_h[int(np.argmin(excess))], rel=0.02)
    assert found.risk[0] == pytest.approx(cdf(float(found.change_h[0])), rel=0.05)


def test_of_all_changes_that_cost_about_the_least_the_last_is_taken_where_more_will_be_known() -> None:
    """No more than 3 % of the mean life's hours are worth is given away for it, by quadrature."""
    window_h, rate, ratio, mean_life_h = 60.0, 1.25 / 2000.0, 12.0, 2000.0
    cdf = lognormal(700.0, 0.5)

    def excess(t: float) -> float:
        first = cdf(min(t, window_h))
        late = first + (1.0 - FORESEEN_SHARE) * (cdf(t) - first)
        return (ratio - 1.0) * late - rate * expected_h(cdf, t)

    least = min(excess(t) for t in np.geomspace(5.0, 2000.0, 300))
    found = changed(hours(cdf), ratio, rate, window_h, is_watched=True, mean_life_h=mean_life_h)
    given_away = excess(float(found.change_h[0])) - least
    assert given_away == pytest.approx(INDIFFERENT_SHARE * mean_life_h * rate, rel=0.1)
    exact = changed(hours(cdf), ratio, rate, window_h, is_watched=True)
    assert found.change_h[0] > exact.change_h[0] * 1.1
    by_age = [changed(hours(cdf), ratio, rate, mean_life_h=life_h).change_h[0] for life_h in (1.0, mean_life_h)]
    assert by_age[0] == by_age[1]


def test_an_element_that_may_be_past_its_limit_is_judged_as_if_it_were_not() -> None:
    """Whoever takes the risk holds it against that probability too: it must not be hidden in the risk."""
    sound = from_lognormal(np.log([800.0]), 0.3 * ONE)
    for is_watched in (False, True):
        one, other = (
            changed(each, 10.0, 0.0006, 60.0, is_watched=is_watched) for each in (sound, doubtful(sound, 0.3))
        )
        assert other.change_h == pytest.approx(one.change_h, rel=1e-6)
        assert other.risk == pytest.approx(one.risk, rel=1e-6)


def test_an_element_that_is_surely_past_its_limit_is_changed_now() -> None:
    past = RemainingHours(ONE, np.zeros((1, len(EDGE_H) - 1)), np.zeros(1))
    found = changed(past, 10.0, 0.001)
    assert (found.change_h[0], found.risk[0]) == (0.0, 0.0)


def test_an_element_that_outlasts_every_plan_is_never_changed() -> None:
    found = changed(from_lognormal(np.log([1e9]), 0.1 * ONE), 10.0, 1e-6)
    assert np.isposinf(found.change_h[0])
    assert found.risk[0] == 1.0


def doubtful(sound: RemainingHours, past: float) -> RemainingHours:
    """The same, if it is not past its limit already."""
    left = 1.0 - past
    return RemainingHours(past + left * sound.already_reached, left * sound.within, left * sound.never)


forecasts = st.builds(
    lambda median_h, log_sd, past: doubtful(from_lognormal(np.log([median_h]), log_sd * ONE), past),
    st.floats(5.0, 20_000.0),
    st.floats(0.05, 1.2),
    st.floats(0.0, 0.6),
)


@settings(max_examples=120, deadline=None)
@given(
    remaining=forecasts,
    ratios=st.tuples(st.floats(1.01, 200.0), st.floats(1.01, 200.0)),
    median_h=st.floats(100.0, 10_000.0),
    log_sd=st.floats(0.1, 0.9),
    window_h=st.floats(1.0, 500.0),
    is_watched=st.booleans(),
)
def test_a_dearer_late_change_is_never_later_and_never_at_a_higher_risk(
    remaining: RemainingHours,
    ratios: tuple[float, float],
    median_h: float,
    log_sd: float,
    window_h: float,
    is_watched: bool,
) -> None:
    found = []
    for ratio in sorted(ratios):
        costs = {"planned_cost": ONE, "late_cost": ratio * ONE, "is_watched": np.array([is_watched])}
        rate = cost_per_run_hour(prior_of(median_h, log_sd), **costs)
        mean_h = median_h * float(np.exp(0.5 * log_sd**2))
        found.append(changed(remaining, ratio, float(rate[0]), window_h, is_watched=is_watched, mean_life_h=mean_h))
    cheap, dear = found
    assert dear.change_h[0] <= cheap.change_h[0] * (1.0 + 1e-9)
    assert 0.0 <= dear.risk[0] <= cheap.risk[0] + 1e-12 <= 1.0 + 1e-12


@settings(max_examples=40, deadline=None)
@given(st.floats(1e-3, 1e6), st.floats(1.1, 60.0), st.booleans())
def test_only_the_ratio_of_the_costs_counts(unit: float, ratio: float, is_watched: bool) -> None:
    """Any currency will do."""
    remaining = from_lognormal(np.log([900.0]), 0.35 * ONE)
    watched = np.array([is_watched])
    found = []
    for planned in (1.0, unit):
        costs = {"planned_cost": planned * ONE, "late_cost": planned * ratio * ONE, "is_watched": watched}
        rate = cost_per_run_hour(prior_of(2000.0, 0.3), **costs)
        found.append(
            best_change(remaining, **costs, cost_per_h=rate, window_h=50.0 * ONE, mean_life_h=2000.0 * ONE).risk[0]
        )
    assert found[1] == pytest.approx(found[0], rel=1e-6)


def test_positions_are_judged_each_by_itself_however_many_there_are() -> None:
    count = 9000
    few = from_lognormal(np.log([300.0, 3000.0]), np.array([0.2, 0.5]))
    many = few.at(np.arange(count) % 2)
    alone, together = (changed(each, 8.0, 0.0008, 50.0, is_watched=True) for each in (few, many))
    assert np.array_equal(together.change_h, alone.change_h[np.arange(count) % 2])
    assert np.array_equal(together.risk, alone.risk[np.arange(count) % 2])


# The condition rule


@pytest.mark.parametrize(("median_h", "waits"), [(80.0, False), (400.0, True)])
def test_one_more_window_is_waited_only_where_its_hours_are_worth_the_risk(median_h: float, waits: bool) -> None:
    """[F(H + D) − F(H)]/(1 − F(H)) · (Cf − Cp) < g D, by SciPy's log-normal."""
    window_h, rate, ratio = 56.0, 1.25 / 1000.0, 10.0
    expected = lognormal(median_h, 0.3)(window_h) * (ratio - 1.0) < rate * window_h
    assert expected is waits
    costs = {"planned_cost": ONE, "late_cost": ratio * ONE, "cost_per_h": rate * ONE, "window_h": window_h * ONE}
    assert waiting_pays(hours(lognormal(median_h, 0.3)), **costs).tolist() == [waits]


def test_where_one_more_window_is_not_worth_it_the_best_change_comes_before_its_end() -> None:
    """The plan and the decision at a look are one rule."""
    medians = np.geomspace(20.0, 2000.0, 60)
    remaining = from_lognormal(np.log(medians), np.full(60, 0.3))
    many = np.ones(60)
    costs = {"planned_cost": many, "late_cost": 10.0 * many, "cost_per_h": 0.00125 * many, "window_h": 56.0 * many}
    waits = waiting_pays(remaining, **costs)
    found = best_change(remaining, **costs, is_watched=np.ones(60, dtype=bool), mean_life_h=many)
    assert np.any(waits)
    assert not np.all(waits)
    assert np.all(found.change_h[~waits] < 56.0 * 1.04)  # the grid of hours is 8 % wide


# Week by week


def cost_of_weekly_decisions(ratio: float, risk: float | None, lives: int = 600) -> float:
    """Costs per run hour in planned changes, of lives log-normal about 1000 h of which each week tells a little more.

    Each week's reading is ln life with an error of 0.6; what is known then is exact by Bayes' rule. An element is
    changed when it falls due within the week: at the risk from the costs, or at `risk`.
    """
    chance = np.random.default_rng(4)
    life_h, week_h = np.exp(np.log(1000.0) + 0.35 * chance.normal(size=lives)), 56.0
    running, precision, log_median = np.arange(lives), 0.35**-2, np.full(lives, np.log(1000.0))
    run_h = cost = hours_run = 0.0
    while len(running):
        run_h += week_h
        late = life_h[running] <= run_h
        cost, hours_run = cost + ratio * float(late.sum()), hours_run + float(life_h[running[late]].sum())
        running = running[~late]
        told = np.log(life_h[running]) + 0.6 * chance.normal(size=len(running))
        log_median[running] = (precision * log_median[running] + told / 0.36) / (precision + 1.0 / 0.36)
        precision += 1.0 / 0.36
        remaining = from_lognormal(log_median[running], np.full(len(running), precision**-0.5), run_h)
        level = changed(remaining, ratio, 0.00125, week_h, is_watched=True, mean_life_h=1000.0).risk
        is_due = remaining.quantile(np.clip(level, 0.001, 0.5) if risk is None else risk) < week_h
        cost, hours_run = cost + float(is_due.sum()), hours_run + run_h * float(is_due.sum())
        running = running[~is_due]
    return cost / hours_run


@pytest.mark.parametrize("ratio", [4.0, 10.0, 30.0])
def test_weekly_decisions_at_the_risk_from_the_costs_cost_much_less_than_the_best_fixed_age(ratio: float) -> None:
    by_age = age_replacement(from_lognormal(np.log([1000.0]), 0.35 * ONE), planned_cost=ONE, late_cost=ratio * ONE)
    assert cost_of_weekly_decisions(ratio, None) < 0.75 * float(by_age.cost_per_h[0])


@pytest.mark.parametrize("ratio", [4.0, 10.0, 30.0])
def test_weekly_decisions_at_the_risk_from_the_costs_cost_less_than_at_one_risk_for_all(ratio: float) -> None:
    from_costs = cost_of_weekly_decisions(ratio, None)
    assert from_costs < cost_of_weekly_decisions(ratio, 0.1)
    assert from_costs < 1.1 * min(cost_of_weekly_decisions(ratio, risk) for risk in (0.1, 0.03, 0.01, 0.003))


# What is refused


def test_costs_and_windows_that_cannot_be_are_refused_with_their_value() -> None:
    remaining = from_lognormal(np.log([500.0]), 0.3 * ONE)
    with pytest.raises(ValueError, match=r"planned cost of 0\.0 is not above 0"):
        age_replacement(remaining, planned_cost=0.0 * ONE, late_cost=ONE)
    with pytest.raises(ValueError, match=r"late cost 2\.0 is not finite and above the planned cost 2\.0"):
        age_replacement(remaining, planned_cost=2.0 * ONE, late_cost=2.0 * ONE)
    with pytest.raises(ValueError, match="late cost inf is not finite"):
        changed(remaining, np.inf, 0.001)
    with pytest.raises(ValueError, match="late cost nan is not finite"):
        changed(remaining, np.nan, 0.001)
    with pytest.raises(ValueError, match=r"cost per run hour of 0\.0 is not above 0"):
        changed(remaining, 5.0, 0.0)
    with pytest.raises(ValueError, match=r"window to the next look, hours, of -1\.0 is not above 0"):
        changed(remaining, 5.0, 0.001, window_h=-1.0)
