"""The blocks against dense Gaussian conditioning, Rasmussen & Williams 2006, equations 2.23 to 2.26 and 5.12."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from scheduler.statistics.life_effects import LifeEffects, Spreads, TypeGuess, Where, condition_on

Floats = npt.NDArray[np.float64]

SPREADS = Spreads(within=0.04, between=0.09, system=0.05, memory_d=120.0)
GUESS = TypeGuess(np.array([7.0, 7.6, 6.8]), np.array([0.5, 0.3, 0.8]))


def some_lives(count: int, seed: int) -> Where:
    rng = np.random.default_rng(seed)
    position = rng.integers(0, 9, count)
    return Where(rng.integers(0, 3, count), position, position // 3, rng.uniform(0.0, 900.0, count))


def covariance(one: Where, other: Where) -> Floats:
    """Of type + position + system of every pair, written out."""
    table = np.zeros((len(one), len(other)))
    for row in range(len(one)):
        for column in range(len(other)):
            if one.type[row] == other.type[column]:
                table[row, column] += GUESS.var[one.type[row]]
            if one.position[row] == other.position[column]:
                table[row, column] += SPREADS.between
            if one.system[row] == other.system[column]:
                apart_d = abs(one.day[row] - other.day[column])
                table[row, column] += SPREADS.system * np.exp(-apart_d / SPREADS.memory_d)
    return table


def dense(lives: Where, seen: Floats, var: Floats, target: Where) -> tuple[Floats, Floats]:
    gain = covariance(target, lives) @ np.linalg.inv(covariance(lives, lives) + np.diag(var))
    mean = GUESS.mean[target.type] + gain @ (seen - GUESS.mean[lives.type])
    return mean, np.diag(covariance(target, target) - gain @ covariance(lives, target))


def conditioned(lives: Where, seed: int) -> tuple[LifeEffects, Floats, Floats]:
    rng = np.random.default_rng(seed)
    seen, var = rng.normal(7.0, 0.5, len(lives)), rng.uniform(0.02, 0.3, len(lives))
    return condition_on(lives, seen, var, GUESS, SPREADS), seen, var


@pytest.mark.parametrize("count", [1, 7, 40])
def test_what_is_expected_is_the_dense_conditional(count: int) -> None:
    lives, targets = some_lives(count, 1), some_lives(12, 2)
    effects, seen, var = conditioned(lives, 3)
    found = effects.expected(targets, np.full(12, -1))
    mean, spread = dense(lives, seen, var, targets)
    assert found.mean == pytest.approx(mean, abs=1e-9)
    assert found.var == pytest.approx(spread, abs=1e-9)


def test_a_life_left_out_is_as_if_it_had_never_been() -> None:
    lives = some_lives(25, 4)
    effects, seen, var = conditioned(lives, 5)
    found = effects.expected(lives, np.arange(25))
    for row in range(25):
        others = np.delete(np.arange(25), row)
        mean, spread = dense(lives.at(others), seen[others], var[others], lives.at(np.array([row])))
        assert found.mean[row] == pytest.approx(mean[0], abs=1e-9)
        assert found.var[row] == pytest.approx(spread[0], abs=1e-9)


def test_a_system_without_lives_has_its_types_mean() -> None:
    effects, _, _ = conditioned(some_lives(10, 6), 7)
    stranger = Where(np.array([1]), np.array([99]), np.array([99]), np.array([0.0]))
    found = effects.expected(stranger, np.array([-1]))
    assert found.mean[0] == pytest.approx(effects.type_mean[1])
    assert found.var[0] == pytest.approx(effects.type_cov[1, 1] + SPREADS.between + SPREADS.system)


def test_the_likelihood_is_the_multivariate_normals() -> None:
    lives = some_lives(18, 8)
    effects, seen, var = conditioned(lives, 9)
    whole = stats.multivariate_normal(GUESS.mean[lives.type], covariance(lives, lives) + np.diag(var))
    constant = 0.5 * len(lives) * np.log(2.0 * np.pi)
    # seen is given less its offset, not less its guess: the guess is part of the model
    assert effects.log_likelihood == pytest.approx(whole.logpdf(seen) + constant, abs=1e-8)


def test_the_effects_of_positions_are_those_of_the_dense_model() -> None:
    lives = some_lives(20, 10)
    effects, seen, var = conditioned(lives, 11)
    mean, spread = effects.position_effects()
    held = np.unique(lives.position)
    of_position = SPREADS.between * (held[:, None] == lives.position[None, :])
    gain = of_position @ np.linalg.inv(covariance(lives, lives) + np.diag(var))
    assert mean == pytest.approx(gain @ (seen - GUESS.mean[lives.type]), abs=1e-9)
    assert spread == pytest.approx(SPREADS.between - np.sum(gain * of_position, axis=1), abs=1e-9)
