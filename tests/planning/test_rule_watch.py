"""The frame by which the rules are measured, held against counts made by hand."""

import numpy as np
import pytest

from scheduler.planning.pipeline import judge
from tests.measure.rule_watch import (
    Fault,
    Span,
    Watched,
    by_hours,
    by_oil,
    by_readings,
    every,
    false_alarms,
    of_simulated,
    power,
    scaled,
    spans_of,
    watch,
    with_fault,
    years_of,
)
from tests.measure.simulated_plants.machine import FIRST_DAY, simulate
from tests.measure.simulated_plants.settings import Settings
from tests.planning.small_plant import NOW, Position, Reading, assess, life_of, plant, prior_of_life
from tests.planning.test_diagnoses import faulty

STAGES = (by_readings, by_hours, by_oil)


def span(day: float, position: int = 0, code: str = "a-code") -> Span:
    return Span(code, 0, position, day, None)


def test_what_stands_on_looks_in_a_row_is_one_span_and_what_comes_back_is_another() -> None:
    looks = [(0.0, [span(0.0)]), (7.0, [span(7.0), span(7.0, 1)]), (14.0, [span(14.0, 1)]), (21.0, [span(21.0)])]
    found = [(each.position, each.raised_day, each.cleared_day) for each in spans_of(looks)]
    assert found == [(0, 0.0, 14.0), (1, 7.0, 21.0), (0, 21.0, None)]


def test_a_true_span_is_no_false_alarm_and_a_meters_name_belongs_to_its_code() -> None:
    spans = [span(0.0), span(3.0, 1), span(4.0, code="a-code:PUMP2"), span(5.0, code="other")]
    assert false_alarms(spans, "a-code", 6.0, lambda each: each.position == 1).per_year == pytest.approx(2 / 6)
    assert years_of(np.array([0.0, 365.25]), 4) == pytest.approx(4.0)


def test_a_fault_is_found_only_by_what_is_raised_after_it_and_in_time() -> None:
    spans = [span(10.0, 0), span(40.0, 1), span(3.0, 2)]
    faults = [Fault(0, position, 5.0) for position in range(4)]
    found = power(spans, "a-code", faults, 30.0)
    assert (found.count, found.of) == (1, 3)  # the second too late, the third stood before, the fourth never
    assert power(spans, "a-code", [Fault(0, 0, 5.0, until_day=8.0)], 30.0).count == 0


def test_a_hand_made_plant_is_watched_as_a_pass_judges_it() -> None:
    read = tuple(Reading(NOW - 5.0 * (8 - step), dp) for step, dp in enumerate([0.8] * 6 + [0.3] * 3))

    def known(day: float):  # type: ignore[no-untyped-def]
        told = tuple(each for each in read if each.day <= day)
        return plant(Position(readings=told, terminal_dp_bar=2.5), now=day)

    prior = assess(known(NOW)).condition.prior
    spans = watch(Watched(known, 1, 1), every(5.0, NOW - 40.0, NOW + 1.0), prior=prior)
    assert [each.raised_day for each in spans if each.code == "dp-fell-without-change"] == [NOW]


def test_a_fault_changes_what_is_noted_from_its_day_on_and_nothing_before() -> None:
    healthy = simulate("gentle", 3, Settings(systems=2, history_d=300, test_d=200, truth_d=1500))
    faulty, faults = with_fault(healthy, scaled(0.5), 1, between=(FIRST_DAY + 60.0, FIRST_DAY + 400.0))
    assert len(faults) >= 3
    by_place = {fault.position: fault for fault in faults}
    for was, now in zip(healthy.lives, faulty.lives, strict=True):
        fault = by_place.get(was.place)
        changed = np.flatnonzero(was.dp_bar != now.dp_bar)
        if fault is not None and was.fitted_day < fault.from_day < was.removed_day:
            assert was.day[changed].min() >= fault.from_day
        else:
            assert not len(changed)
    assert of_simulated(faulty).positions == len(healthy.places)


def test_a_rules_own_stages_say_what_the_whole_pass_says() -> None:
    """Of a plant with every fault of readings, and a meter that cannot be right."""
    columns = faulty()
    prior = prior_of_life(columns, life_of(3000.0, positions=len(columns.positions.code)))
    passed = {(each.code, each.position) for each in judge(columns, prior).diagnoses}
    of_readings, of_hours, of_oil = ({(each.code, each.position) for each in by(columns)} for by in STAGES)
    assert len(of_readings) >= 7
    assert of_readings < of_hours == passed
    assert of_oil == set()
