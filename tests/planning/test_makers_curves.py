"""The makers' curves of a plant's catalogue, and what they are worth to its forecasts."""

import numpy as np
import pytest

from scheduler.planning.condition import assess_condition
from scheduler.planning.duty import assess_duty
from scheduler.planning.makers_curves import makers_curves
from tests.planning.small_plant import (
    ALTERNATE,
    ELEMENT,
    NOW,
    STRANGER,
    CurvePoints,
    Life,
    Position,
    Reading,
    plant,
)

LIFE_D, AGE_D = 110.0, 100.0
CLEAN_BAR, TERMINAL_BAR = 0.3, 2.5

KNEE: CurvePoints = (
    *((0.0, 0.30), (15.0, 0.303), (30.0, 0.306), (40.0, 0.31), (44.0, 0.315)),
    *((46.0, 0.60), (48.0, 1.22), (50.0, 2.50), (52.0, 5.10)),
)
"""Flat for seven eighths of the dust, then doubling with each 2 g: invented."""
BROKEN: CurvePoints = ((0.0, 0.3), (20.0, 0.9), (30.0, 0.5), (40.0, 2.0), (50.0, 3.0))


def followed(points: CurvePoints) -> tuple[Reading, ...]:
    """Readings of an element that takes on dust evenly and shows what its maker measured, full at 50 g."""
    mass_g, level_bar = np.array(points).T
    days = np.append(np.arange(4.0, AGE_D, 4.0), AGE_D)
    log_dp = np.interp(50.0 * days / LIFE_D, mass_g, np.log(level_bar))
    noisy = np.exp(log_dp + np.random.default_rng(3).normal(0.0, 0.03, len(days)))
    return tuple(Reading(NOW - AGE_D + day, round(float(dp), 3)) for day, dp in zip(days, noisy, strict=True))


def at_work(part: str = ELEMENT) -> Position:
    return Position(
        part=part, fitted=part, fitted_day=NOW - AGE_D, terminal_dp_bar=TERMINAL_BAR, readings=followed(KNEE)
    )


def test_types_in_use_have_the_curve_that_their_points_tell() -> None:
    told = {ELEMENT: KNEE, ALTERNATE: KNEE, STRANGER: KNEE}
    columns = plant(at_work(), curves=told, lives=[Life(NOW - 400.0, NOW - 200.0, part=STRANGER)])
    found = {columns.types.part_number[kind] for kind in makers_curves(columns)}
    assert found == {ELEMENT, STRANGER}


def test_points_that_fall_are_left_out_and_planning_goes_on_as_without() -> None:
    with_it, without = (plant(at_work(), curves=told) for told in ({ELEMENT: BROKEN}, {}))
    assert makers_curves(with_it) == {}
    hours = [assess_condition(each, assess_duty(each)).remaining.quantile(0.5) for each in (with_it, without)]
    assert hours[0].tolist() == hours[1].tolist()


@pytest.mark.parametrize("lives_before", [0, 4])
def test_readings_that_follow_the_makers_knee_are_forecast_nearer_with_its_points(lives_before: int) -> None:
    """Lives before, where there are any, are without a reading: they tell how long, not how."""
    lives = [Life(NOW - 500.0 + 100.0 * each, NOW - 400.0 + 100.0 * each) for each in range(lives_before)]
    left_h = (LIFE_D - AGE_D) * 8.0
    off = []
    for told in ({}, {ELEMENT: KNEE}):
        columns = plant(at_work(), curves=told, lives=lives)
        remaining = assess_condition(columns, assess_duty(columns)).remaining
        off.append(float(np.abs(np.log(remaining.quantile(0.5)[0] / left_h))))
    assert off[1] < 0.7 * off[0]
