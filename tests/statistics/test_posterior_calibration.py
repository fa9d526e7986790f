"""Bayes' theorem itself is the reference: intervals hold lives drawn from the model itself as often as they claim.

The long version with its tables is tests/measure/posterior_calibration.py.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.model_lives import draw_lives, learned_weights
from tests.measure.posterior_calibration import (
    BARE,
    NOMINAL,
    READING_COUNTS,
    Calibrated,
    bare_forecast,
    calibrate,
    coverage,
    transform,
)

DRAWS = 4000
SIGMAS = 3.5  # of the binomial error: at three levels a sound posterior misses once in 700 seeds


@pytest.fixture(scope="module")
def found() -> Calibrated:
    return calibrate(DRAWS, seed=20261201)


def by_chance(draws: int) -> np.ndarray:
    share = np.array(NOMINAL) / 100.0
    return np.asarray(100.0 * np.sqrt(share * (1.0 - share) / draws))


def test_the_posterior_alone_holds_as_many_truths_as_it_claims(found: Calibrated) -> None:
    assert np.all(np.abs(coverage(found.bare) - NOMINAL) < SIGMAS * by_chance(DRAWS))


@pytest.mark.parametrize("count", READING_COUNTS)
def test_so_it_does_with_few_and_with_many_readings(found: Calibrated, count: int) -> None:
    rows = found.lives.reading_counts == count
    assert rows.sum() > DRAWS / 8
    assert np.all(np.abs(coverage(found.bare[rows]) - NOMINAL) < SIGMAS * by_chance(int(rows.sum())) + 0.5)


def test_it_is_neither_early_nor_late_on_the_whole(found: Calibrated) -> None:
    # the transform of an exact posterior is uniform: mean 1/2, standard deviation 1/√12
    assert abs(found.bare.mean() - 0.5) < SIGMAS / np.sqrt(12.0 * DRAWS)


def test_the_full_model_is_wider_than_its_mathematics_and_not_by_much(found: Calibrated) -> None:
    wider = coverage(found.full) - coverage(found.bare)
    assert np.all(wider > -SIGMAS * by_chance(DRAWS))
    assert wider.max() < 15.0


def test_a_model_that_believes_its_prior_too_much_is_found_out() -> None:
    rng = np.random.default_rng(5)
    lives = draw_lives(rng, np.full(2000, 8), learned_weights(rng, 2000), BARE)
    narrow = replace(lives.before.life, log_sd=0.7 * lives.before.life.log_sd)
    sure = replace(lives, before=replace(lives.before, life=narrow))
    transformed = transform(bare_forecast(sure), lives, rng.random(2000))
    assert np.any(coverage(transformed) < NOMINAL - SIGMAS * by_chance(2000))
