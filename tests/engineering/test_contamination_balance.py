"""Several filters on one tank, ingression and collected dirt: by hand, and by SciPy's solver as slow reference."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from scheduler.engineering.clean_up import steady_count_per_mL, time_constant_h
from scheduler.engineering.contamination_balance import (
    BETA_IN_SERVICE_LOG_SD,
    Stream,
    cleaned_flow_by_filter_lpm,
    collected_g,
    count_after_per_mL,
    gravimetric_mg_per_L,
    ingression_between,
)
from scheduler.engineering.filtration import beta_at_size, beta_of_efficiency

SUCTION, PRESSURE, RETURN, APART = (int(each) for each in Stream)


def e_of_one(stream: list[int], flow_lpm: list[float], beta: list[float], **more: list[float]) -> np.ndarray:
    """What each filter of a single system adds."""
    return cleaned_flow_by_filter_lpm(np.zeros(len(stream)), stream, flow_lpm, beta, **more)


@pytest.mark.parametrize(("beta", "up_per_mL"), [(2, 2000.0), (20, 1052.6), (75, 1013.5), (200, 1005.025)])
def test_one_filter_holds_the_count_of_the_balance(beta: float, up_per_mL: float) -> None:
    # well-mixed balance worked by hand: N = R/(Q (1 − 1/β)), R = 1e8 per min, Q = 100 L/min
    cleaned = e_of_one([RETURN], [100.0], [beta])
    assert steady_count_per_mL(1e8, cleaned) == pytest.approx([up_per_mL], abs=0.05)


def test_a_tank_of_200_L_settles_in_two_minutes() -> None:
    # V/E = 200/(100 · 74/75) = 2.027 min
    assert 60.0 * time_constant_h(200.0, e_of_one([PRESSURE], [100.0], [75.0])) == pytest.approx([2.027], abs=5e-4)


def test_two_filters_in_one_stream_pass_the_product_of_what_each_passes() -> None:
    # ISO 16889, definition of β: 1/β passes each; both pass 1/(4 · 10), so 100 · (1 − 1/40) = 97.5 L/min
    cleaned = e_of_one([RETURN, PRESSURE], [100.0, 100.0], [10.0, 4.0])
    assert cleaned.sum() == pytest.approx(97.5)
    assert cleaned.tolist() == pytest.approx([22.5, 75.0])


def test_filters_in_their_own_circuits_add_up() -> None:
    # 100 · 1/2 + 40 · 199/200 + 20 · 3/4
    cleaned = e_of_one([RETURN, APART, APART], [100.0, 40.0, 20.0], [2.0, 200.0, 4.0])
    assert cleaned.sum() == pytest.approx(50.0 + 39.8 + 15.0)


def test_an_off_line_filter_that_runs_half_the_hours_cleans_half() -> None:
    assert e_of_one([APART], [40.0], [200.0], run_share=[0.5]) == pytest.approx([19.9])


def test_what_goes_round_the_element_is_not_cleaned() -> None:
    assert e_of_one([RETURN], [100.0], [2.0], bypassed_share=[0.6]) == pytest.approx([20.0])


def test_a_filter_of_unknown_beta_is_not_known_and_leaves_the_others_alone() -> None:
    cleaned = e_of_one([PRESSURE, RETURN], [100.0, 100.0], [np.nan, 2.0])
    assert np.isnan(cleaned[0])
    assert cleaned[1] == 50.0


def test_systems_do_not_clean_each_others_oil() -> None:
    together = cleaned_flow_by_filter_lpm([7, 3, 7], [PRESSURE, RETURN, RETURN], [100.0] * 3, [4.0, 2.0, 10.0])
    assert together.tolist() == pytest.approx([75.0, 50.0, 22.5])


@pytest.mark.parametrize("return_lpm", [100.0, 160.0])
def test_pressure_return_and_off_line_filter_follow_the_differential_equation(return_lpm: float) -> None:
    # slow reference: what leaves and comes back, written out stream by stream and solved by SciPy
    volume_L, ingression, beta = 300.0, 4e7, (3.0, 8.0, 75.0)

    def change(_minute: float, now: np.ndarray) -> np.ndarray:
        behind_pressure = 100.0 * now / beta[0] + (return_lpm - 100.0) * now  # the rest comes from the cylinders
        back = behind_pressure / beta[1]
        main = return_lpm * now - back
        off_line = 0.5 * 30.0 * now * (1.0 - 1.0 / beta[2])
        return (ingression / 1000.0 - main - off_line) / volume_L

    solved = solve_ivp(change, (0.0, 12.0), [20_000.0], rtol=1e-10, atol=1e-8, t_eval=[1.0, 3.0, 12.0]).y[0]
    cleaned = e_of_one(
        [PRESSURE, RETURN, APART], [100.0, return_lpm, 30.0], list(beta), run_share=[1.0, 1.0, 0.5]
    ).sum()
    ours = count_after_per_mL(
        20_000.0, np.array([1.0, 3.0, 12.0]) / 60.0, volume_L=volume_L, cleaned_lpm=cleaned, ingression_per_min=4e7
    )
    assert ours == pytest.approx(solved, rel=1e-7)


def test_without_a_filter_the_count_rises_by_what_comes_in() -> None:
    # 2e6 particles a minute for an hour into 400 L: 300 per mL
    found = count_after_per_mL(100.0, 1.0, volume_L=400.0, cleaned_lpm=0.0, ingression_per_min=2e6)
    assert float(found) == pytest.approx(400.0)


@given(
    now=st.floats(0.0, 1e5),
    log_per_min=st.floats(3.0, 9.0),
    minutes=st.floats(0.5, 500.0),
    cleaned_lpm=st.floats(1.0, 500.0),
    volume_L=st.floats(50.0, 5000.0),
)
def test_the_ingression_that_made_a_count_is_found_from_the_two_counts(
    now: float, log_per_min: float, minutes: float, cleaned_lpm: float, volume_L: float
) -> None:
    tank = {"volume_L": volume_L, "cleaned_lpm": cleaned_lpm}
    later = count_after_per_mL(now, minutes / 60.0, ingression_per_min=10.0**log_per_min, **tank)
    found = ingression_between(now, later, minutes / 60.0, sample_log_sd=0.3, **tank)
    # the counts keep 15 digits of what the first of them may drown
    lost = 1e-9 * (1.0 + now * 1000.0 * volume_L / (minutes * 10.0**log_per_min))
    assert float(found.per_min) == pytest.approx(10.0**log_per_min, rel=lost)


def test_the_deviation_of_an_ingression_is_that_of_many_drawn_samples() -> None:
    rng = np.random.default_rng(11)
    tank = {"volume_L": 2000.0, "cleaned_lpm": 40.0}
    first, later = 900.0, 1500.0
    told = ingression_between(first, later, 0.6, sample_log_sd=0.05, **tank)
    scattered = np.exp(0.05 * rng.standard_normal((2, 40_000)))
    drawn = ingression_between(first * scattered[0], later * scattered[1], 0.6, sample_log_sd=0.0, **tank).per_min
    of_filters = BETA_IN_SERVICE_LOG_SD * float(told.per_min)
    assert float(told.sd_per_min) == pytest.approx(np.hypot(drawn.std(), of_filters), rel=0.02)


def test_one_milligram_a_litre_is_about_code_16_13() -> None:
    # from memory: comparison tables of handbooks put 1 mg/L of fine test dust beside 16/13 (≥6, ≥14 µm(c))
    for size, (low, high) in ((1, (320.0, 640.0)), (2, (40.0, 80.0))):  # ISO 4406:2021, numbers 16 and 13
        assert gravimetric_mg_per_L(low, size) < 1.0 < gravimetric_mg_per_L(high, size)


def test_a_return_filter_collects_what_the_flow_brings_it() -> None:
    # 60 Q G (1 − 1/β) Δt/1000: 60 · 200 · 0.5 mg/L · 0.5 · 100 h / 1000 = 300 g
    assert float(collected_g(e_of_one([RETURN], [200.0], [2.0])[0], 0.5, 100.0)) == pytest.approx(300.0)


def test_in_the_steady_state_all_that_comes_in_is_collected() -> None:
    # balance: E N∞ = R; 3e7 particles a minute at 450 a mL and mg/L for 100 h are 400 g, on all filters together
    cleaned = e_of_one([PRESSURE, RETURN, APART], [100.0, 100.0, 30.0], [3.0, 8.0, 75.0])
    steady = steady_count_per_mL(3e7, cleaned.sum())
    on_each = collected_g(cleaned, gravimetric_mg_per_L(steady, 1), 100.0)
    assert on_each.sum() == pytest.approx(3e7 / 450.0 / 1000.0 * 60.0 * 100.0 / 1000.0)


def test_beta_below_the_rating_is_less_and_above_it_no_less() -> None:
    told = beta_at_size(200.0, 10.0, [4.0, 6.0, 10.0, 14.0])
    assert np.all(np.diff(told) >= 0.0)
    assert told[2:].tolist() == pytest.approx([200.0, 200.0])
    # ISO 16889: at the rating an element of 99.5 % has β 200
    assert float(beta_at_size(beta_of_efficiency(0.995), 6.0, 6.0)) == pytest.approx(200.0)


def test_nonsense_is_refused_with_its_value() -> None:
    with pytest.raises(ValueError, match=r"run share -0\.5"):
        e_of_one([APART], [40.0], [200.0], run_share=[-0.5])
    with pytest.raises(ValueError, match="not all 0 or above"):
        ingression_between(-1.0, 2.0, 1.0, volume_L=100.0, cleaned_lpm=10.0, sample_log_sd=0.1)
    with pytest.raises(ValueError, match="below 0"):
        count_after_per_mL(1.0, -1.0, volume_L=100.0, cleaned_lpm=10.0, ingression_per_min=0.0)
    with pytest.raises(ValueError, match="not above 0"):
        beta_at_size(200.0, 0.0, 4.0)
