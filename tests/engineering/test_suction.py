"""The vacuum at a pump inlet and the strainer before it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.suction import (
    USUAL_VACUUM_LIMIT_BAR,
    rise_above_clean_bar,
    strainer_dp_bar,
    vacuum_at_viscosity_bar,
    vacuum_limit_bar,
    vacuum_with_strainer_bar,
)


def test_a_pump_above_the_tank_spends_part_of_its_vacuum_on_lifting_oil() -> None:
    # Bernoulli: 1 m of oil of 870 kg/m³ is 870 · 9.80665 Pa = 0.0853 bar; 0.20 − 0.0853 − 0.05 = 0.0647 bar
    assert float(strainer_dp_bar(0.20, -1.0, 0.05, 870.0)) == pytest.approx(0.0647, abs=5e-5)


def test_oil_above_a_flooded_pump_hides_the_strainers_dp() -> None:
    # the same metre as a head: no vacuum at all, and yet 0.0353 bar across the strainer
    assert float(strainer_dp_bar(0.0, 1.0, 0.05, 870.0)) == pytest.approx(0.0353, abs=5e-5)


@given(st.floats(0.0, 0.5), st.floats(-3.0, 3.0), st.floats(0.0, 0.2), st.floats(800.0, 1200.0))
def test_strainer_and_vacuum_are_two_sides_of_one_balance(
    dp_bar: float, head_m: float, loss_bar: float, density_kg_m3: float
) -> None:
    vacuum_bar = vacuum_with_strainer_bar(dp_bar, head_m, loss_bar, density_kg_m3)
    assert float(strainer_dp_bar(vacuum_bar, head_m, loss_bar, density_kg_m3)) == pytest.approx(dp_bar, abs=1e-12)


def test_without_head_or_line_loss_the_strainers_dp_is_unknown_and_the_rise_remains() -> None:
    assert np.isnan(strainer_dp_bar(0.2, [np.nan, -1.0], [0.05, np.nan], 870.0)).all()
    assert float(rise_above_clean_bar(0.21, 0.12)) == pytest.approx(0.09)


def test_the_usual_limit_is_ten_inches_of_mercury() -> None:
    # general practice; 1 inHg = 3386.38 Pa (NIST SP 811, B.8)
    assert pytest.approx(10 * 3386.38 / 1e5, abs=0.005) == USUAL_VACUUM_LIMIT_BAR


def test_the_pump_makers_limit_comes_before_the_usual_one() -> None:
    assert vacuum_limit_bar([0.15, np.nan]) == pytest.approx([0.15, 0.34])


def test_a_limit_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="not above 0"):
        vacuum_limit_bar([0.2, 0.0])


def test_a_cold_start_multiplies_friction_and_leaves_the_head() -> None:
    # head 0.5 m · 870 · 9.80665 = 0.04266 bar; friction 0.10 + 0.04266; ten times it less the head: 1.384 bar
    assert float(vacuum_at_viscosity_bar(0.10, 0.5, 870.0, 10.0)) == pytest.approx(1.3840, abs=5e-4)


@given(st.floats(0.0, 0.4), st.floats(0.0, 2.0), st.floats(1.0, 30.0))
def test_colder_oil_never_eases_the_suction(vacuum_bar: float, head_m: float, thicker: float) -> None:
    assert float(vacuum_at_viscosity_bar(vacuum_bar, head_m, 870.0, thicker)) >= vacuum_bar - 1e-12
