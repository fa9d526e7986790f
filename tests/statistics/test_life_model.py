import numpy as np
import pytest
from scipy import integrate, stats

from scheduler.statistics.life_left import UNSEEN_PAST_LOG, remaining_life
from scheduler.statistics.life_model import LONGEST_BELIEVED, LifePrior, LifeSpread, pooled_life_prior
from scheduler.statistics.remaining_hours import from_lognormal


def one_position(
    life_h: list[float] | np.ndarray, at_limit: list[bool] | np.ndarray, guess_h: float = 2000.0, **more: float
) -> LifePrior:
    """The prior of position 0 of type 0 from its own lives."""
    here = np.zeros(len(life_h), dtype=np.int64)
    return pooled_life_prior(
        np.asarray(life_h, dtype=np.float64),
        np.asarray(at_limit, dtype=np.bool_),
        here,
        here,
        for_type=np.array([0]),
        for_position=np.array([0]),
        first_guess_h=guess_h,
        first_guess_log_sd=more.get("guess_log_sd", 0.8),
    )


def test_lives_cut_short_are_weighed_as_in_the_censored_maximum_likelihood() -> None:
    rng = np.random.default_rng(11)
    life, cut = rng.normal(7.0, 0.4, 500), rng.normal(7.0, 0.5, 500)
    at_limit = life < cut
    seen = np.minimum(life, cut)
    # scipy.stats: norm.fit on CensoredData, the maximum of the censored normal likelihood
    expected_mean, expected_sd = stats.norm.fit(stats.CensoredData(uncensored=seen[at_limit], right=seen[~at_limit]))
    found = one_position(np.exp(seen), at_limit, guess_log_sd=5.0)
    assert found.log_median[0] == pytest.approx(expected_mean, abs=0.005)
    assert found.within_log_sd == pytest.approx(expected_sd, rel=0.01)
    assert found.lives_seen[0] == 500
    assert found.at_limit_seen[0] == np.count_nonzero(at_limit)


