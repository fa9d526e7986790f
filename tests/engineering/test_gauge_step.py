"""A gauge's step, seen from its readings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.gauge_step import gauge_step_bar, gauge_steps_bar

BAR_PER_PSI = 6894.757 / 1e5  # NIST SP 811, B.8


def _rising(step_bar: float, readings: int = 30) -> np.ndarray:
    """Readings of an element that clogs from 0.3 to 2.4 bar, read to the nearest mark."""
    dp_bar = 0.3 + 2.1 * np.linspace(0.0, 1.0, readings) ** 3
    return np.asarray(np.rint(dp_bar / step_bar) * step_bar)


@pytest.mark.parametrize("step_bar", [0.2, 0.1, 0.05, 0.02, 0.01, BAR_PER_PSI, 2.0 * BAR_PER_PSI])
def test_a_dial_shows_its_step(step_bar: float) -> None:
    assert gauge_step_bar(_rising(step_bar)) == pytest.approx(step_bar, rel=1e-6)


def test_a_dial_in_psi_typed_in_bar_with_two_decimals_still_shows_psi() -> None:
    typed = np.round(_rising(5.0 * BAR_PER_PSI, 40), 2)
    assert gauge_step_bar(typed) == pytest.approx(5.0 * BAR_PER_PSI, rel=1e-6)


def test_a_few_mistyped_values_do_not_hide_the_step() -> None:
    dp_bar = _rising(0.1)
    dp_bar[[4, 17]] = [0.333, 1.47]
    assert gauge_step_bar(dp_bar) == pytest.approx(0.1)


def test_a_transmitter_with_many_digits_has_no_step() -> None:
    random = np.random.default_rng(11)
    assert gauge_step_bar(random.uniform(0.2, 2.0, 60)) is None


@pytest.mark.parametrize("dp_bar", [[0.3, 0.4, 0.5], [0.3] * 40, [0.3, 0.4] * 10, [np.nan] * 20, []])
def test_too_few_readings_or_marks_say_nothing(dp_bar: list[float]) -> None:
    assert gauge_step_bar(dp_bar) is None


def test_gaps_are_left_out() -> None:
    dp_bar = np.insert(_rising(0.1), [0, 5, 20], np.nan)
    assert gauge_step_bar(dp_bar) == pytest.approx(0.1)


@given(st.sampled_from([0.1, 0.05, 0.02]), st.integers(3, 12), st.integers(0, 9))
def test_a_step_is_never_finer_than_the_marks_that_were_read(step_bar: float, marks: int, first: int) -> None:
    found = gauge_step_bar([step_bar * (first + mark) for mark in range(marks)] * 4)
    assert found is not None
    assert found >= 0.98 * step_bar


def test_each_position_has_its_own_gauge() -> None:
    rows = [_rising(0.1), np.array([0.4]), np.array([]), _rising(0.05), np.linspace(0.2, 1.7, 50) ** 1.37]
    offsets = np.concatenate([[0], np.cumsum([row.size for row in rows])])
    steps = gauge_steps_bar(np.concatenate(rows), offsets)
    one_by_one = [gauge_step_bar(row) for row in rows]
    assert steps == pytest.approx([np.nan if step is None else step for step in one_by_one], nan_ok=True)
    assert np.isfinite(steps).tolist() == [True, False, False, True, False]
