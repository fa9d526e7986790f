"""Clean-up by an off-line filter, against the algebra of the well-mixed balance and SciPy's solver."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from scheduler.engineering.clean_up import (
    REAL_OVER_IDEAL,
    CleanUp,
    clean_up,
    cleaned_flow_lpm,
    says_how_long,
    steady_count_per_mL,
    time_constant_h,
)


@pytest.mark.parametrize(("beta", "up_per_mL"), [(2, 2000.0), (20, 1052.6), (75, 1013.5), (200, 1005.025)])
def test_the_steady_count_is_that_of_the_balance(beta: float, up_per_mL: float) -> None:
    # algebra of the well-mixed balance: R = 1e8 per min, Q = 100 L/min, N = R/(Q (1 − 1/β)), worked by hand
    found = float(steady_count_per_mL(1e8, cleaned_flow_lpm(100.0, beta)))
    assert found == pytest.approx(up_per_mL, abs=0.05)


def test_downstream_of_beta_200_five_are_left() -> None:
    # the same balance: N_down = R/(Q (β − 1)) = 1e8/(1e5 · 199) = 5.0251 per mL
    assert float(steady_count_per_mL(1e8, cleaned_flow_lpm(100.0, 200.0))) / 200.0 == pytest.approx(5.0251, abs=1e-4)


def test_a_hundredfold_cleaning_of_400_L_takes_46_minutes_in_an_ideal_tank() -> None:
    # t = V/(Q (1 − 1/β)) ln(N0/N): 400/(40 · 0.995) · ln 100 = 46.283 min
    found = clean_up(1e4, 1e2, volume_L=400.0, cleaned_flow_lpm=cleaned_flow_lpm(40.0, 200.0))
    assert 60.0 * float(found.ideal_h) == pytest.approx(46.283, abs=5e-4)
    # published clean-up tables: 2 to 5 times slower
    assert 60.0 * float(found.low_h) == pytest.approx(92.566, abs=1e-3)
    assert 60.0 * float(found.high_h) == pytest.approx(231.415, abs=3e-3)


def test_the_time_constant_of_200_L_at_100_L_per_min_and_beta_75_is_two_minutes() -> None:
    # 200/(100 · (1 − 1/75)) = 2.027 min
    assert 60.0 * float(time_constant_h(200.0, cleaned_flow_lpm(100.0, 75.0))) == pytest.approx(2.027, abs=5e-4)


@pytest.mark.parametrize(
    ("volume_L", "flow_lpm", "beta", "bypassed", "ingression_per_min", "now", "target"),
    [
        (400.0, 40.0, 200.0, 0.0, 1e6, 10_000.0, 640.0),
        (1500.0, 25.0, 10.0, 0.2, 4e6, 40_000.0, 1300.0),
        (60.0, 5.0, 1000.0, 0.0, 0.0, 2500.0, 80.0),
    ],
)
def test_the_hours_are_those_of_the_differential_equation(
    volume_L: float,
    flow_lpm: float,
    beta: float,
    bypassed: float,
    ingression_per_min: float,
    now: float,
    target: float,
) -> None:
    """SciPy's solver as the slow reference: V dN/dt = R − Q (1 − b)(1 − 1/β) N, counts of the whole system."""

    def rise(_minutes: float, whole: np.ndarray) -> np.ndarray:
        count = whole / (volume_L * 1000.0)
        return ingression_per_min - flow_lpm * 1000.0 * (1.0 - bypassed) * (1.0 - 1.0 / beta) * count

    def reached(_minutes: float, whole: np.ndarray) -> float:
        return float(whole[0]) / (volume_L * 1000.0) - target

    reached.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(rise, (0.0, 1e4), [now * volume_L * 1000.0], events=reached, rtol=1e-9, atol=1e-3)
    found = clean_up(
        now,
        target,
        volume_L=volume_L,
        cleaned_flow_lpm=cleaned_flow_lpm(flow_lpm, beta, bypassed),
        ingression_per_min=ingression_per_min,
    )
    assert 60.0 * float(found.ideal_h) == pytest.approx(float(solved.t_events[0][0]), rel=1e-5)


