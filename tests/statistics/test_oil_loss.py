"""Oil lost between top-ups: against brute force over every case with SciPy's densities, and drawn systems."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.oil_loss import (
    BY_CHANCE,
    CHANGES_EVERY_D,
    FEWEST_AFTER,
    FEWEST_BEFORE,
    FEWEST_TOP_UPS,
    LEAST_RISE,
    MOST_GAPS,
    PRIOR_SHAPE,
    RATIOS,
    REGULARITY,
    OilLoss,
    oil_loss,
)
from tests.measure.oil_loss import HABITS, false_alarms, power


def loss(gap_d: list[float], volume_L: list[float] | float = 10.0, open_d: float = 0.0) -> OilLoss:
    day = np.cumsum(gap_d)
    litres = np.full(len(day), volume_L) if isinstance(volume_L, float) else np.array(volume_L)
    return oil_loss(day, litres, from_day=0.0, to_day=float(day[-1]) + open_d)


def density(seen: np.ndarray, by: np.ndarray, regularity: float, rate: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Of each rate of a grid: the product of SciPy's Gamma densities, shape κ by, scale 1/(κ rate times)."""
    kappa = regularity / by.mean()
    scale = 1.0 / (kappa * rate[:, None] * times)
    return np.asarray(stats.gamma.pdf(seen, kappa * by, scale=scale).prod(axis=1))


def by_brute_force(gap_d: np.ndarray, volume_L: np.ndarray, open_d: float) -> float:
    """P(risen): every habit, regularity, gap and ratio one after the other, the rate before by the trapezoidal rule
    on a wide logarithmic grid."""
    n, grid = len(gap_d), np.exp(np.linspace(-16.0, 5.0, 600))

    def over_rates(values: np.ndarray, mean: float) -> float:
        prior = stats.gamma.pdf(grid, PRIOR_SHAPE, scale=mean / PRIOR_SHAPE)
        return float(np.trapezoid(values * prior * grid, np.log(grid)))

    def as_it_comes(seen: np.ndarray) -> float:
        one = np.full(n, seen.mean())
        return float(np.mean([over_rates(density(seen, one, s, grid, np.ones(n)), 1.0) for s in REGULARITY]))

    usual_L = np.full(n, volume_L.mean())
    habits = (
        *((gap_d, volume_L, s, 1.0, as_it_comes(volume_L) / len(REGULARITY)) for s in REGULARITY),
        *((gap_d, usual_L, s, 1.0, as_it_comes(volume_L) / len(BY_CHANCE)) for s in BY_CHANCE),
        *((volume_L, gap_d, s, -1.0, as_it_comes(gap_d) / len(REGULARITY)) for s in REGULARITY),
    )
    stays = np.exp(-gap_d[1:].sum() / CHANGES_EVERY_D)
    everything = risen = 0.0
    for (seen, by, s, power_of, other), j, ratio in product(habits, range(n), RATIOS):
        if (j == 0) != (abs(ratio - 1.0) < 1e-9):
            continue
        prior = stays if j == 0 else (1.0 - stays) * gap_d[j] / gap_d[1:].sum() / (len(RATIOS) - 1)
        times = np.where(np.arange(n) < j, 1.0, ratio**power_of)
        values = density(seen, by, s, grid, times) * other
        if power_of > 0.0:
            values = values * stats.gamma.sf(open_d, s, scale=by.mean() / (s * grid * ratio))
        weight = prior * over_rates(values, by.sum() / seen.sum())
        everything += weight
        risen += weight if ratio >= LEAST_RISE and FEWEST_BEFORE <= j <= n - FEWEST_AFTER else 0.0
    return risen / everything


@pytest.mark.parametrize(
    ("gap_d", "volume_L", "open_d"),
    [
        ([40.0, 45.0, 38.0, 44.0, 9.0, 8.0], [10.0, 11.0, 10.0, 9.0, 10.0, 11.0], 12.0),
        ([14.0, 14.0, 14.0, 15.0, 14.0], [4.0, 4.2, 3.9, 15.0, 14.0], 0.0),
    ],
)
def test_the_finite_sum_is_that_of_brute_force(gap_d: list[float], volume_L: list[float], open_d: float) -> None:
    risen = by_brute_force(np.array(gap_d), np.array(volume_L), open_d)
    assert 0.02 < risen < 0.98  # or nothing would be compared
    assert loss(gap_d, volume_L, open_d).risen == pytest.approx(risen, rel=2e-3)


def test_the_loss_of_steady_top_ups_is_their_litres_over_their_days() -> None:
    now = loss([30.0, 28.0, 33.0, 30.0, 29.0, 31.0]).now
    assert now is not None
    assert now.mid_L_per_week == pytest.approx(60.0 / 181.0 * 7.0, rel=0.03)  # arithmetic
    assert now.low_L_per_week < now.mid_L_per_week < now.high_L_per_week


def test_litres_decide_and_not_how_often_they_are_poured() -> None:
    many, few = loss([5.0] * 20, 1.0).now, loss([20.0] * 5, 4.0).now
    assert many is not None
    assert few is not None
    assert many.mid_L_per_week == pytest.approx(1.4, rel=0.05)  # 1 L in 5 days
    assert few.mid_L_per_week == pytest.approx(1.4, rel=0.05)


