"""The survival curve against a published example and against SciPy's, which was written by others."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scheduler.statistics.survival_curve import median_life, survival_curve

HANDBOOK_H = np.array([10.0, 32.0, 56.0, 98.0, 122.0, 181.0, 50.0, 100.0, 125.0, 150.0, *(200.0,) * 10])
HANDBOOK_ENDED = np.arange(20) < 6
"""NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.1.5: 20 units, 6 failed, 4 taken off, 10 ran on."""

REMISSION = np.array(
    [
        6.0,
        6.0,
        6.0,
        7.0,
        10.0,
        13.0,
        16.0,
        22.0,
        23.0,
        6.0,
        9.0,
        10.0,
        11.0,
        17.0,
        19.0,
        20.0,
        25.0,
        32.0,
        32.0,
        34.0,
        35.0,
    ]
)
REMISSION_ENDED = np.arange(21) < 9
"""Freireich and others 1963, Blood 21:699, treated group, weeks; the data and the values below from memory, as in
Kleinbaum & Klein, Survival Analysis."""


def test_the_handbooks_units_survive_as_the_handbook_reckons() -> None:
    """The handbook's products: 19/20, then times 18/19, 16/17, 15/16, 13/14 and 10/11."""
    curve = survival_curve(HANDBOOK_H, HANDBOOK_ENDED)
    products = np.cumprod([19 / 20, 18 / 19, 16 / 17, 15 / 16, 13 / 14, 10 / 11])
    assert curve.at_h.tolist() == [10.0, 32.0, 56.0, 98.0, 122.0, 181.0]
    assert curve.at_risk.tolist() == [20, 19, 17, 16, 14, 11]
    np.testing.assert_allclose(curve.survival, products, rtol=1e-12)


def test_several_ends_at_once_and_their_spread_are_those_of_the_textbook() -> None:
    """S 0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448 and Greenwood's standard errors, to three places."""
    curve = survival_curve(REMISSION, REMISSION_ENDED, level=0.95)
    assert curve.ends.tolist() == [3, 1, 1, 1, 1, 1, 1]
    np.testing.assert_allclose(curve.survival, [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], atol=5e-4)
    # ln(−ln S) is spread by the standard error over S |ln S|: what the band is made of gives it back
    z = stats.norm.ppf(0.975)
    half = 0.5 * (np.log(-np.log(curve.low_share)) - np.log(-np.log(curve.high_share))) / z
    standard_error = half * curve.survival * np.abs(np.log(curve.survival))
    np.testing.assert_allclose(standard_error, [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], atol=5e-5)
    assert median_life(curve).median_h == 23.0


@given(
    st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=2, max_size=40).filter(
        lambda lives: any(ended for _, ended in lives)
    ),
    st.floats(0.5, 0.99),
)
def test_any_lives_survive_as_scipy_reckons(lives: list[tuple[int, bool]], level: float) -> None:
    life_h, ended = np.array([float(h) for h, _ in lives]), np.array([over for _, over in lives])
    curve = survival_curve(life_h, ended, level)
    slow = stats.ecdf(stats.CensoredData(uncensored=life_h[ended], right=life_h[~ended])).sf
    np.testing.assert_allclose(curve.survival, slow.evaluate(curve.at_h), atol=1e-12)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # where nothing is left, SciPy divides by zero
        band = slow.confidence_interval(level, method="log-log")
    left = curve.survival > 0.0
    np.testing.assert_allclose(curve.low_share[left], band.low.evaluate(curve.at_h)[left], atol=1e-9)
    np.testing.assert_allclose(curve.high_share[left], band.high.evaluate(curve.at_h)[left], atol=1e-9)


def test_the_medians_band_holds_as_often_as_it_says() -> None:
    """400 draws of 30 log-normal lives of median 1000 h, a third cut short: an 80 % band holds it so often."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(400):
        life_h, cut_h = 1000.0 * np.exp(0.4 * rng.standard_normal((2, 30))) * [[1.0], [1.3]]
        median = median_life(survival_curve(np.minimum(life_h, cut_h), life_h <= cut_h))
        held += median.low_h <= 1000.0 <= median.high_h
    assert 0.75 < held / 400 < 0.88  # three standard errors are 6 %; a step curve's band is never narrower


def test_lives_that_were_all_cut_short_tell_no_median() -> None:
    curve = survival_curve(np.array([500.0, 900.0]), np.zeros(2, dtype=bool))
    assert len(curve.at_h) == 0
    assert median_life(curve).median_h == float("inf")


def test_a_life_of_no_hours_and_a_band_of_no_level_are_refused() -> None:
    with pytest.raises(ValueError, match=r"0\.0 h is not above 0"):
        survival_curve(np.array([0.0]), np.ones(1, dtype=bool))
    with pytest.raises(ValueError, match=r"level 1\.0"):
        survival_curve(np.array([1.0]), np.ones(1, dtype=bool), 1.0)
