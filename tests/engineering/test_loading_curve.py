"""How ΔP rises with the dirt held: the blocking laws and their inverse."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from scheduler.engineering.loading_curve import SHAPES, Shape, closing_load, dp_ratio, load_of, log_dp_ratio

blockings = st.sampled_from([1.0, 0.5, 0.0, -0.5, -1.0, -2.0])
onsets = st.floats(1.0, 6.0)


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_starts_clean_and_reads_tenfold_at_a_load_of_one(shape: Shape) -> None:
    assert dp_ratio([0.0, 1.0], shape.blocking, shape.onset) == pytest.approx([1.0, 10.0])


@pytest.mark.parametrize(("n", "blocking"), [(0.0, 1.0), (1.0, 0.0), (1.5, -0.5), (2.0, -1.0)])
def test_the_family_solves_the_blocking_laws(n: float, blocking: float) -> None:
    # Hermia (1982): constant-rate form dR/dm = k Rⁿ; solved by SciPy's integrator, k set so that R(1) = 10
    k = np.log(10.0) if n == 1.0 else (10.0 ** (1.0 - n) - 1.0) / (1.0 - n)
    load = np.linspace(0.0, 1.0, 11)
    solved = solve_ivp(lambda _, r: k * r**n, (0.0, 1.0), [1.0], t_eval=load, rtol=1e-9, atol=1e-9)
    assert dp_ratio(load, blocking, 1.0) == pytest.approx(solved.y[0], rel=1e-5)


@given(blockings, onsets, st.floats(1.001, 1e3))
def test_the_load_of_a_dp_gives_the_dp_back(blocking: float, onset: float, ratio: float) -> None:
    load = load_of(ratio, blocking, onset)
    if load < 0.999 * closing_load(blocking, onset):
        assert float(dp_ratio(load, blocking, onset)) == pytest.approx(ratio, rel=1e-6)


@given(blockings, onsets, st.floats(0.0, 2.0), st.floats(0.0, 0.5))
def test_more_dirt_is_never_less_dp(blocking: float, onset: float, load: float, more: float) -> None:
    less, greater = log_dp_ratio([load, load + more], blocking, onset)
    assert greater >= less >= 0.0


def test_closed_pores_have_no_finite_dp() -> None:
    # λ = −1: 1/y = 1 − 0.9 u, so y has no bound at u = 1/0.9 (by hand)
    assert float(closing_load(-1.0, 1.0)) == pytest.approx(1.0 / 0.9)
    assert dp_ratio([1.0 / 0.9, 5.0, np.inf], -1.0, 1.0).tolist() == [np.inf, np.inf, np.inf]
    assert float(load_of(np.inf, -1.0, 1.0)) == pytest.approx(1.0 / 0.9)


def test_a_cake_that_only_grows_thicker_never_closes() -> None:
    assert closing_load([0.0, 0.5, 1.0], 2.0).tolist() == [np.inf] * 3
    assert np.isfinite(log_dp_ratio(100.0, [0.0, 0.5, 1.0], 1.0)).all()


def test_the_sharpest_knee_rises_sevenfold_in_the_last_tenth_of_the_load() -> None:
    # λ = −2, γ = 6 at u = 0.9: y = (1 − 0.99 · 0.531441)^(−1/2) = 0.473873^(−1/2) = 1.4527 (by hand)
    assert float(dp_ratio(0.9, -2.0, 6.0)) == pytest.approx(1.4527, abs=5e-5)


def test_a_cubic_onset_uses_half_the_permitted_dp_at_four_fifths_of_life() -> None:
    # published fluid-power lexicon: half the permitted ΔP at about 80 % of life; a cubic of ΔP gives 0.794. In this
    # family the cubic in ΔP above clean is λ = 1, γ = 3: measured above the clean ΔP.
    half = 1.0 + 0.5 * 9.0
    assert float(load_of(half, 1.0, 3.0)) == pytest.approx(0.794, abs=5e-4)


def test_unknown_stays_unknown() -> None:
    assert np.isnan(log_dp_ratio(np.nan, [-1.0, 0.0, 0.5], 1.0)).all()
    assert np.isnan(load_of(np.nan, [-1.0, 0.0, 0.5], 1.0)).all()


def test_shapes_and_loads_broadcast() -> None:
    blocking = np.array([shape.blocking for shape in SHAPES])
    onset = np.array([shape.onset for shape in SHAPES])
    curves = log_dp_ratio(np.linspace(0.0, 2.0, 41)[:, None], blocking, onset)
    assert curves.shape == (41, len(SHAPES))
    one_by_one = [float(log_dp_ratio(0.5, shape.blocking, shape.onset)) for shape in SHAPES]
    assert curves[10] == pytest.approx(one_by_one)


def test_what_no_element_can_do_is_refused() -> None:
    with pytest.raises(ValueError, match=r"load -0\.1 is below 0"):
        log_dp_ratio([0.5, -0.1], 0.0, 1.0)
    with pytest.raises(ValueError, match=r"ratio 0\.9 is below 1"):
        load_of(0.9, 0.0, 1.0)
    with pytest.raises(ValueError, match=r"onset exponent 0\.0"):
        dp_ratio(0.5, 0.0, 0.0)