def test_a_loss_that_trebles_is_told_with_its_first_day_and_both_rates() -> None:
    found = loss([30.0, 28.0, 33.0, 30.0, 29.0, 31.0, 30.0, 10.0, 9.0, 11.0, 10.0, 10.0, 10.0])
    assert found.is_finding
    assert found.rise is not None
    assert 205.0 <= found.rise.since_day <= 225.0  # the last slow gap ended on day 211
    assert found.rise.before.mid_L_per_week == pytest.approx(70.0 / 211.0 * 7.0, rel=0.05)
    assert found.rise.after.mid_L_per_week == pytest.approx(7.0, rel=0.1)


def test_fuller_pours_on_the_same_rounds_are_a_rise_too() -> None:
    found = loss([14.0] * 14, [4.0] * 8 + [12.0] * 6)
    assert found.is_finding
    assert found.rise is not None
    assert abs(found.rise.since_day - 8 * 14.0) <= 14.0


def test_a_loss_that_falls_is_no_finding() -> None:
    assert loss([10.0] * 8 + [30.0] * 6).risen < 0.01


def test_one_quick_top_up_is_not_yet_a_leak() -> None:
    assert not loss([30.0] * 8 + [8.0]).is_finding


def test_a_leak_after_which_nothing_was_poured_for_long_is_doubted() -> None:
    pours = [30.0] * 8 + [10.0] * 3
    assert loss(pours, open_d=60.0).risen < loss(pours).risen


def test_a_refill_after_a_drain_is_no_loss_and_starts_the_clock_anew() -> None:
    day = [30.0, 60.0, 90.0, 105.0, 135.0, 165.0]
    litres = [10.0, 10.0, 10.0, 180.0, 10.0, 10.0]
    told = oil_loss(day, litres, from_day=0.0, to_day=165.0, full_day=[105.0])
    assert told.now is not None
    assert told.top_ups == 5  # the refill is none
    assert told.watched_d == 150.0  # days 90 to 105 tell nothing
    assert told.now.mid_L_per_week == pytest.approx(7.0 / 3.0, rel=0.03)
    untold = oil_loss(day, litres, from_day=0.0, to_day=165.0)
    assert untold.now is not None
    assert untold.now.high_L_per_week > 2.0 * told.now.high_L_per_week


def test_a_top_up_in_two_goes_is_one() -> None:
    two = oil_loss([30.1, 30.7, 60.0, 90.0], [6.0, 4.0, 10.0, 10.0], from_day=0.3, to_day=90.0)
    one = oil_loss([30.1, 60.0, 90.0], [10.0, 10.0, 10.0], from_day=0.3, to_day=90.0)
    assert two == one


@pytest.mark.parametrize(("day", "to_day"), [([], 400.0), ([30.0, 60.0], 400.0), ([2.0, 4.0, 6.0], 6.0)])
def test_with_little_seen_the_loss_is_not_known(day: list[float], to_day: float) -> None:
    found = oil_loss(day, [10.0] * len(day), from_day=0.0, to_day=to_day)
    assert (found.now, found.risen, found.rise) == (None, 0.0, None)
    assert FEWEST_TOP_UPS == 3


def test_only_the_newest_of_very_many_top_ups_are_looked_at() -> None:
    assert loss([7.0] * 100).top_ups == MOST_GAPS


@settings(deadline=None, max_examples=30)
@given(
    st.lists(st.tuples(st.floats(1.5, 200.0), st.floats(0.1, 100.0)), min_size=3, max_size=25),
    st.floats(0.0, 300.0),
    st.floats(0.1, 10.0),
)
def test_probabilities_and_bands_are_what_they_are_called_and_units_do_not_matter(
    gaps: list[tuple[float, float]], open_d: float, scale: float
) -> None:
    gap_d, volume_L = [gap for gap, _ in gaps], [litres for _, litres in gaps]
    found = loss(gap_d, volume_L, open_d)
    if found.now is None:
        assert found.watched_d < 28.0
        return
    assert 0.0 <= found.risen <= 1.0
    assert 0.0 < found.now.low_L_per_week <= found.now.mid_L_per_week <= found.now.high_L_per_week
    scaled = loss(gap_d, [scale * litres for litres in volume_L], open_d)
    assert scaled.now is not None
    assert scaled.risen == pytest.approx(found.risen, abs=1e-5)
    assert scaled.now.mid_L_per_week == pytest.approx(scale * found.now.mid_L_per_week, rel=5e-3)


@pytest.mark.parametrize(
    ("day", "volume_L", "says"),
    [
        ([5.0], [0.0], r"0\.0 L"),
        ([5.0], [np.nan], "nan L"),
        ([50.0], [1.0], "outside the days watched"),
        ([5.0], [1.0, 2.0], "1 days and 2 volumes"),
    ],
)
def test_what_cannot_be_is_refused(day: list[float], volume_L: list[float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        oil_loss(day, volume_L, from_day=0.0, to_day=10.0)
    with pytest.raises(ValueError, match="before it"):
        oil_loss([], [], from_day=10.0, to_day=0.0)


def test_a_constant_loss_seldom_raises_an_alarm_and_a_threefold_one_is_seen() -> None:
    """The short form of tests/measure/oil_loss.py, at another seed: fewer systems, so looser limits."""
    rng = np.random.default_rng(7)
    alarms, _ = false_alarms(rng, HABITS["at the mark"], 12, 8)
    assert alarms["finding"] <= 0.06
    seen = power(rng, HABITS["at the mark"], 12, 8, 20)
    assert seen.by[6, "finding"] >= 0.45
    assert seen.by[10, "finding"] >= 0.8
    assert seen.off_intervals <= 1.0
