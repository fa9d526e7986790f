"""The cautions on a job card."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.engineering.hazards import Job, cautions
from scheduler.vocabulary import Access, FluidFamily, Hazard, Place, TaskKind

jobs = st.builds(
    Job,
    task=st.sampled_from(TaskKind),
    place=st.sampled_from(Place),
    hazards=st.lists(st.one_of(st.sampled_from([h.value for h in Hazard]), st.text(max_size=12))).map(tuple),
    access=st.none() | st.sampled_from(Access),
    fluid_family=st.none() | st.sampled_from(FluidFamily),
    working_pressure_bar=st.none() | st.floats(0.0, 700.0),
    working_temperature_degC=st.none() | st.floats(-40.0, 120.0),
    isolation_procedure=st.none() | st.just("LOTO-12"),
    permits=st.none() | st.just("hot work"),
)


def _text(job: Job) -> str:
    return "\n".join(cautions(job))


@given(jobs)
def test_the_isolation_procedure_comes_first_on_every_card(job: Job) -> None:
    first = cautions(job)[0]
    assert "solation procedure" in first
    assert "comes first" in first
    assert "ISO 14118" in first
    assert "29 CFR 1910.147" in first
    assert "local codes" in first
    assert ("LOTO-12" in first) == (job.isolation_procedure is not None)


@given(jobs)
def test_no_card_calls_a_machine_safe(job: Job) -> None:
    sentences = cautions(job)
    speaking_of_safety = [sentence for sentence in sentences if "safe " in sentence or "safe." in sentence]
    assert speaking_of_safety == [sentences[-1]]
    assert "does not say that it is safe" in sentences[-1]


@given(jobs)
def test_every_hazard_of_the_system_is_on_the_card(job: Job) -> None:
    text = _text(job)
    for hazard in job.hazards:
        known = hazard in {each.value for each in Hazard}
        assert known or hazard.strip() in text


@given(jobs)
def test_no_caution_is_said_twice(job: Job) -> None:
    sentences = cautions(job)
    assert len(set(sentences)) == len(sentences)


@pytest.mark.parametrize(
    ("hazard", "says"),
    [
        (Hazard.ACCUMULATOR, "discharge its oil side"),
        (Hazard.SUSPENDED_LOAD, "Nobody under it"),
        (Hazard.CONFINED_SPACE, "permit"),
        (Hazard.WORK_AT_HEIGHT, "fall protection"),
        (Hazard.TANK_HEATER, "heater off"),
    ],
)
def test_each_hazard_has_its_caution_only_where_it_is(hazard: Hazard, says: str) -> None:
    with_it = Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, hazards=(hazard.value,))
    assert says in _text(with_it)
    assert says not in _text(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN))


def test_a_hazard_in_the_plants_own_words_is_passed_on() -> None:
    assert "robot cell next door" in _text(Job(TaskKind.INSPECT, Place.RETURN, hazards=("robot cell next door",)))


def test_a_system_without_a_procedure_number_is_told_to_ask_for_it() -> None:
    assert "ask for it before starting" in cautions(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN))[0]


def test_nobody_feels_for_a_leak_by_hand_from_seven_bar_on() -> None:
    # published safety pages: injection reported from about 7 bar (100 psi); surgery within hours
    pressed = Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, working_pressure_bar=7.0)
    assert "never feel for a leak with a hand" in _text(pressed)
    assert "surgeon within hours" in _text(pressed)
    slack = Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, working_pressure_bar=2.0)
    assert "never feel" not in _text(slack)


def test_an_unknown_pressure_is_not_taken_for_none() -> None:
    assert "never feel for a leak" in _text(Job(TaskKind.INSPECT, Place.PRESSURE))


def test_stored_pressure_is_released_before_a_pressure_housing_is_opened() -> None:
    opened = _text(Job(TaskKind.CHANGE_ELEMENT, Place.PRESSURE, working_pressure_bar=210.0))
    assert "gauges at zero" in opened
    assert "ISO 4413" in opened
    assert "gauges at zero" not in _text(Job(TaskKind.LOOK_WHEN_WARM, Place.PRESSURE))


def test_a_suction_line_is_shut_before_and_opened_again_after() -> None:
    text = _text(Job(TaskKind.SERVICE_STRAINER, Place.SUCTION))
    assert "shut its valve" in text
    assert "lock it open before the pump may start" in text


def test_hot_oil_is_told_with_its_temperature() -> None:
    hot = Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, working_temperature_degC=62.0)
    assert "about 62 °C and scalds" in _text(hot)
    assert "scald" not in _text(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, working_temperature_degC=30.0))
    assert "may be hot enough to scald" in _text(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN))


def test_opening_a_housing_brings_oil_to_the_floor_and_loads_to_the_hands() -> None:
    text = _text(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN))
    assert "Oil on the floor" in text
    assert "NIOSH 94-110" in text
    assert "Oil on the floor" not in _text(Job(TaskKind.INSPECT, Place.RETURN))


def test_a_blocked_breather_may_hold_pressure() -> None:
    assert "blocked or pre-loaded breather" in _text(Job(TaskKind.CHANGE_BREATHER, Place.BREATHER))


def test_a_look_at_a_running_machine_keeps_hands_outside_the_guards() -> None:
    first = cautions(Job(TaskKind.LOOK_WHEN_WARM, Place.RETURN, isolation_procedure="LOTO-12"))[0]
    assert "outside its guards" in first
    assert "lock and tag" not in first


def test_a_change_on_a_running_machine_checks_which_side_is_shut() -> None:
    text = _text(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, access=Access.RUNNING))
    assert "which side of a changeover valve is shut" in text


@pytest.mark.parametrize(
    ("family", "says"),
    [
        (FluidFamily.HFDR, "phosphate ester"),
        (FluidFamily.HFC, "contains water"),
        (FluidFamily.HM, "away from flames"),
    ],
)
def test_each_fluid_has_its_own_caution(family: FluidFamily, says: str) -> None:
    assert says in _text(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, fluid_family=family))


def test_permits_stand_right_after_the_isolation() -> None:
    assert "hot work" in cautions(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, permits="hot work"))[1]