def test_a_target_at_or_below_the_steady_count_is_never_reached() -> None:
    # N∞ = 1e8/(1e5 · 0.5) = 2000 per mL
    found = clean_up(
        [5000.0] * 3, [2001.0, 2000.0, 640.0], volume_L=200.0, cleaned_flow_lpm=50.0, ingression_per_min=1e8
    )
    assert np.isfinite(found.ideal_h).tolist() == [True, False, False]
    assert "2000 per mL" in says_how_long(found, ingression_known=True)


def test_oil_that_meets_its_target_takes_no_time_even_if_dirt_comes_in() -> None:
    found = clean_up(100.0, 640.0, volume_L=200.0, cleaned_flow_lpm=0.0, ingression_per_min=1e8)
    assert float(found.ideal_h) == 0.0
    assert "no clean-up" in says_how_long(found, ingression_known=True)


def test_a_filter_that_is_bypassed_whole_or_stands_still_never_cleans() -> None:
    stands = cleaned_flow_lpm([0.0, 40.0], 200.0, [0.0, 1.0])
    found = clean_up(1000.0, 10.0, volume_L=400.0, cleaned_flow_lpm=stands)
    assert np.isinf(found.low_h).all()
    assert "no flow is cleaned" in says_how_long(found, ingression_known=False)


def test_a_missing_count_gives_no_hours_and_no_sentence() -> None:
    found = clean_up([np.nan, 1000.0], 10.0, volume_L=400.0, cleaned_flow_lpm=40.0)
    assert np.isnan(found.ideal_h).tolist() == [True, False]
    with pytest.raises(ValueError, match="not known"):
        says_how_long(found, ingression_known=True)
    gap = clean_up(1000.0, 10.0, volume_L=400.0, cleaned_flow_lpm=40.0, ingression_per_min=np.nan)
    assert np.isnan(gap.ideal_h)


def test_the_slowest_size_speaks_and_unknown_ingression_is_said() -> None:
    found = clean_up([10_000.0, 2500.0, 320.0], [640.0, 160.0, 80.0], volume_L=400.0, cleaned_flow_lpm=10.0)
    says = says_how_long(found, ingression_known=False)
    # 400/10 min · ln(10,000/640) = 109.96 min = 1.8 h; times 2 and 5: 3.7 and 9.2 h
    assert "3.7 to 9.2 h: 1.8 h" in says
    assert "not counted" in says


@given(st.floats(1.0, 1e6), st.floats(1.0, 1e6), st.floats(1.0, 1e4), st.floats(0.1, 500.0), st.floats(0.0, 1e9))
def test_more_flow_never_takes_longer_and_more_dirt_never_less(
    now: float, target: float, volume_L: float, flow_lpm: float, ingression_per_min: float
) -> None:
    def hours(flow: float, dirt: float) -> CleanUp:
        return clean_up(now, target, volume_L=volume_L, cleaned_flow_lpm=flow, ingression_per_min=dirt)

    once = hours(flow_lpm, ingression_per_min)
    slack = 1.0 + 1e-9
    assert float(hours(2.0 * flow_lpm, ingression_per_min).ideal_h) <= float(once.ideal_h) * slack
    assert float(hours(flow_lpm, 2.0 * ingression_per_min).ideal_h) * slack >= float(once.ideal_h)
    assert float(once.low_h) <= float(once.high_h)
    assert REAL_OVER_IDEAL[0] > 1.0


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"now_per_mL": 0.0}, r"count 0\.0"),
        ({"target_per_mL": -1.0}, r"target -1\.0"),
        ({"volume_L": 0.0}, r"volume 0\.0 L"),
        ({"cleaned_flow_lpm": -1.0}, r"cleaned flow -1\.0"),
        ({"ingression_per_min": -5.0}, r"ingression -5\.0"),
    ],
)
def test_what_cannot_be_is_refused_with_its_value(wrong: dict[str, float], named: str) -> None:
    given_all = {"now_per_mL": 10.0, "target_per_mL": 1.0, "volume_L": 1.0, "cleaned_flow_lpm": 1.0} | wrong
    now, target = given_all.pop("now_per_mL"), given_all.pop("target_per_mL")
    with pytest.raises(ValueError, match=named):
        clean_up(now, target, **given_all)


def test_a_share_of_more_than_all_is_refused() -> None:
    with pytest.raises(ValueError, match=r"1\.2 is outside 0 to 1"):
        cleaned_flow_lpm(10.0, 2.0, 1.2)
