"""By what a thing is moved. The limit is NIOSH 94-110; the everyday lift, and which aid, are ours and say so."""

import math

import pytest

from scheduler.engineering.containers import DRUM_L, PAIL_L, container_mass_kg, container_tare_kg
from scheduler.engineering.handling import Means, everyday_limit_kg, handling


def test_the_everyday_lift_is_what_the_equation_gives_by_hand() -> None:
    # NIOSH 94-110: 23 · 25/35 · (1 − 0.003 · 75) · (0.82 + 4.5/100) · 0.95 = 10.46 kg; the posture is ours
    assert everyday_limit_kg() == pytest.approx(10.463, abs=1e-3)


@pytest.mark.parametrize(
    ("mass_kg", "is_drum", "means"),
    [
        (4.0, False, Means.ONE_PERSON),
        (18.5, False, Means.TWO_PERSONS),  # a full pail: 17.4 kg of oil (0.87 kg/L) and about 1.1 kg of pail
        (23.0, False, Means.TWO_PERSONS),  # NIOSH 94-110, load constant
        (23.1, False, Means.PALLET_TRUCK),
        (202.7, True, Means.DRUM_TROLLEY),  # a full drum: 182.7 kg of oil and about 20 kg of steel
        (202.7, False, Means.PALLET_TRUCK),
        (900.0, False, Means.HOIST),
    ],
)
def test_heavier_things_are_moved_by_stronger_means(mass_kg: float, is_drum: bool, means: Means) -> None:
    assert handling(mass_kg, "the thing", is_drum=is_drum).means is means


def test_the_sentence_names_the_mass_the_limits_and_the_reference() -> None:
    pail = handling(18.5, "the full 20 L pail")
    assert pail.one_person_at_best
    assert pail.says.startswith("The full 20 L pail weighs about 18.5 kg, within the 23 kg that NIOSH 94-110")
    assert "the limit is 10.5 kg" in pail.says
    assert "not alone" in pail.says
    drum = handling(202.7, "the full drum", is_drum=True)
    assert not drum.one_person_at_best
    assert "above the 23 kg" in drum.says
    assert "drum trolley" in drum.says


def test_full_containers_weigh_oil_and_tare() -> None:
    # common practice, no source: pail about 1.1 kg, steel drum 18 to 20 kg
    assert container_mass_kg(PAIL_L, 870.0, container_tare_kg(PAIL_L)) == pytest.approx(18.5, abs=0.05)
    assert 200.7 <= container_mass_kg(DRUM_L, 870.0, container_tare_kg(DRUM_L)) <= 202.7 + 1e-9


def test_a_larger_container_is_never_lighter() -> None:
    tares = [container_tare_kg(float(litres)) for litres in range(1, 251)]
    assert tares == sorted(tares)
    assert 0.0 < tares[0] < 0.5


@pytest.mark.parametrize("volume_L", [0.0, 1000.0, math.nan])
def test_the_tare_of_bulk_is_not_guessed(volume_L: float) -> None:
    with pytest.raises(ValueError, match="outside 1 to 250 L"):
        container_tare_kg(volume_L)


@pytest.mark.parametrize("mass_kg", [0.0, -3.0, math.nan, math.inf])
def test_a_thing_that_weighs_nothing_is_refused(mass_kg: float) -> None:
    with pytest.raises(ValueError, match="mass"):
        handling(mass_kg, "the thing")
