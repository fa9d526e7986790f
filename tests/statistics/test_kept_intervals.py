"""What the hours of early changes say of a position that was never seen to its limit."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import optimize, stats

from scheduler.statistics.kept_intervals import FEWEST_POSITIONS, habit_of, kept_intervals
from scheduler.statistics.life_effects import Where
from scheduler.statistics.life_model import LifePrior, pooled_life_prior

Floats = npt.NDArray[np.float64]

POSITIONS = 30
HUNGRY = POSITIONS - 1
"""A position that soaks up three times as much dirt as the others, and is always changed early."""


def known_levels(seed: int = 3, positions: int = 60) -> tuple[Floats, Floats, Floats]:
    """ln life of positions as it is, as it is known, and the variance of that."""
    rng = np.random.default_rng(seed)
    level, var = rng.normal(8.0, 0.4, positions), rng.uniform(0.002, 0.09, positions)
    return level, level + np.sqrt(var) * rng.standard_normal(positions), var


def lives_of_a_plant(follows: bool) -> LifePrior:
    """All but the hungry position were seen to their limit twice; each was changed early four times."""
    rng = np.random.default_rng(8)
    level = rng.normal(8.0, 0.35, POSITIONS)
    level[HUNGRY] = 8.0 - np.log(3.0)
    position = np.repeat(np.arange(POSITIONS), 6)
    at_limit = np.tile([True, True, False, False, False, False], POSITIONS) & (position != HUNGRY)
    kept = np.where(follows, level, 6.8)[position] + np.where(follows, np.log(0.7), 0.0)
    early = kept + 0.1 * rng.standard_normal(len(position))
    log_life = np.where(at_limit, level[position] + 0.15 * rng.standard_normal(len(position)), early)
    seen = at_limit | (position != HUNGRY) | (np.arange(len(position)) % 6 >= 2)
    one_type = np.zeros(int(seen.sum()), dtype=np.int64)
    return pooled_life_prior(
        np.exp(log_life[seen]),
        at_limit[seen],
        one_type,
        position[seen],
        for_type=np.zeros(POSITIONS, dtype=np.int64),
        for_position=np.arange(POSITIONS),
        first_guess_h=2000.0,
        first_guess_log_sd=0.8,
    )


def test_a_habit_is_found_as_the_maximum_of_its_likelihood() -> None:
    """SciPy's minimiser on the same normal likelihood, without a grid; steps of the grid are 0.2 and 12 %."""
    level, mean, var = known_levels()
    one_type = np.zeros(len(level), dtype=np.int64)
    interval = -0.4 + level + 0.2 * np.random.default_rng(4).standard_normal(len(level))

    def miss(at: Floats) -> float:
        sd = np.sqrt(np.exp(2.0 * at[2]) + at[1] ** 2 * var)
        return -float(np.sum(stats.norm.logpdf(interval, at[0] + at[1] * mean, sd)))

    best = optimize.minimize(miss, np.array([0.0, 1.0, -1.0]), method="Nelder-Mead", options={"maxiter": 4000}).x
    found = habit_of(interval, mean, var, one_type)
    assert found is not None
    assert found.follows == pytest.approx(best[1], abs=0.11)
    assert found.shift[0] + found.follows * 8.0 == pytest.approx(best[0] + best[1] * 8.0, abs=0.03)
    assert found.off_log_sd == pytest.approx(np.exp(best[2]), rel=0.2)


def test_intervals_of_a_calendar_tell_of_no_lives() -> None:
    _, mean, var = known_levels()
    interval = 7.0 + 0.2 * np.random.default_rng(4).standard_normal(len(mean))
    assert habit_of(interval, mean, var, np.zeros(len(mean), dtype=np.int64)) is None


def test_a_makers_interval_for_each_type_tells_nothing_of_single_positions() -> None:
    """Four types, each changed by its own hours: over all positions intervals follow the lives, within a type not."""
    _, mean, var = known_levels()
    kind = np.arange(len(mean)) % 4
    interval = 6.0 + 0.6 * kind + 0.1 * np.random.default_rng(4).standard_normal(len(mean))
    assert habit_of(interval, mean + 0.6 * kind, var, np.zeros_like(kind)) is not None
    assert habit_of(interval, mean + 0.6 * kind, var, kind) is None


def test_a_few_positions_show_no_habit() -> None:
    level, mean, var = known_levels(positions=FEWEST_POSITIONS - 1)
    assert habit_of(level - 0.4, mean, var, np.zeros(len(level), dtype=np.int64)) is None


def test_the_interval_of_a_position_is_the_mean_of_its_early_changes() -> None:
    position = np.array([4, 2, 4, 2, 2])
    where = Where(np.zeros(5, dtype=np.int64), position, np.zeros(5, dtype=np.int64), np.arange(5.0))
    found = kept_intervals(np.log([10.0, 20.0, 1000.0, 40.0, 80.0]), np.array([1, 1, 0, 1, 1], dtype=bool), where)
    assert found.where.position.tolist() == [2, 4]
    assert np.exp(found.log_h).tolist() == pytest.approx([40.0, 10.0])
    assert len(np.unique(found.where.day)) == 2


def test_a_hungry_position_that_was_always_changed_early_is_not_believed_to_last_as_long_as_the_others() -> None:
    usual_h, hungry_h = np.exp(8.0), np.exp(8.0) / 3.0
    prior = lives_of_a_plant(follows=True)
    assert np.exp(prior.log_median[HUNGRY]) == pytest.approx(hungry_h, rel=0.25)
    assert prior.log_sd[HUNGRY] < 0.35
    by_calendar = lives_of_a_plant(follows=False)
    assert np.exp(by_calendar.log_median[HUNGRY]) == pytest.approx(usual_h, rel=0.25)
