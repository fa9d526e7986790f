"""A short version of tests/measure/diagnosis_rules.py: few false alarms, and faults found, with room for chance.

The bounds are wide: some 40 position-years and 30 faults a rule, of seeds by which nothing was chosen.
"""

import numpy as np
import pytest

from tests.measure import healthy_oil, healthy_positions
from tests.measure.diagnosis_rules import fallen, found_in_plants, is_past_terminal, plugged
from tests.measure.rule_watch import (
    Change,
    Span,
    by_oil,
    by_readings,
    every,
    false_alarms,
    of_simulated,
    power,
    watch_by,
    years_of,
)
from tests.measure.simulated_plants.machine import FIRST_DAY, SimulatedPlant, simulate
from tests.measure.simulated_plants.settings import Settings
from tests.planning.small_plant import NOW

SETTINGS_OF_FAULTS = Settings(systems=12, history_d=500, test_d=300, truth_d=1800)
SMALL = Settings(systems=10, history_d=400, test_d=300, truth_d=1800)


@pytest.fixture(scope="module")
def healthy() -> tuple[SimulatedPlant, list[Span], float]:
    plant = simulate("pores closing", 31, SMALL)
    days = every(14.0, FIRST_DAY + 250.0, FIRST_DAY + 650.0)
    return plant, watch_by(by_readings, of_simulated(plant), days), years_of(days, len(plant.places))


@pytest.mark.parametrize("code", ["dp-fell-without-change", "bypass-open-warm"])
def test_healthy_elements_are_left_alone(code: str, healthy: tuple[SimulatedPlant, list[Span], float]) -> None:
    """Goal 0.02 a position-year; at most 2 of 0.7 to be expected. No ΔP falls; past its terminal one may bypass."""
    plant, spans, years = healthy
    is_true = is_past_terminal(plant) if code == "bypass-open-warm" else lambda _span: False
    assert years > 30.0
    assert false_alarms(spans, code, years, is_true).count <= 2


@pytest.mark.parametrize(
    ("code", "fault", "within_d", "least"),
    [("dp-fell-without-change", fallen, 120.0, 0.65), ("bypass-open-warm", plugged, 60.0, 0.85)],
)
def test_an_element_that_tears_or_plugs_is_found(code: str, fault: Change, within_d: float, least: float) -> None:
    assert found_in_plants(code, fault, 15, 31, within_d, SETTINGS_OF_FAULTS).share >= least


def test_strainers_are_left_alone_until_they_clog() -> None:
    days = every(14.0, NOW - 365.0, NOW + 1.0)
    rng = np.random.default_rng(31)
    sound, clogging = (healthy_positions.strainers(rng, 30, faulty=faulty) for faulty in (False, True))
    spans = watch_by(by_readings, sound.watched, days)
    code = "inlet-vacuum-near-limit"
    assert false_alarms(spans, code, years_of(days, 30), sound.is_true).count <= 2
    assert power(watch_by(by_readings, clogging.watched, days), code, clogging.faults, 75.0).share >= 0.8


def test_oil_under_its_target_is_left_alone_until_it_is_dirty() -> None:
    days = every(30.0, NOW - 365.0, NOW + 1.0)
    rng = np.random.default_rng(31)
    sound, dirty = (healthy_oil.sampled(rng, 25, faulty=faulty) for faulty in (False, True))
    spans = watch_by(by_oil, sound.watched, days)
    assert false_alarms(spans, "cleanliness-missed", years_of(days, 25), sound.is_true).count <= 2
    assert power(watch_by(by_oil, dirty.watched, days), "cleanliness-missed", dirty.faults, 150.0).share >= 0.85
