"""A container's mass before anybody lifts it."""

import pytest

from scheduler.engineering.containers import DRUM_L, PAIL_L, container_mass_kg, oil_mass_kg


def test_the_oil_in_a_drum_and_in_a_pail_weighs_what_arithmetic_says() -> None:
    # 0.87 kg/L: 210 L are 182.7 kg, 20 L are 17.4 kg (arithmetic; sizes: common practice, no source)
    assert oil_mass_kg(DRUM_L, 870.0) == pytest.approx(182.7)
    assert oil_mass_kg(PAIL_L, 870.0) == pytest.approx(17.4)


def test_the_empty_container_weighs_too() -> None:
    assert container_mass_kg(20.0, 870.0, 1.2) == pytest.approx(18.6)


def test_water_glycol_is_heavier_than_oil() -> None:
    # HFC of about 1080 kg/m³ (from memory): 20 L are 21.6 kg
    assert oil_mass_kg(PAIL_L, 1080.0) == pytest.approx(21.6)


@pytest.mark.parametrize(("volume_L", "density_kg_m3", "tare_kg"), [(-1, 870, 1), (20, 0, 1), (20, 870, 0)])
def test_a_container_that_weighs_nothing_is_refused(volume_L: float, density_kg_m3: float, tare_kg: float) -> None:
    with pytest.raises(ValueError, match=r"volume|density|tare"):
        container_mass_kg(volume_L, density_kg_m3, tare_kg)
