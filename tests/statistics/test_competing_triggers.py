import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.statistics.competing_triggers import NOTHING, Fused, fuse

DAYS = np.arange(0.0, 401.0)
RATES_PER_DAY = np.array([0.004, 0.001])
NO_STEPS = np.zeros((0, 1))


def exponential(*rates_per_day: float) -> np.ndarray:
    return np.asarray(-np.expm1(-np.array(rates_per_day)[:, None, None] * DAYS))


def fused(causes: np.ndarray, *steps: float, risk: float = 0.1) -> Fused:
    return fuse(DAYS, causes, np.array(steps).reshape(-1, 1), np.array([risk]))


def test_two_exponential_causes_come_due_and_share_by_their_rates() -> None:
    found = fused(exponential(0.004, 0.001), risk=0.1)
    # independent exponentials: the first of them has the summed rate, each is first by its share of it
    assert found.due_day[0] == pytest.approx(-np.log(0.9) / 0.005, abs=0.01)
    assert found.median_day[0] == pytest.approx(np.log(2.0) / 0.005, abs=0.01)
    assert found.share[:, 0] == pytest.approx([0.08, 0.02])
    assert (found.binding[0], found.runner_up[0]) == (0, 1)
    assert found.day_without_binding[0] == pytest.approx(-np.log(0.9) / 0.001, abs=0.01)


def test_the_first_of_all_falls_where_drawn_lives_fall() -> None:
    rng = np.random.default_rng(1)
    wear, damage = 120.0 * rng.weibull(3.0, 400_000), 500.0 * rng.weibull(1.0, 400_000)
    first = np.minimum(np.minimum(wear, damage), 110.0)
    cdf = np.stack([-np.expm1(-((DAYS / 120.0) ** 3)), -np.expm1(-DAYS / 500.0)])[:, None, :]
    found = fused(cdf, 110.0, risk=0.3)
    drawn = np.quantile(first, [0.1, 0.3, 0.5, 0.9])
    ours = [found.early_day[0], found.due_day[0], found.median_day[0], found.late_day[0]]
    assert ours == pytest.approx(drawn, abs=0.5)
    by_due = first <= found.due_day[0]
    assert found.share[0, 0] == pytest.approx(np.mean(by_due & (wear < damage)), abs=0.005)
    assert found.share[1, 0] == pytest.approx(np.mean(by_due & (damage < wear)), abs=0.005)


def test_a_hard_limit_that_comes_first_binds() -> None:
    found = fused(exponential(0.001), np.inf, 40.0, risk=0.1)
    assert (found.due_day[0], found.binding[0], found.runner_up[0]) == (40.0, 2, 0)
    assert found.early_day[0] == found.median_day[0] == found.late_day[0] == 40.0
    assert found.share[:, 0] == pytest.approx([1 - np.exp(-0.04), 0.0, np.exp(-0.04)])


def test_a_hard_limit_after_the_risk_day_cuts_the_late_bound_only() -> None:
    found = fused(exponential(0.005), 100.0, risk=0.1)
    assert found.due_day[0] == pytest.approx(-np.log(0.9) / 0.005, abs=0.01)
    assert (found.binding[0], found.late_day[0]) == (0, 100.0)
    assert (found.runner_up[0], found.day_without_binding[0]) == (1, 100.0)


def test_a_passed_hard_limit_keeps_its_past_day() -> None:
    found = fused(exponential(0.001), -12.5)
    assert (found.due_day[0], found.median_day[0], found.binding[0]) == (-12.5, -12.5, 1)
    assert found.share[:, 0].tolist() == [0.0, 1.0]


def test_a_condition_that_is_already_past_its_limit_is_due_today() -> None:
    found = fused(np.full((1, 1, len(DAYS)), 0.7), 90.0)
    assert (found.due_day[0], found.median_day[0], found.late_day[0]) == (0.0, 0.0, 90.0)
    assert found.binding[0] == 0
    assert found.share[:, 0] == pytest.approx([0.7, 0.0])


def test_a_certain_end_does_not_break_the_shares() -> None:
    found = fused(np.stack([np.ones((1, len(DAYS))), exponential(0.01)[0]]))
    assert found.due_day[0] == 0.0
    assert found.share[:, 0] == pytest.approx([1.0, 0.0])


def test_where_nothing_comes_within_the_grid_there_is_no_day() -> None:
    found = fused(np.zeros((2, 1, len(DAYS))), np.inf)
    assert found.due_day[0] == found.median_day[0] == found.day_without_binding[0] == np.inf
    assert found.binding[0] == found.runner_up[0] == NOTHING
    assert found.share.sum() == 0.0


