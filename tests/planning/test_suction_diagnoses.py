"""What the vacuum says of a cold start, and of a cleaned strainer; with the fault and without it.

Oil of small_plant: 577.3, 267.2 (by the law), 133.8 and 29.97 mm²/s at 0, 10, 20 and 50 °C (ASTM D341).
"""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import assess_duty
from scheduler.planning.suction_diagnoses import suction_diagnoses
from scheduler.vocabulary import Place, RemovalReason, Severity, Status, TaskKind
from tests.planning.small_plant import (
    NAN,
    NOW,
    STRAINER,
    Life,
    Position,
    Reading,
    System,
    life_of,
    plant,
    prior_of_life,
)

HEAD_BAR_PER_M = 870.0 * 0.97545 * 9.80665 / 1e5
"""At 50 °C: the density of 870 kg/m³ at 15 °C falls by 7e-4 a kelvin."""


def looks(*vacuum_bar: float, until: float = NOW, every_d: float = 7.0, degC: float = 50.0) -> tuple[Reading, ...]:
    first = until - every_d * (len(vacuum_bar) - 1)
    return tuple(
        Reading(first + every_d * step, flow_lpm=NAN, oil_temperature_degC=degC, vacuum_bar=bar)
        for step, bar in enumerate(vacuum_bar)
    )


def said(
    *readings: Reading, coldest_degC: float = 0.0, lives: Sequence[Life] = (), **more: object
) -> dict[str, Diagnosis]:
    given: dict[str, object] = {
        "place": Place.SUCTION,
        "part": STRAINER,
        "fitted": STRAINER,
        "inlet_head_m": 0.0,
        "flow_lpm": NAN,
        "fitted_day": NOW - 300.0,
        "readings": tuple(sorted(readings, key=lambda each: each.day)),
    }
    columns = plant(
        Position(**(given | more)),  # type: ignore[arg-type]
        systems=[System(coldest_start_degC=coldest_degC)],
        lives=[replace(life, part=STRAINER) for life in lives],
    )
    condition = assess_condition(columns, assess_duty(columns), prior_of_life(columns, life_of(2500.0)))
    return {each.code: each for each in suction_diagnoses(columns, condition)}


FRICTION = (0.049, 0.051, 0.05, 0.05, 0.051, 0.049, 0.05, 0.05)


def test_a_friction_that_the_coldest_start_makes_too_much_is_told_with_the_temperature_of_the_limit() -> None:
    """0.05 bar at 29.97 mm²/s is 0.34 bar, the usual limit, at 6.8 times as much: 204 mm²/s, at 13 °C (D341)."""
    found = said(*looks(*FRICTION))["vacuum-too-high-when-cold"]
    assert (found.severity, found.asks_for, found.since_day) == (Severity.SOON, None, NOW)
    # 577.3 / 29.97 times; a tenth of the friction is not taken to follow the viscosity
    assert found.numbers["cold_vacuum_bar"] == pytest.approx(0.05 * 577.3 / 29.97, rel=0.12)
    assert found.numbers["limit_at_degC"] == pytest.approx(13.0, abs=1.5)
    assert found.numbers["warm_vacuum_bar"] == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize("coldest_degC", [25.0, NAN])
def test_a_start_that_is_warm_enough_or_not_known_says_nothing(coldest_degC: float) -> None:
    """At 25 °C the oil is about 3.4 times as thick as at 50 °C (D341): 0.17 bar."""
    assert said(*looks(*FRICTION), coldest_degC=coldest_degC) == {}


def test_a_vacuum_that_is_head_and_not_friction_does_not_grow_with_the_cold() -> None:
    """A pump a metre above the oil shows 0.083 bar with next to no friction."""
    lifted = [HEAD_BAR_PER_M + 0.004 + wobble for wobble in (0.0, 0.001, -0.001, 0.0, 0.001, 0.0, -0.001, 0.0)]
    assert said(*looks(*lifted), inlet_head_m=-1.0) == {}
    assert "vacuum-too-high-when-cold" in said(*looks(*lifted), inlet_head_m=0.0)


