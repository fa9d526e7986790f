"""At which ΔP an element is spent."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.terminal_dp import (
    TerminalRule,
    assembly_terminal_dp_bar,
    cold_start_terminal_bar,
    terminal_element_dp_bar,
)


@pytest.mark.parametrize(
    ("stated", "indicator", "bypass", "expected", "rule"),
    [
        (2.0, 2.2, 3.0, 2.0, TerminalRule.STATED),
        (np.nan, 2.2, 3.0, 2.2, TerminalRule.INDICATOR),
        (np.nan, np.nan, 3.0, 2.25, TerminalRule.SHARE_OF_BYPASS),  # 75 %: common practice, no source
        (np.nan, np.nan, np.nan, np.nan, TerminalRule.UNKNOWN),
    ],
)
def test_the_plants_word_comes_before_the_indicator_and_the_bypass(
    stated: float, indicator: float, bypass: float, expected: float, rule: TerminalRule
) -> None:
    dp_bar, found = assembly_terminal_dp_bar(stated, indicator, bypass)
    assert float(dp_bar) == pytest.approx(expected, nan_ok=True)
    assert TerminalRule(int(found)) is rule


def test_the_element_is_judged_by_what_the_housing_leaves() -> None:
    element = terminal_element_dp_bar([2.0, 2.0, 2.0], np.nan, np.nan, [0.3, np.nan, 2.5])
    assert element == pytest.approx([1.7, 2.0, np.nan], nan_ok=True)


def test_an_element_that_must_not_bypass_cold_is_due_far_sooner() -> None:
    # our design, section 1: P_T · ν_ref / ν(T_start); 46/6.8 mm²/s: 29.97 at 50 °C, 133.8 at 20 °C (ASTM D341)
    assert float(cold_start_terminal_bar(2.0, 29.97, 133.8)) == pytest.approx(0.448, abs=5e-4)


@given(st.floats(0.1, 10.0), st.floats(5.0, 100.0), st.floats(1.0, 1000.0))
def test_a_start_is_never_a_reason_to_wait_longer(terminal_bar: float, warm: float, coldest: float) -> None:
    assert float(cold_start_terminal_bar(terminal_bar, warm, coldest)) <= terminal_bar
