"""Lives pooled as the books fit them: published sets with lives cut short, and the tails of the log-normal far out.

Pooling also reckons with what a few lives leave open of their mean, which a maximum of likelihood does not; so each
set is told many times over, as that of many positions that are alike, and then both mean the same.
"""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import integrate, stats

from scheduler.statistics.load_grid import THREE_POINTS
from scheduler.statistics.remaining_hours import from_lognormal
from tests.measure.survival_library import pooled

Floats = npt.NDArray[np.float64]

HANDBOOK = np.array([54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0]), np.full(10, 500.0)
"""NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3: ten units failed, ten ran to 500 h."""

LOCOMOTIVES = (
    np.array(
        [
            *(22.5, 37.5, 46.0, 48.5, 51.5, 53.0, 54.5, 57.5, 66.5, 68.0, 69.5, 76.5, 77.0, 78.5, 80.0, 81.5, 82.0),
            *(83.0, 84.0, 91.5, 93.5, 102.5, 107.0, 108.5, 112.5, 113.5, 116.0, 117.0, 118.5, 119.0, 120.0, 122.5),
            *(123.0, 127.5, 131.0, 132.5, 134.0),
        ]
    ),
    np.full(59, 135.0),
)
"""Nelson, Applied Life Data Analysis, 1982, locomotive controls (from memory): thousands of miles, 59 ran to 135."""


def as_pooled(ended: Floats, cut: Floats, copies: int = 200) -> tuple[float, float]:
    life = np.concatenate([ended, cut])
    return pooled(life, np.arange(len(life)) < len(ended), copies)


def test_the_handbooks_censored_lives_have_the_handbooks_log_normal_likelihood() -> None:
    """Published: AIC 154.39 of the log-normal, that is 2 · 2 − 2 ln L at its maximum."""
    mean, sd = as_pooled(*HANDBOOK)
    ended, cut = HANDBOOK
    life = stats.lognorm(sd, scale=np.exp(mean))
    assert 4.0 - 2.0 * (life.logpdf(ended).sum() + life.logsf(cut).sum()) == pytest.approx(154.39, abs=0.005)


def test_the_handbooks_table_is_read_as_the_handbook_read_it() -> None:
    """Published for a Weibull life of the same table: η 606.5280 and β 1.7208; here by SciPy's censored fit."""
    data = stats.CensoredData(uncensored=HANDBOOK[0], right=HANDBOOK[1])
    shape, _, scale_h = stats.weibull_min.fit(data, floc=0.0)
    assert (scale_h, shape) == pytest.approx((606.5280, 1.7208), rel=3e-5)


def test_locomotive_controls_have_the_published_log_normal_life() -> None:
    """Published, in powers of ten: μ 2.2223 and σ 0.3064, the maximum of likelihood (from memory)."""
    mean, sd = as_pooled(*LOCOMOTIVES, copies=60)
    assert mean / np.log(10.0) == pytest.approx(2.2223, abs=1e-4)
    assert sd / np.log(10.0) == pytest.approx(0.3064, abs=1.5e-4)


def test_lives_cut_short_at_one_age_are_pooled_as_scipy_fits_them() -> None:
    """Reference: scipy.stats.lognorm.fit of CensoredData."""
    data = stats.CensoredData(uncensored=HANDBOOK[0], right=HANDBOOK[1])
    log_sd, _, median_h = stats.lognorm.fit(data, floc=0.0)
    assert as_pooled(*HANDBOOK) == pytest.approx((np.log(median_h), log_sd), rel=5e-4)


@pytest.mark.parametrize("deviation", [2.0, 6.0, 15.0, 40.0])
def test_what_is_left_far_beyond_the_median_is_what_quadrature_of_the_tail_says(deviation: float) -> None:
    """SciPy's quadrature of e^(−(z² − a²)/2), the tail relative to its start, so that nothing underflows."""
    log_sd, run_h = 0.2, 3000.0
    remaining = from_lognormal(np.array([np.log(run_h) - deviation * log_sd]), np.array([log_sd]), run_h)

    def tail(upto: float) -> float:
        return float(integrate.quad(lambda z: np.exp(-0.5 * z * (z + 2.0 * deviation)), 0.0, upto, epsabs=1e-14)[0])

    whole = tail(30.0)
    for level in (0.2, 0.5, 0.9):
        left_h = float(remaining.quantile(level)[0])
        passed = tail(np.log1p(left_h / run_h) / log_sd) / whole
        assert passed == pytest.approx(level, abs=0.01)  # the grid of hours is 8 % wide


def test_the_three_points_are_those_of_gauss_and_hermite() -> None:
    """NumPy's rule for the weight e^(−z²/2), which SciPy's normal moments confirm up to the fifth power."""
    points, weights = np.polynomial.hermite_e.hermegauss(3)
    assert np.array(THREE_POINTS)[:, 0] == pytest.approx(points)
    assert np.array(THREE_POINTS)[:, 1] == pytest.approx(weights / weights.sum())
    for power in range(6):
        assert sum(w * z**power for z, w in THREE_POINTS) == pytest.approx(stats.norm.moment(power), abs=1e-12)