def test_a_flooded_pump_has_more_friction_than_its_vacuum_shows() -> None:
    """0.06 bar of friction under half a metre of oil shows 0.018 bar; on a start at 5 °C (12.8 times) 0.73 bar."""
    shown = looks(0.02, 0.02, 0.018, 0.018, 0.02, 0.018, 0.018, 0.018)
    assert "vacuum-too-high-when-cold" in said(*shown, inlet_head_m=0.5, coldest_degC=5.0)
    assert said(*shown, inlet_head_m=0.0, coldest_degC=5.0) == {}


def test_without_a_told_head_only_cold_readings_tell() -> None:
    warm = looks(*FRICTION, until=NOW - 7.0)
    assert said(*warm, inlet_head_m=NAN) == {}
    cool = [Reading(NOW - 3.0 * day, NAN, NAN, 25.0, vacuum_bar=0.17) for day in range(3)]
    found = said(*warm[3:], *cool, inlet_head_m=NAN)["vacuum-too-high-when-cold"]
    assert not found.numbers["head_told"]


def test_a_vacuum_that_is_near_the_limit_with_warm_oil_is_told_as_that() -> None:
    assert said(*looks(*[0.31] * 8)) == {}


def test_three_readings_and_a_gauge_that_shows_nothing_say_nothing() -> None:
    assert said(*looks(*FRICTION[:3])) == {}
    assert said(*looks(*[0.0] * 8), inlet_head_m=1.0) == {}


def test_a_plant_out_of_service_is_left_alone() -> None:
    assert said(*looks(*FRICTION), status=Status.RETIRED) == {}


CLEANED = NOW - 50.0
BEFORE = (0.08, 0.081, 0.079, 0.08, 0.082)


def earlier() -> Life:
    return Life(CLEANED - 200.0, CLEANED, RemovalReason.EARLY, readings=looks(*BEFORE, until=CLEANED - 160.0))


def since(*vacuum_bar: float) -> tuple[Reading, ...]:
    return looks(*vacuum_bar, until=NOW - 1.0, every_d=6.0)


def cleaned(*readings: Reading, lives: Sequence[Life] | None = None, **more: object) -> dict[str, Diagnosis]:
    told = [earlier()] if lives is None else lives
    return said(*readings, coldest_degC=NAN, lives=told, fitted_day=CLEANED, **more)


def test_a_vacuum_that_rose_under_a_clean_strainer_is_looked_into() -> None:
    found = cleaned(*since(0.13, 0.131, 0.129, 0.13, 0.132))["vacuum-up-strainer-clean"]
    assert (found.severity, found.asks_for) == (Severity.SOON, TaskKind.INSPECT)
    assert found.numbers["before_bar"] == pytest.approx(0.08, abs=0.002)
    assert found.numbers["after_bar"] == pytest.approx(0.13, abs=0.002)
    assert found.numbers["cleaned_day"] == CLEANED


def test_a_vacuum_that_rose_weeks_after_the_cleaning_is_held_against_the_first_since() -> None:
    readings = since(0.08, 0.081, 0.08, 0.079, 0.13, 0.13, 0.131, 0.129)
    assert "vacuum-up-strainer-clean" in cleaned(*readings, lives=[])


@pytest.mark.parametrize(
    "vacuum_bar",
    [
        (0.08, 0.083, 0.081, 0.085, 0.084),
        (0.08, 0.08, 0.13, 0.081, 0.08),  # one misread gauge
        (0.13, 0.13, 0.131, 0.08, 0.081, 0.08, 0.08),  # it went back
    ],
)
def test_a_steady_vacuum_a_slip_and_one_that_went_back_say_nothing(vacuum_bar: tuple[float, ...]) -> None:
    assert cleaned(*since(*vacuum_bar)) == {}


def test_cool_oil_in_the_first_weeks_is_no_rise() -> None:
    """At 40 °C the oil is 46 / 29.97 times as thick as at 50 °C, and so is the friction."""
    cool = tuple(replace(each, oil_temperature_degC=40.0) for each in since(*[0.08 * 46.0 / 29.97] * 5))
    assert cleaned(*cool) == {}


def test_a_strainer_that_is_dirty_by_now_is_no_clean_one() -> None:
    risen = (0.08, 0.081, 0.08, 0.079, *[0.09] * 5, *[0.11] * 5, *[0.13] * 8)
    assert said(*looks(*risen), coldest_degC=NAN) == {}