def test_hours_alone_need_no_soft_cause() -> None:
    found = fused(np.zeros((0, 1, len(DAYS))), 30.0)
    assert (found.due_day[0], found.binding[0]) == (30.0, 0)
    assert (found.runner_up[0], found.day_without_binding[0]) == (NOTHING, np.inf)


def test_input_that_cannot_be_is_refused() -> None:
    risk = np.array([0.1])
    with pytest.raises(ValueError, match="outside 0 to 1"):
        fuse(DAYS, exponential(0.1), NO_STEPS, np.array([0.0]))
    with pytest.raises(ValueError, match="falls with time"):
        fuse(DAYS, exponential(0.1)[:, :, ::-1], NO_STEPS, risk)
    with pytest.raises(ValueError, match="rise from 0"):
        fuse(DAYS + 1.0, exponential(0.1), NO_STEPS, risk)
    with pytest.raises(ValueError, match="not a number"):
        fuse(DAYS, exponential(0.1), np.array([[np.nan]]), risk)
    with pytest.raises(ValueError, match="causes"):
        fuse(DAYS[:9], exponential(0.1), NO_STEPS, risk)


@st.composite
def plants(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, float]:
    count = draw(st.integers(1, 4))
    scale = draw(st.lists(st.floats(5.0, 2000.0), min_size=count, max_size=count))
    shape = draw(st.lists(st.floats(0.5, 6.0), min_size=count, max_size=count))
    start = draw(st.lists(st.floats(0.0, 0.4), min_size=count, max_size=count))
    rows = [a + (1 - a) * -np.expm1(-((DAYS / s) ** k)) for s, k, a in zip(scale, shape, start, strict=True)]
    steps = draw(st.lists(st.one_of(st.floats(-50.0, 500.0), st.just(np.inf)), min_size=1, max_size=3))
    return np.array(rows)[:, None, :], np.array(steps)[:, None], draw(st.floats(0.01, 0.9))


@settings(max_examples=150, deadline=None)
@given(plants())
def test_one_trigger_more_never_makes_it_later(plant: tuple[np.ndarray, np.ndarray, float]) -> None:
    causes, steps, risk = plant
    every = fuse(DAYS, causes, steps, np.array([risk]))
    fewer_causes = fuse(DAYS, causes[1:], steps, np.array([risk]))
    fewer_steps = fuse(DAYS, causes, steps[1:], np.array([risk]))
    for fewer in (fewer_causes, fewer_steps):
        assert every.due_day[0] <= fewer.due_day[0] + 1e-6
        assert every.median_day[0] <= fewer.median_day[0] + 1e-6
    assert every.due_day[0] <= every.day_without_binding[0] + 1e-6


@settings(max_examples=150, deadline=None)
@given(plants(), st.floats(0.2, 1.0))
def test_a_worse_condition_is_never_due_later(plant: tuple[np.ndarray, np.ndarray, float], power: float) -> None:
    causes, steps, risk = plant
    worse = causes.copy()
    worse[0] = 1.0 - (1.0 - worse[0]) ** (1.0 / power)  # more probably ended by every day
    before, after = (fuse(DAYS, rows, steps, np.array([risk])) for rows in (causes, worse))
    assert after.due_day[0] <= before.due_day[0] + 1e-6
    assert after.median_day[0] <= before.median_day[0] + 1e-6


@settings(max_examples=150, deadline=None)
@given(plants(), st.floats(0.01, 0.9))
def test_a_higher_accepted_risk_is_never_due_earlier(
    plant: tuple[np.ndarray, np.ndarray, float], other: float
) -> None:
    causes, steps, risk = plant
    low, high = (fuse(DAYS, causes, steps, np.array([level])) for level in sorted((risk, other)))
    assert low.due_day[0] <= high.due_day[0]


@settings(max_examples=150, deadline=None)
@given(plants())
def test_the_shares_sum_to_what_is_reached_by_the_due_day(
    plant: tuple[np.ndarray, np.ndarray, float],
) -> None:
    causes, steps, risk = plant
    found = fuse(DAYS, causes, steps, np.array([risk]))
    assert found.early_day[0] <= found.median_day[0] <= found.late_day[0]
    if not np.isfinite(found.due_day[0]):
        return
    survival = np.prod(1.0 - causes[:, 0, :], axis=0)
    reached = 1.0 - np.interp(found.due_day[0], DAYS, survival) if found.due_day[0] >= 0.0 else 0.0
    if found.due_day[0] >= steps.min():
        reached = 1.0
    assert found.share[:, 0].sum() == pytest.approx(reached, abs=1e-6)
    assert np.all(found.share >= 0.0)
    assert found.share[found.binding[0], 0] > 0.0 or found.binding[0] >= len(causes)
