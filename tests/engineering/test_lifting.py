"""The revised NIOSH lifting equation."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.lifting import (
    asymmetry_multiplier,
    distance_multiplier,
    horizontal_multiplier,
    lifting_index,
    recommended_weight_limit_kg,
    vertical_multiplier,
)

# NIOSH 94-110, tables 1 to 4, metric columns, printed to two decimals (from memory)
HORIZONTAL = {25: 1.00, 30: 0.83, 40: 0.63, 50: 0.50, 60: 0.42, 63: 0.40, 64: 0.00}
VERTICAL = {0: 0.78, 30: 0.87, 50: 0.93, 70: 0.99, 100: 0.93, 150: 0.78, 175: 0.70, 176: 0.00}
DISTANCE = {25: 1.00, 40: 0.93, 55: 0.90, 70: 0.88, 100: 0.87, 145: 0.85, 175: 0.85, 176: 0.00}
ASYMMETRY = {0: 1.00, 15: 0.95, 30: 0.90, 45: 0.86, 90: 0.71, 135: 0.57, 136: 0.00}


def test_the_best_of_lifts_may_weigh_the_load_constant() -> None:
    # NIOSH 94-110 (rev. 2021): H 25, V 75, D 25 cm, no twist: 23 kg
    assert recommended_weight_limit_kg(25.0, 75.0, 25.0) == pytest.approx(23.0)


@pytest.mark.parametrize(("cm", "printed"), HORIZONTAL.items())
def test_reach_costs_what_the_table_prints(cm: float, printed: float) -> None:
    assert horizontal_multiplier(cm) == pytest.approx(printed, abs=0.0051)


@pytest.mark.parametrize(("cm", "printed"), VERTICAL.items())
def test_hand_height_costs_what_the_table_prints(cm: float, printed: float) -> None:
    assert vertical_multiplier(cm) == pytest.approx(printed, abs=0.0051)


@pytest.mark.parametrize(("cm", "printed"), DISTANCE.items())
def test_travel_costs_what_the_table_prints(cm: float, printed: float) -> None:
    assert distance_multiplier(cm) == pytest.approx(printed, abs=0.0051)


@pytest.mark.parametrize(("degrees", "printed"), ASYMMETRY.items())
def test_twist_costs_what_the_table_prints(degrees: float, printed: float) -> None:
    assert asymmetry_multiplier(degrees) == pytest.approx(printed, abs=0.0051)


def test_a_pail_from_the_floor_to_a_filler_at_shoulder_height_is_too_heavy() -> None:
    # by hand: 23 · 25/35 · 0.775 · (0.82 + 4.5/140) · 0.95 (fair grip, given) = 10.307 kg; pail 18.5 kg
    limit_kg = recommended_weight_limit_kg(35.0, 0.0, 140.0, coupling_multiplier=0.95)
    assert limit_kg == pytest.approx(10.307, abs=1e-3)
    assert lifting_index(18.5, limit_kg) == pytest.approx(1.795, abs=1e-3)


@given(
    st.floats(0.0, 80.0), st.floats(0.0, 200.0), st.floats(0.0, 200.0), st.floats(0.0, 180.0), st.floats(0.0, 20.0)
)
def test_no_lift_is_better_than_the_best_and_reaching_further_never_helps(
    reach_cm: float, height_cm: float, travel_cm: float, twist_deg: float, further_cm: float
) -> None:
    near_kg = recommended_weight_limit_kg(reach_cm, height_cm, travel_cm, twist_deg=twist_deg)
    far_kg = recommended_weight_limit_kg(reach_cm + further_cm, height_cm, travel_cm, twist_deg=twist_deg)
    assert 0.0 <= far_kg <= near_kg <= 23.0 + 1e-9


def test_a_lift_that_is_not_recommended_at_all_has_no_bound_to_its_index() -> None:
    assert recommended_weight_limit_kg(70.0, 75.0, 25.0) == 0.0
    assert lifting_index(1.0, 0.0) == float("inf")


@pytest.mark.parametrize("multiplier", [-0.1, 1.1])
def test_a_multiplier_above_one_is_refused(multiplier: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        recommended_weight_limit_kg(25.0, 75.0, 25.0, frequency_multiplier=multiplier)


def test_a_negative_reach_is_refused() -> None:
    with pytest.raises(ValueError, match=r"reach -5\.0 cm"):
        recommended_weight_limit_kg(-5.0, 75.0, 25.0)
