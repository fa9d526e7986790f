import numpy as np
import pytest

from scheduler.statistics.clean_level import OWN_LOG_SD, POSITION_LOG_SD, own_deviation, pooled_clean_level
from scheduler.statistics.life_effects import Where


def lives_of(kind: list[int], position: list[int]) -> Where:
    count = len(kind)
    return Where(np.array(kind), np.array(position), np.zeros(count, dtype=np.int64), np.zeros(count))


def test_a_life_alone_says_its_posterior_with_the_prior_taken_out() -> None:
    """Product of two Gaussians: precisions add, so they can be taken apart again (Gelman et al. 2013, eq. 2.12)."""
    prior_mean, prior_var, said, said_var = 0.1, 0.04, 0.5, 0.01
    var = 1.0 / (1.0 / prior_var + 1.0 / said_var)
    mean = var * (prior_mean / prior_var + said / said_var)
    alone, alone_var = own_deviation(*(np.array([each]) for each in (mean, var, prior_mean, prior_var)))
    assert alone[0] == pytest.approx(said)
    assert alone_var[0] == pytest.approx(said_var)


def test_type_and_position_share_the_evidence_as_dense_gaussian_conditioning_says() -> None:
    lives, targets = lives_of([0, 0, 0, 1], [1, 1, 2, 1]), lives_of([0, 1, 0], [1, 1, 7])
    seen, var, type_sd = np.array([0.3, 0.2, -0.1, 0.4]), np.array([0.01, 0.02, 0.01, 0.03]), np.array([0.25, 0.6])
    found = pooled_clean_level(seen, var, lives, targets, np.full(3, -1), type_sd)

    def covariance(one: Where, other: Where) -> np.ndarray:
        same_type = one.type[:, None] == other.type[None, :]
        same_position = one.position[:, None] == other.position[None, :]
        return np.asarray(same_type * type_sd[one.type][:, None] ** 2 + same_position * POSITION_LOG_SD**2)

    gain = covariance(targets, lives) @ np.linalg.inv(covariance(lives, lives) + np.diag(var + OWN_LOG_SD**2))
    assert found.mean == pytest.approx(gain @ seen)
    spread = np.diag(covariance(targets, targets) - gain @ covariance(lives, targets))
    assert found.var == pytest.approx(spread + OWN_LOG_SD**2)


def test_without_lives_the_sheet_stands_as_wide_as_it_was_told() -> None:
    nobody = lives_of([], [])
    nobody = Where(*(getattr(nobody, name).astype(np.int64) for name in ("type", "position", "system")), np.zeros(0))
    found = pooled_clean_level(np.zeros(0), np.zeros(0), nobody, lives_of([0], [3]), np.array([-1]), np.array([0.6]))
    assert found.mean.tolist() == [0.0]
    assert found.var[0] == pytest.approx(0.6**2 + POSITION_LOG_SD**2 + OWN_LOG_SD**2)
