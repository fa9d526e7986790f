"""A Beta map found from ends that are known, half known or only known not to have come, and what it does."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import optimize, stats

from scheduler.statistics import beta_map
from scheduler.statistics.beta_map import (
    CELL_EDGE,
    CELLS,
    WORTH_LIVES,
    SeenShares,
    cut_short,
    fitted_map,
    forecast_level,
    like_of_end,
    recalibrated,
    shares_seen,
)
from scheduler.statistics.remaining_hours import RemainingHours, from_lognormal

Floats = npt.NDArray[np.float64]


def exactly(u: Floats) -> Floats:
    like = np.zeros((len(u), CELLS))
    like[np.arange(len(u)), np.minimum((u * CELLS).astype(np.int64), CELLS - 1)] = 1.0
    return like


def at_least(u: Floats) -> Floats:
    return cut_short(np.zeros((len(u), CELLS)), u, np.zeros(len(u)))


def lives(*like: Floats) -> SeenShares:
    every = np.concatenate(like)
    return SeenShares(every, np.ones(len(every)))


def drawn(a: float, b: float, count: int, seed: int = 5) -> Floats:
    return np.random.default_rng(seed).beta(a, b, count)


@pytest.mark.parametrize(("a", "b"), [(0.6, 0.6), (1.8, 1.8), (1.0, 1.6), (1.7, 0.9)])
def test_without_a_prior_it_is_the_maximum_of_the_beta_likelihood(
    a: float, b: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reference: scipy.stats.beta.fit of the same u."""
    monkeypatch.setattr(beta_map, "WORTH_LIVES", 0.0)
    u = drawn(a, b, 2000)
    expected = stats.beta.fit(u, floc=0.0, fscale=1.0)[:2]
    assert fitted_map(lives(exactly(u))) == pytest.approx(expected, rel=0.02)


