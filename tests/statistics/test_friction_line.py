"""The line of vacuum over viscosity beside least squares, and beside the answer with a known base."""

import numpy as np
import pytest

from scheduler.statistics.friction_line import FrictionLine, friction_line

RATIO = np.array([1.0, 0.9, 1.2, 3.0, 1.1, 5.0, 1.0, 0.95])
OWNER = np.zeros(len(RATIO), dtype=np.intp)


def line(vacuum_bar: np.ndarray, base_sd_bar: float, *, base_bar: float = 0.0, robust: bool = False) -> FrictionLine:
    return friction_line(
        *(OWNER, RATIO, vacuum_bar, np.full(len(RATIO), 0.005)),
        base_bar=np.array([base_bar]),
        base_sd_bar=np.array([base_sd_bar]),
        robust=robust,
    )


def test_with_nothing_known_of_the_base_it_is_weighted_least_squares_and_its_covariance() -> None:
    """`numpy.polyfit` with weights and the unscaled covariance as slow reference."""
    rng = np.random.default_rng(3)
    vacuum = 0.06 * RATIO - 0.04 + 0.005 * rng.standard_normal(len(RATIO))
    found = line(vacuum, 1e6)
    (slope, base), covariance = np.polyfit(RATIO, vacuum, 1, w=np.full(len(RATIO), 200.0), cov="unscaled")
    assert float(found.slope_bar[0]) == pytest.approx(slope, rel=1e-6)
    assert float(found.base_bar[0]) == pytest.approx(base, rel=1e-6)
    told = [float(each[0]) for each in (found.slope_var, found.covariance, found.base_var)]
    assert told == pytest.approx([covariance[0, 0], covariance[0, 1], covariance[1, 1]], rel=1e-5)


def test_with_a_known_base_the_slope_is_the_one_through_it() -> None:
    """Least squares through a point: Σ r (v − b) / Σ r²."""
    vacuum = 0.05 * RATIO - 0.03 + np.array([0.01, 0.0, -0.01, 0.02, 0.0, 0.0, 0.01, -0.02])
    found = line(vacuum, 1e-9, base_bar=-0.03)
    assert float(found.slope_bar[0]) == pytest.approx(RATIO @ (vacuum + 0.03) / (RATIO @ RATIO), rel=1e-6)


def test_a_vacuum_at_the_middle_of_the_readings_is_known_best() -> None:
    found = line(0.05 * RATIO, 1e6)
    middle, far = found.vacuum_bar(np.array([RATIO.mean()]))[1], found.vacuum_bar(np.array([12.0]))[1]
    # the mean of n readings of deviation s is known to s / √n
    assert float(middle[0]) == pytest.approx(0.005 / np.sqrt(len(RATIO)), rel=1e-4)
    assert float(far[0]) > 5.0 * float(middle[0])


def test_one_slip_of_the_pen_does_not_turn_the_line() -> None:
    vacuum = 0.05 * RATIO
    vacuum[5] *= 10.0
    assert float(line(vacuum, 0.01, robust=True).slope_bar[0]) == pytest.approx(0.05, rel=0.05)
    assert float(line(vacuum, 0.01).slope_bar[0]) > 0.2


def test_places_are_drawn_each_from_its_own_readings() -> None:
    owner = np.array([0, 0, 0, 2, 2, 2])
    ratio = np.array([1.0, 2.0, 4.0, 1.0, 2.0, 4.0])
    vacuum = np.array([0.1, 0.2, 0.4, 0.01, 0.03, 0.07])
    found = friction_line(
        *(owner, ratio, vacuum, np.full(6, 0.001)), base_bar=np.zeros(3), base_sd_bar=np.full(3, 10.0)
    )
    assert found.readings.tolist() == [3, 0, 3]
    assert found.slope_bar[[0, 2]].round(4).tolist() == [0.1, 0.02]
    assert found.base_bar[[0, 2]].round(4).tolist() == [0.0, -0.01]


def test_a_reading_without_an_error_is_refused() -> None:
    with pytest.raises(ValueError, match="not above 0"):
        friction_line(OWNER, RATIO, RATIO, np.zeros(len(RATIO)), base_bar=np.zeros(1), base_sd_bar=np.ones(1))