def test_position_and_type_share_the_evidence_as_dense_gaussian_conditioning_says() -> None:
    rng = np.random.default_rng(2)
    life_position = np.repeat([0, 1, 2, 3], [5, 1, 2, 0])
    log_life = rng.normal(7.2, 0.4, len(life_position))
    found = pooled_life_prior(
        np.exp(log_life),
        np.ones(len(log_life), dtype=np.bool_),
        np.zeros(len(log_life), dtype=np.int64),
        life_position,
        for_type=np.zeros(4, dtype=np.int64),
        for_position=np.arange(4),
        first_guess_h=1000.0,
        first_guess_log_sd=0.7,
        spread=LifeSpread(within_log_sd=0.3, between_log_sd=0.4, worth_lives=1e12),
    )

    def covariance(rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
        return np.asarray(0.7**2 + 0.4**2 * (rows[:, None] == columns[None, :]))

    seen = np.linalg.inv(covariance(life_position, life_position) + 0.3**2 * np.eye(len(log_life)))
    gain = covariance(np.arange(4), life_position) @ seen
    mean = np.log(1000.0) + gain @ (log_life - np.log(1000.0))
    var = np.diag(covariance(np.arange(4), np.arange(4)) - gain @ covariance(life_position, np.arange(4)))
    assert found.log_median == pytest.approx(mean, abs=1e-6)
    assert found.log_sd == pytest.approx(np.sqrt(var + 0.3**2), rel=1e-6)


def test_with_no_lives_the_first_guess_comes_out_wide() -> None:
    found = one_position([], [], guess_h=1200.0, guess_log_sd=0.8)
    spread = LifeSpread()
    assert np.exp(found.log_median[0]) == pytest.approx(1200.0)
    assert found.log_sd[0] == pytest.approx(np.sqrt(0.8**2 + spread.between_log_sd**2 + spread.within_log_sd**2))
    assert found.lives_seen[0] == 0


def test_a_planned_early_change_is_not_a_failure() -> None:
    early = one_position([800.0] * 6, [False] * 6)
    failed = one_position([800.0] * 6, [True] * 6)
    assert failed.log_median[0] < np.log(1100.0)
    assert early.log_median[0] > np.log(2000.0)


def test_a_long_life_cut_short_never_shortens_the_expected_life() -> None:
    before = one_position([900.0, 1100.0, 1000.0], [True, True, True])
    after = one_position([900.0, 1100.0, 1000.0, 1500.0], [True, True, True, False])
    assert after.log_median[0] > before.log_median[0]


@pytest.mark.parametrize("lives", [1, 5, 40, 400])
def test_a_type_whose_every_life_was_cut_short_does_not_run_away(lives: int) -> None:
    found = one_position([1000.0] * lives, [False] * lives, guess_h=500.0, guess_log_sd=3.0)
    assert np.log(500.0) < found.log_median[0] <= np.log(LONGEST_BELIEVED * 1000.0)
    assert 0.1 < found.log_sd[0] < 3.1


def test_one_life_moves_the_guess_part_of_the_way() -> None:
    found = one_position([600.0], [True], guess_h=2000.0)
    assert np.log(600.0) < found.log_median[0] < np.log(1200.0)
    assert found.log_sd[0] > LifeSpread().within_log_sd


def test_equal_lives_do_not_look_like_clockwork() -> None:
    assert one_position([1000.0] * 200, [True] * 200).log_sd[0] >= LifeSpread().floor


def test_a_position_with_short_lives_is_expected_to_live_shorter_than_its_type() -> None:
    life_h = np.array([2000.0, 1900.0, 2100.0, 2050.0, 600.0, 640.0, 580.0])
    found = pooled_life_prior(
        life_h,
        np.ones(7, dtype=np.bool_),
        np.zeros(7, dtype=np.int64),
        np.array([0, 1, 2, 3, 4, 4, 4]),
        for_type=np.zeros(3, dtype=np.int64),
        for_position=np.array([4, 0, 9]),
        first_guess_h=1500.0,
        first_guess_log_sd=0.8,
    )
    short, usual, unknown = np.exp(found.log_median)
    assert 560.0 < short < 900.0 < unknown < usual
    assert found.log_sd[2] > found.log_sd[0]
    assert found.own_lives_seen.tolist() == [3, 1, 0]


def test_a_positions_own_guess_fades_as_lives_of_the_type_are_seen() -> None:
    def gap(lives: int) -> float:
        found = pooled_life_prior(
            np.full(lives, 1000.0),
            np.ones(lives, dtype=np.bool_),
            np.zeros(lives, dtype=np.int64),
            np.arange(lives) + 10,
            for_type=np.zeros(2, dtype=np.int64),
            for_position=np.array([0, 1]),
            first_guess_h=np.array([500.0, 2000.0]),
            first_guess_log_sd=0.8,
        )
        return float(found.log_median[1] - found.log_median[0])

    assert gap(0) == pytest.approx(np.log(4.0))
    assert gap(0) > gap(3) > gap(30) >= 0.0
    assert gap(30) < 0.2


def test_the_next_lives_fall_where_the_prior_expects_them() -> None:
    rng = np.random.default_rng(7)
    types, positions, each = 12, 240, 4
    of_type = np.arange(positions) % types
    centre = rng.normal(7.0, 0.5, types)[of_type] + rng.normal(0.0, 0.4, positions)
    position = np.repeat(np.arange(positions), each)
    log_life = centre[position] + rng.normal(0.0, 0.25, len(position))
    cut = rng.normal(7.2, 0.6, len(position))
    found = pooled_life_prior(
        np.exp(np.minimum(log_life, cut)),
        log_life < cut,
        of_type[position],
        position,
        for_type=of_type,
        for_position=np.arange(positions),
        first_guess_h=1500.0,
        first_guess_log_sd=0.8,
    )
    coming = centre + rng.normal(0.0, 0.25, positions)
    z = (coming - found.log_median) / found.log_sd
    assert np.mean(np.abs(z) < stats.norm.ppf(0.9)) == pytest.approx(0.80, abs=0.07)
    assert np.mean(z) == pytest.approx(0.0, abs=0.15)


@pytest.mark.parametrize("run_h", [300.0, 1200.0, 1500.0, 4000.0])
def test_an_old_element_that_nobody_looks_at_may_be_past_its_limit(run_h: float) -> None:
    """Against numerical integration (SciPy): the prior, less and less of it the longer it would be over."""
    prior = one_position([1100.0], [True], guess_h=1200.0)
    life = stats.lognorm(prior.log_sd[0], scale=np.exp(prior.log_median[0]))
    over, _ = integrate.quad(lambda end_h: life.pdf(end_h) * (end_h / run_h) ** (1.0 / UNSEEN_PAST_LOG), 0.0, run_h)
    ahead = life.sf(run_h)
    found = remaining_life(prior, np.array([run_h]))
    assert found.already_reached[0] == pytest.approx(over / (over + ahead), abs=2e-3)  # the first half hour is now
    for level in (0.3, 0.5, 0.9):
        left_h = max(life.isf((1.0 - level) * (over + ahead)) - run_h, 0.0)
        assert found.quantile(level)[0] == pytest.approx(left_h, rel=0.01)


@pytest.mark.parametrize(("lives", "run_h"), [([1100.0], 0.0), ([], 3000.0)])
def test_it_is_not_when_it_is_new_nor_by_an_assumption_that_it_outlived(lives: list[float], run_h: float) -> None:
    prior = one_position(lives, [True] * len(lives), guess_h=1200.0)
    survived = from_lognormal(prior.log_median, prior.log_sd, np.array([run_h]))
    assert remaining_life(prior, np.array([run_h])).already_reached[0] == survived.already_reached[0] < 1e-3


def test_a_plant_with_no_positions_has_no_priors() -> None:
    nobody = np.zeros(0, dtype=np.int64)
    found = pooled_life_prior(
        *(np.zeros(0), np.zeros(0, dtype=np.bool_), nobody, nobody),
        for_type=nobody,
        for_position=nobody,
        first_guess_h=1000.0,
        first_guess_log_sd=0.8,
    )
    assert len(found) == 0


def test_a_life_of_no_hours_is_refused() -> None:
    with pytest.raises(ValueError, match=r"life of 0\.0 h"):
        one_position([0.0], [True])