def test_lives_cut_short_enter_the_likelihood_as_censored(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reference: scipy.stats.beta.fit of right-censored data."""
    monkeypatch.setattr(beta_map, "WORTH_LIVES", 0.0)
    u, cut = drawn(1.3, 1.8, 3000), np.random.default_rng(6).uniform(0.0, 1.0, 3000)
    ended = u < cut
    data = stats.CensoredData(uncensored=u[ended], right=cut[~ended])
    expected = stats.beta.fit(data, floc=0.0, fscale=1.0)[:2]
    assert fitted_map(lives(exactly(u[ended]), at_least(cut[~ended]))) == pytest.approx(expected, rel=0.03)


def test_the_prior_weighs_as_so_many_lives_that_came_out_evenly() -> None:
    """Reference: SciPy's Beta density, the even lives by the midpoint rule, and a simplex search."""
    u = drawn(2.5, 1.2, 40)

    def miss(log_ab: Floats) -> float:
        density = stats.beta(*np.exp(log_ab)).logpdf
        return -float(density(u).sum() + WORTH_LIVES * np.mean(density((np.arange(20_000) + 0.5) / 20_000)))

    expected = np.exp(optimize.minimize(miss, np.zeros(2), method="Nelder-Mead").x)
    assert fitted_map(lives(exactly(u))) == pytest.approx(expected, rel=0.02)


def test_nothing_seen_changes_nothing() -> None:
    assert fitted_map(lives(np.zeros((0, CELLS)))) == (1.0, 1.0)
    assert fitted_map(lives(np.zeros((3, CELLS)))) == (1.0, 1.0)
    assert np.all(np.isnan(shares_seen(lives(np.zeros((0, CELLS))))))


@pytest.mark.parametrize("u", [0.02, 0.5, 0.98])
def test_few_lives_change_next_to_nothing(u: float) -> None:
    a, b = fitted_map(lives(exactly(np.array([u, u]))))
    for level in (0.1, 0.5, 0.9):
        assert abs(forecast_level(level, a**0.5, b**0.5) - level) < 0.06


def test_lives_cut_short_that_came_out_as_forecast_do_not_pull() -> None:
    """However early they are cut, they say nothing against u being even."""
    u, cut = drawn(1.0, 1.0, 4000), drawn(1.0, 2.0, 4000, seed=9)
    ended = u < cut
    seen = lives(exactly(u[ended]), at_least(cut[~ended]))
    assert fitted_map(seen) == pytest.approx((1.0, 1.0), abs=0.08)
    assert fitted_map(lives(at_least(np.zeros(500)))) == pytest.approx((1.0, 1.0), abs=1e-3)


def test_an_end_that_is_hardly_known_says_hardly_anything() -> None:
    """Its own forecast, taken for what is known of the end, is no evidence about the forecast."""
    remaining = from_lognormal(np.full(50, np.log(1000.0)), np.full(50, 0.3), 10.0)
    like = like_of_end(remaining, np.full(50, 10.0), np.full(50, np.log(1000.0)), np.full(50, 0.3))
    assert like.sum(axis=1) == pytest.approx(1.0)
    assert like == pytest.approx(1.0 / CELLS, rel=0.1)
    a, b = fitted_map(lives(like))
    assert (a, b) == pytest.approx((1.0, 1.0), abs=0.05)


def test_a_known_end_lies_in_the_cell_of_its_probability() -> None:
    ends_h = np.array([400.0, 900.0, 1500.0])
    remaining = from_lognormal(np.full(3, np.log(1000.0)), np.full(3, 0.4), 200.0)
    like = like_of_end(remaining, np.full(3, 200.0), np.log(ends_h), np.full(3, 1e-6))
    expected = (remaining.cdf_at(ends_h - 200.0) * CELLS).astype(np.int64)
    assert like.argmax(axis=1).tolist() == expected.tolist()
    assert like.max(axis=1) == pytest.approx(1.0)


def test_an_end_before_it_was_asked_lies_in_what_was_told_to_be_past() -> None:
    within = np.zeros((1, 160))
    within[0, 80] = 0.6
    remaining = RemainingHours(np.array([0.4]), within, np.zeros(1))
    like = like_of_end(remaining, np.array([1000.0]), np.log([800.0]), np.array([0.01]))
    assert like[0, :20] == pytest.approx(1.0 / 20.0)
    assert like[0, 20:] == pytest.approx(0.0)


def test_a_life_cut_short_that_may_have_been_past_is_shared_out() -> None:
    like = cut_short(exactly(np.array([0.11])), np.array([0.5]), np.array([0.3]))
    assert like[0, 5] == pytest.approx(0.3)
    assert like[0, CELLS // 2 :] == pytest.approx(0.7 / (CELLS // 2))


def test_the_shares_of_ends_are_the_product_limit_estimate() -> None:
    """Reference: SciPy's Kaplan–Meier; exact ends in the middle of cells, cuts between them."""
    rng = np.random.default_rng(11)
    u, cut = rng.uniform(0.0, 1.0, 300), rng.uniform(0.2, 1.3, 300)
    middle = (np.floor(u * CELLS) + 0.5) / CELLS
    between = np.floor(np.minimum(cut, 0.96) * CELLS) / CELLS
    ended = middle < between
    data = stats.CensoredData(uncensored=middle[ended], right=between[~ended])
    found = np.cumsum(shares_seen(lives(exactly(middle[ended]), at_least(between[~ended]))))
    upto = CELL_EDGE[1:] <= between[~ended].max()
    assert found[upto] == pytest.approx(stats.ecdf(data).cdf.evaluate(CELL_EDGE[1:][upto]), abs=0.005)


@pytest.mark.parametrize(("a", "b"), [(0.55, 0.55), (1.8, 1.8), (0.55, 1.8), (1.8, 0.55)])
def test_a_map_is_monotone_keeps_nothing_and_all_and_moves_the_quantiles(a: float, b: float) -> None:
    remaining = from_lognormal(np.log([40.0, 1000.0, 50_000.0]), np.array([0.5, 0.3, 1.0]), 30.0)
    mapped = recalibrated(remaining, np.full(3, a), np.full(3, b))
    before, after = remaining.cumulative(), mapped.cumulative()
    assert np.all(np.isfinite(after))
    assert np.all(np.diff(after, axis=1) >= 0.0)
    assert after == pytest.approx(stats.beta(a, b).cdf(np.clip(before, 0.0, 1.0)), abs=2e-3)
    assert np.all(after[before == 0.0] == 0.0)
    for level in (0.1, 0.5, 0.9):
        expected_h = remaining.quantile(forecast_level(level, a, b))
        assert mapped.quantile(level)[1] == pytest.approx(expected_h[1], rel=0.03)


@pytest.mark.parametrize(("a", "b"), [(0.55, 0.55), (1.8, 0.55), (3.0, 7.0)])
def test_the_level_to_ask_the_forecast_for_is_the_root_of_scipys_beta(a: float, b: float) -> None:
    for level in (0.001, 0.1, 0.5, 0.9, 0.999):
        root = optimize.brentq(lambda u, at=level: stats.beta.cdf(u, a, b) - at, 0.0, 1.0, xtol=1e-15)
        assert forecast_level(level, a, b) == pytest.approx(root, rel=1e-9)


def test_each_position_has_its_own_map_and_one_and_one_is_none() -> None:
    remaining = from_lognormal(np.log([500.0, 500.0, 500.0]), np.full(3, 0.4))
    mapped = recalibrated(remaining, np.array([1.0, 2.0, 0.5]), np.array([1.0, 2.0, 0.5]))
    assert mapped.within[0].tolist() == remaining.within[0].tolist()
    width = np.log(mapped.quantile(0.9) / mapped.quantile(0.1))
    assert width[1] < width[0] < width[2]
    assert mapped.quantile(0.5) == pytest.approx(remaining.quantile(0.5), rel=0.02)


def test_a_map_that_is_none_is_refused() -> None:
    remaining = from_lognormal(np.log([500.0]), np.array([0.4]))
    with pytest.raises(ValueError, match=r"a 0\.0 or b 1\.0 is not above 0"):
        recalibrated(remaining, np.array([0.0]), np.array([1.0]))
    with pytest.raises(ValueError, match="is not above 0"):
        recalibrated(remaining, np.array([np.nan]), np.array([1.0]))
