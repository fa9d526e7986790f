"""Dirty oil behind an element that looks clean late in its life, and what looks like it; 0.3 bar is clean."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from scheduler.engineering.cleanliness_code import Code
from scheduler.planning.cleanliness import Verdict, assess_cleanliness
from scheduler.planning.condition import Condition, assess_condition
from scheduler.planning.contamination import Contamination, assess_contamination
from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.duty import Duty, assess_duty
from scheduler.planning.open_bypass import open_bypasses, so_low_probability
from scheduler.planning.plant_columns import PlantColumns
from scheduler.statistics.contamination_causes import Cause
from scheduler.vocabulary import Place, SamplePoint, Severity, TaskKind
from tests.planning.small_plant import NOW, Position, Reading, life_of, plant, prior_of_life
from tests.planning.test_cleanliness import Sample, rows_of

RUN_D = 300.0
LIFE_H = 2800.0
"""300 days are 2,400 h: late in a usual life of 2,800 h."""


def samples(*counts: float, behind: float | None = None) -> list[Sample]:
    first_day = NOW - 2.0 - 30.0 * (len(counts) - 1)
    found = [Sample(first_day + 30.0 * place, counts=(each,) * 3) for place, each in enumerate(counts)]
    if behind is not None:
        found += [
            replace(each, counts=(behind * each.counts[0],) * 3, point=SamplePoint.DOWNSTREAM, position=0)
            for each in found[-3:]
        ]
    return found


def levels(*dp_bar: float) -> tuple[Reading, ...]:
    step_d = (RUN_D - 10.0) / (len(dp_bar) - 1)
    return tuple(Reading(NOW - RUN_D + 8.0 + step_d * place, bar) for place, bar in enumerate(dp_bar))


STAYED_LOW = levels(*[0.31, 0.33, 0.34, 0.36, 0.37, 0.38, 0.40, 0.41, 0.43, 0.44, 0.15, 0.14, 0.15, 0.16, 0.15])
"""Since two months two thirds of the flow go round it (Darcy)."""
ROSE = levels(*[0.31, 0.33, 0.36, 0.40, 0.44, 0.50, 0.57, 0.65, 0.75, 0.87, 1.0, 1.15, 1.3, 1.5, 1.7])
UP = (180.0, 210.0, 190.0, 220.0, 200.0, 180.0, 900.0, 1000.0, 950.0)
STEADY = (180.0, 210.0, 190.0, 220.0, 200.0, 180.0, 190.0, 200.0, 210.0)


def weighed(
    readings: Sequence[Reading], oil: Sequence[Sample], *, life_h: float = LIFE_H, target: str = ""
) -> tuple[PlantColumns, Duty, Condition, Contamination]:
    position = Position(
        "RET", place=Place.RETURN, fitted_day=NOW - RUN_D, terminal_dp_bar=2.5, readings=tuple(readings)
    )
    columns = plant(position)
    columns = replace(
        columns,
        oil_samples=rows_of(oil),
        types=replace(columns.types, rating_um=np.full(5, 4.0), beta=np.full(5, 200.0)),
        systems=replace(columns.systems, cleanliness_target=(Code.parse(target) if target else None,)),
    )
    duty = assess_duty(columns)
    condition = assess_condition(columns, duty, prior_of_life(columns, life_of(life_h)))
    return columns, duty, condition, assess_contamination(columns, duty, condition, frozenset(), every_cause=True)


def said(
    readings: Sequence[Reading], oil: Sequence[Sample], *, life_h: float = LIFE_H, target: str = ""
) -> list[Diagnosis]:
    columns, duty, condition, found = weighed(readings, oil, life_h=life_h, target=target)
    return open_bypasses(columns, duty, condition, assess_cleanliness(columns), found)


def test_counts_up_behind_an_element_that_looks_clean_late_in_its_life_say_that_oil_goes_round_it() -> None:
    [found] = said(STAYED_LOW, samples(*UP, behind=0.8))
    assert (found.code, found.position, found.severity, found.asks_for) == (
        "dirty-oil-clean-element",
        0,
        Severity.SOON,
        TaskKind.INSPECT,
    )
    assert found.numbers["dp_bar"] == pytest.approx(0.15, abs=0.01)
    assert (found.numbers["run_h"], found.numbers["life_h"]) == (2400, 2800)
    assert found.numbers["probability"] > 0.5
    assert found.numbers["target"] is None


def test_a_target_that_is_missed_makes_it_urgent() -> None:
    [found] = said(STAYED_LOW, samples(*UP, behind=0.8), target="15/13/10")
    assert (found.severity, found.numbers["target"]) == (Severity.NOW, "15/13/10")


def test_an_element_that_loaded_as_it_should_is_not_gone_round() -> None:
    assert said(ROSE, samples(*UP, behind=0.005)) == []
    assert said(ROSE, samples(*UP, behind=0.8)) == []


def test_oil_as_clean_as_ever_says_nothing_of_a_low_dp() -> None:
    assert said(STAYED_LOW, samples(*STEADY, behind=0.005)) == []


def test_counts_without_any_dp_are_told_as_what_they_are() -> None:
    columns, duty, condition, found = weighed((), samples(*UP, behind=0.8))
    assert found.causes[0].probability[Cause.BYPASS] > 0.1
    assert open_bypasses(columns, duty, condition, [], found) == []


def test_a_low_dp_early_in_a_life_is_what_a_new_element_shows() -> None:
    """2,400 of 12,000 h."""
    assert said(STAYED_LOW, samples(*UP, behind=0.8), life_h=12_000.0) == []


def test_an_element_that_holds_back_what_comes_is_sound() -> None:
    """Behind it one particle in two hundred: more dirt comes in."""
    assert said(STAYED_LOW, samples(*UP, behind=0.005)) == []


def test_the_chance_of_so_low_a_dp_grows_with_the_level_and_falls_with_the_hours() -> None:
    _, _, condition, _ = weighed(STAYED_LOW, samples(*STEADY))
    by_level = [so_low_probability(condition, 0, bar, 2400.0) for bar in (0.2, 0.3, 0.6, 1.2, 2.5)]
    assert by_level == sorted(by_level)
    assert by_level[0] < 0.05
    # before the middle of its life's distribution most have not reached the terminal ΔP yet
    assert by_level[-1] > 0.5
    by_hours = [so_low_probability(condition, 0, 0.4, run_h) for run_h in (100.0, 1000.0, 2400.0, 4000.0)]
    assert by_hours == sorted(by_hours, reverse=True)


def test_no_verdict_of_the_samples_is_needed() -> None:
    columns, _, _, _ = weighed(STAYED_LOW, samples(*UP))
    assert {each.verdict for each in assess_cleanliness(columns)} == {Verdict.NO_TARGET}
