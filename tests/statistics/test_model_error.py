import numpy as np
import pytest

from scheduler.statistics.load_grid import S_NODES
from scheduler.statistics.model_error import LARGEST, model_error_variance

LIVES, EACH, NOISE_SD = 60, 200, 0.1


def found(bump_sd: float, lives: int = LIVES, noise: float = 1.0) -> float:
    """What is found where every stretch of every life lies off by a bump of its own."""
    rng = np.random.default_rng(5)
    life = np.repeat(np.arange(lives), EACH)
    share = rng.uniform(0.0, 1.0, lives * EACH)
    stretch = np.searchsorted(S_NODES, share)
    bump = rng.normal(0.0, bump_sd, (lives, len(S_NODES) + 1)) if bump_sd else np.zeros((lives, len(S_NODES) + 1))
    off = bump[life, stretch] + rng.normal(0.0, np.sqrt(noise) * NOISE_SD, lives * EACH)
    variance = model_error_variance(
        off,
        np.full(len(off), 1.0 / NOISE_SD**2),
        share,
        life,
        np.zeros(lives, dtype=np.int64),
        np.array([noise]),
        0.003,
    )
    return float(variance[0])


@pytest.mark.parametrize("bump_sd", [0.08, 0.15, 0.25])
def test_bumps_that_no_number_of_readings_averages_away_are_found(bump_sd: float) -> None:
    assert found(bump_sd) == pytest.approx(bump_sd**2, rel=0.2)


@pytest.mark.parametrize("noise", [1.0, 3.0])
def test_scatter_alone_is_no_error_of_the_model(noise: float) -> None:
    assert found(0.0, noise=noise) < 0.0015


def test_one_life_moves_what_was_believed_only_part_of_the_way() -> None:
    assert 0.003 < found(0.2, lives=1) < 0.75 * 0.04


def test_no_type_is_given_up_as_chaos() -> None:
    assert found(0.9) == LARGEST


def test_a_type_that_was_never_read_keeps_what_was_believed() -> None:
    nothing, nobody = np.zeros(0), np.zeros(0, dtype=np.int64)
    got = model_error_variance(nothing, nothing, nothing, nobody, nobody, np.ones(2), 0.003)
    assert got.tolist() == pytest.approx([0.003, 0.003])
