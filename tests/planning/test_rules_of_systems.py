"""The rules of systems on a few simulated plants: seldom without their fault, mostly with it.

The long run is tests/measure/system_faults.py; bounds leave room for chance (three standard errors or more).
"""

import numpy as np
import pytest

from scheduler.planning.cold_bypass import cold_bypasses
from scheduler.planning.condition import assess_condition
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import assess_duty
from scheduler.planning.indicator import sightings_of
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.suction_diagnoses import suction_diagnoses
from tests.measure import cold_starting, suction_positions
from tests.measure.suction_positions import SuctionFault
from tests.planning.small_plant import NOW, life_of, prior_of_life


def said(columns: PlantColumns) -> list[Diagnosis]:
    duty = assess_duty(columns)
    told = life_of(2500.0, positions=len(columns.positions.code))
    condition = assess_condition(columns, duty, prior_of_life(columns, told))
    return suction_diagnoses(columns, condition) + cold_bypasses(columns, condition, sightings_of(columns, condition))


def test_sound_suction_sides_are_hardly_ever_spoken_of() -> None:
    """Three looks at 40 sides, some of half a year: at 0.02 a year each it would be 1 of both rules together."""
    sound = suction_positions.simulated_suctions(np.random.default_rng(501), 40)
    found = {
        (each.code, each.position)
        for now in (NOW - 240.0, NOW - 120.0, NOW)
        for each in said(suction_positions.as_plant(sound, now))
    }
    assert len(found) <= 4


@pytest.mark.parametrize(
    ("fault", "code", "after_d", "least"),
    [
        (SuctionFault.COLD, "vacuum-too-high-when-cold", 120.0, 0.4),
        (SuctionFault.LINE, "vacuum-up-strainer-clean", 56.0, 0.6),
    ],
    ids=["cold", "line"],
)
def test_a_suction_side_with_its_fault_is_mostly_told(
    fault: SuctionFault, code: str, after_d: float, least: float
) -> None:
    sides = suction_positions.simulated_suctions(np.random.default_rng(502), 20, fault)
    told = 0
    for side in sides:
        now = min(side.fault_day + after_d, NOW)
        alone = suction_positions.as_plant([side], now)
        told += code in {each.code for each in said(alone)}
    assert told / len(sides) >= least


def test_filters_that_bypass_at_starts_are_told_and_others_are_not() -> None:
    told = []
    for bypasses in (False, True):
        filters = cold_starting.simulated_filters(np.random.default_rng([503, bypasses]), 40, bypasses=bypasses)
        found = {each.position for each in said(cold_starting.as_plant(filters))}
        seen = {row for row, each in enumerate(filters) if sum(day > NOW - 60.0 for day in each.opened_cold_day) >= 2}
        told.append((len(found & seen), len(seen), len(found - seen)))
    (_, _, false), (found_seen, of, _) = told
    assert false <= 2
    assert of >= 10
    assert found_seen / of >= 0.7
