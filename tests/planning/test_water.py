"""Water as a share of saturation: the sample's own, the fluid's, or that of mineral oil, and when it is spoken of.

Mineral oil dissolves 200 to 300 ppm at 20 °C; at or under 50 % of saturation is asked for (published handbooks).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from scheduler.engineering.oil import Fluid
from scheduler.planning.plant_columns import PlantColumns
from scheduler.planning.water import LimitFrom, water_diagnoses, water_levels
from scheduler.vocabulary import EventKind, FluidFamily, Severity
from tests.planning.small_plant import NAN, NOW, OIL, Event, Position, System, plant
from tests.planning.test_cleanliness import Sample, rows_of


def oiled(
    *pct: float,
    ppm: Sequence[float] = (),
    fluid: Fluid = OIL,
    limit_ppm: float = NAN,
    events: Sequence[Event] = (),
    ago_d: float = 1.0,
) -> PlantColumns:
    """Samples 30 days apart, the newest a day ago."""
    count = len(pct) + len(ppm)
    days = NOW - ago_d - 30.0 * np.arange(count)[::-1]
    told = [(each, NAN) for each in pct] + [(NAN, each) for each in ppm]
    samples = [
        Sample(float(day), water_saturation_pct=share, water_ppm=mass)
        for day, (share, mass) in zip(days, told, strict=True)
    ]
    columns = plant(Position(), systems=[System(fluid=fluid)], events=events)
    systems = replace(columns.systems, water_saturation_20_ppm=np.array([limit_ppm]))
    return replace(columns, oil_samples=rows_of(samples), systems=systems)


def codes(columns: PlantColumns) -> set[str]:
    return {each.code for each in water_diagnoses(columns, water_levels(columns))}


def test_ppm_are_held_against_what_the_fluid_dissolves() -> None:
    level = water_levels(oiled(ppm=[300.0, 300.0, 300.0], limit_ppm=1000.0))[0]
    assert level.level_pct == pytest.approx(30.0, rel=0.02)
    assert level.limit_from is LimitFrom.FLUID


def test_mineral_oil_without_a_limit_takes_the_middle_of_the_published() -> None:
    level = water_levels(oiled(ppm=[125.0, 125.0, 125.0]))[0]
    assert level.level_pct == pytest.approx(50.0, rel=0.02)
    assert level.limit_from is LimitFrom.TYPICAL


def test_other_fluids_hold_far_more_and_are_not_guessed_at() -> None:
    ester = Fluid("HE46", "Ester", FluidFamily.HEES, 46)
    assert water_levels(oiled(ppm=[600.0, 600.0], fluid=ester)) == {}
    assert water_levels(oiled(30.0, 40.0, fluid=ester))[0].limit_from is LimitFrom.SAMPLE


def test_a_water_glycol_holds_water_by_design() -> None:
    assert water_levels(oiled(90.0, 95.0, fluid=Fluid("HFC46", "Water glycol", FluidFamily.HFC, 46))) == {}


def test_dry_oil_says_nothing_and_wet_oil_is_high() -> None:
    assert codes(oiled(20.0, 22.0, 18.0, 21.0)) == set()
    assert codes(oiled(75.0, 80.0, 78.0)) == {"water-high"}


def test_one_sample_above_the_half_is_not_enough_but_free_water_is() -> None:
    assert codes(oiled(20.0, 22.0, 60.0)) == set()
    assert codes(oiled(20.0, 22.0, 100.0)) == {"water-high"}


def test_oil_full_of_free_water_is_for_at_once() -> None:
    columns = oiled(ppm=[700.0, 800.0, 750.0])
    [found] = water_diagnoses(columns, water_levels(columns))
    assert (found.severity, found.numbers["free"]) == (Severity.NOW, True)


def test_water_that_rises_month_by_month_is_told_before_it_is_high() -> None:
    columns = oiled(*np.geomspace(12.0, 44.0, 12).tolist())
    [found] = water_diagnoses(columns, water_levels(columns))
    assert found.code == "water-rising"
    # 44/12 in eleven months of thirty days: 4.2 times a year
    assert found.numbers["times_a_year"] == pytest.approx(4.2, rel=0.15)


def test_an_oil_change_begins_anew_and_old_water_is_not_spoken_of() -> None:
    wet_then_dry = oiled(80.0, 85.0, 82.0, 20.0, 21.0, events=[Event(EventKind.OIL_CHANGE, NOW - 45.0)])
    assert codes(wet_then_dry) == set()
    assert codes(oiled(80.0, 85.0, 82.0, ago_d=200.0)) == set()
