"""The cautions on a job card: each rule, where it speaks and where it is silent."""

import pytest
from hypothesis import given, settings

from scheduler.engineering.containers import container_mass_kg
from scheduler.job_card.cautions import DENIAL, Caution, cautions
from scheduler.job_card.job import Job
from scheduler.job_card.steps import steps
from scheduler.vocabulary import Access, EventKind, FluidFamily, Hazard, Place, TaskKind
from tests.job_card.jobs import any_job, every_kind_of_job, return_change

REFERENCES = {"ISO 4413", "ISO 14118", "29 CFR 1910.147", "NIOSH 94-110", "common practice, no source"}
"""What a caution may name, and no clause of it."""

SUCTION = Job(TaskKind.SERVICE_STRAINER, Place.SUCTION)
BREATHER = Job(TaskKind.CHANGE_BREATHER, Place.BREATHER)


def text(job: Job) -> str:
    return "\n".join(map(str, cautions(job)))


def saying(words: str, job: Job) -> Caution:
    (found,) = [caution for caution in cautions(job) if words in caution.says]
    return found


@settings(max_examples=150, deadline=None)
@given(any_job)
def test_isolation_is_first_and_the_denial_last_on_every_card(job: Job) -> None:
    # ISO 14118 and 29 CFR 1910.147: isolation before any work
    first, *_, last = cautions(job)
    assert "solation procedure" in first.says
    assert "comes first" in first.says
    assert "local codes" in first.says
    assert first.reference == "ISO 14118; 29 CFR 1910.147"
    procedure = (job.isolation_procedure or "").strip()
    assert ("ask for it before starting" in first.says) == (not procedure)
    assert procedure in first.says
    assert last == DENIAL


@settings(max_examples=150, deadline=None)
@given(any_job)
def test_every_caution_is_said_once_with_a_reference_that_is_known(job: Job) -> None:
    found = cautions(job)
    assert len({caution.says for caution in found}) == len(found)
    for caution in found:
        assert set(caution.reference.split("; ")) <= REFERENCES
        assert caution.says[0].isupper()
        assert caution.says.endswith(".")
        assert str(caution).endswith(f" ({caution.reference}).")


@settings(max_examples=150, deadline=None)
@given(any_job)
def test_every_hazard_of_the_system_is_on_the_card(job: Job) -> None:
    said = text(job)
    for hazard in job.hazards:
        known = hazard in {each.value for each in Hazard}
        assert known or hazard.strip() in said


@pytest.mark.parametrize(
    ("hazard", "says", "reference"),
    [
        (Hazard.ACCUMULATOR, "discharge its oil side", "ISO 4413"),
        (Hazard.SUSPENDED_LOAD, "Nobody under it", "ISO 4413; ISO 14118"),
        (Hazard.CONFINED_SPACE, "without the plant's permit", "common practice, no source"),
        (Hazard.WORK_AT_HEIGHT, "fall protection", "common practice, no source"),
        (Hazard.TANK_HEATER, "heater off and isolate it before the oil level falls", "common practice, no source"),
    ],
)
def test_each_hazard_has_its_caution_only_where_it_is(hazard: Hazard, says: str, reference: str) -> None:
    assert saying(says, return_change(hazards=(hazard.value,))).reference == reference
    assert says not in text(return_change(hazards=()))


def test_a_hazard_in_the_plants_own_words_is_passed_on() -> None:
    assert "robot cell next door" in text(Job(TaskKind.INSPECT, Place.RETURN, hazards=("robot cell next door",)))


def test_a_look_at_a_running_machine_keeps_hands_outside_the_guards() -> None:
    # ISO 14118: as long as it can start, nobody reaches in
    for task in (TaskKind.LOOK_WHEN_WARM, TaskKind.INSPECT, TaskKind.TAKE_SAMPLE, TaskKind.CLEAN_UP):
        first = cautions(Job(task, Place.RETURN))[0].says
        assert "outside its guards" in first
        assert "lock and tag" not in first
    for job in (return_change(), return_change(task=TaskKind.FLUSH, access=Access.RUNNING), SUCTION):
        assert "lock and tag" in cautions(job)[0].says


@settings(max_examples=150, deadline=None)
@given(any_job)
def test_cautions_and_steps_agree_whether_the_machine_is_stopped(job: Job) -> None:
    # ISO 14118: who reads "keep outside the guards" must not find a step that locks the pump off, nor the reverse
    is_locked = "lock and tag" in cautions(job)[0].says
    has_stop = "stop" in {step.key for step in steps(job)}
    assert is_locked == (has_stop or job.task is TaskKind.TOP_UP)


def test_permits_stand_right_after_the_isolation() -> None:
    # common practice, no source
    assert "hot work" in cautions(return_change(permits="hot work"))[1].says
    assert "Permits needed" not in text(return_change(permits=" "))


@pytest.mark.parametrize("task", [each for each in TaskKind if each is not TaskKind.CHANGE_BREATHER])
def test_an_injection_goes_to_hospital_at_once_and_is_named(task: TaskKind) -> None:
    # published warnings: injection reported from about 7 bar (100 psi); surgery within hours, even if slight
    says = saying("goes through skin", Job(task, Place.PRESSURE, working_pressure_bar=7.0)).says
    for words in ("never feel for a leak with a hand", "even if it looks slight", "to hospital at once"):
        assert words in says
    assert "say 'high-pressure injection'" in says
    assert "high-pressure injection" not in text(Job(task, Place.PRESSURE, working_pressure_bar=6.9))


def test_a_breather_injects_nobody() -> None:
    assert "goes through skin" not in text(BREATHER)


def test_an_unknown_pressure_is_not_taken_for_none() -> None:
    assert "never feel for a leak" in text(Job(TaskKind.INSPECT, Place.PRESSURE))


@pytest.mark.parametrize("place", [Place.PRESSURE, Place.RETURN, Place.PILOT, Place.CASE_DRAIN, Place.CHARGE])
def test_pressure_that_stayed_behind_is_released_and_seen_at_zero(place: Place) -> None:
    found = saying("Pressure stays behind check valves", Job(TaskKind.CHANGE_ELEMENT, place))
    assert "zero at a test point, a ΔP indicator is no proof" in found.says
    assert found.reference == "ISO 4413"
    assert "stays behind" not in text(Job(TaskKind.LOOK_WHEN_WARM, place))


def test_a_burst_hose_is_opened_with_its_pressure_gone_and_an_oil_change_is_only_looked_at() -> None:
    # ISO 4413
    burst = Job(TaskKind.CHECK_AFTER_EVENT, Place.OTHER, event=EventKind.HOSE_BURST)
    assert "stays behind check valves" in text(burst)
    assert "stays behind" not in text(Job(TaskKind.CHECK_AFTER_EVENT, Place.OTHER, event=EventKind.OIL_CHANGE))


def test_a_sample_is_taken_at_a_valve_made_for_it() -> None:
    # common practice, no source
    assert "valve made for it" in text(Job(TaskKind.TAKE_SAMPLE, Place.RETURN))
    assert "valve made for it" not in text(return_change())


def test_a_suction_line_is_shut_before_and_opened_again_after() -> None:
    # common practice, no source
    assert "lock it open before the pump may start" in saying("shut its valve", SUCTION).says
    assert "shut its valve" not in text(return_change())


def test_a_blocked_breather_may_hold_pressure() -> None:
    assert saying("blocked or pre-loaded breather", BREATHER).reference == "ISO 4413"
    assert "breather may hold" not in text(return_change())


def test_the_first_start_keeps_people_clear() -> None:
    assert saying("everybody clear", return_change()).reference == "ISO 14118"
    assert "first start" not in text(BREATHER)
    assert "first start" not in text(return_change(access=Access.RUNNING, side="A"))


def test_a_change_on_a_running_machine_checks_which_side_is_shut() -> None:
    found = saying("which side of a changeover valve is shut", return_change(access=Access.RUNNING))
    assert "it leaks" in found.says
    assert "changeover valve" not in text(return_change())


def test_a_reservoir_that_is_drained_says_how_much_there_is_and_that_it_is_a_confined_space() -> None:
    # common practice, no source
    drained = return_change(access=Access.DRAINED, reservoir_volume_L=1600.0)
    assert "1600 L" in saying("must not start while it is empty", drained).says
    assert "without the plant's permit" in saying("A drained tank is a confined space", drained).says
    assert "confined space" not in text(return_change())
    listed = return_change(access=Access.DRAINED, hazards=("confined_space",))
    assert text(listed).lower().count("confined space") == 1


def test_hot_oil_is_told_with_its_temperature() -> None:
    # ISO 13732-1, from memory: 48 °C burns in ten minutes; we open at 45 °C or less
    assert "about 62 °C and scalds" in text(return_change(working_temperature_degC=62.0))
    assert "scald" not in text(return_change(working_temperature_degC=45.0))
    assert "may be hot enough to scald" in text(return_change(working_temperature_degC=None))


def test_what_is_looked_at_warm_is_not_touched() -> None:
    # common practice, no source
    assert "look, do not touch" in text(Job(TaskKind.LOOK_WHEN_WARM, Place.RETURN))
    assert "look, do not touch" not in text(return_change())


@pytest.mark.parametrize(
    ("family", "says"),
    [
        # ISO 12922: HFD-R is phosphate ester, HFA, HFB and HFC contain water
        (FluidFamily.HFDR, "phosphate ester"),
        (FluidFamily.HFAE, "contains water"),
        (FluidFamily.HFAS, "contains water"),
        (FluidFamily.HFB, "contains water"),
        (FluidFamily.HFC, "contains water"),
        (FluidFamily.HM, "away from flames"),
        (FluidFamily.HEES, "away from flames"),
        (None, "away from flames"),
    ],
)
def test_each_fluid_has_its_own_caution(family: FluidFamily | None, says: str) -> None:
    assert says in text(return_change(fluid_family=family))


def test_the_skin_is_protected_wherever_oil_is_handled() -> None:
    # common practice, no source
    handled = {job.task for job in every_kind_of_job() if "Protect the skin" in text(job)}
    assert handled == set(TaskKind) - {TaskKind.INSPECT, TaskKind.LOOK_WHEN_WARM, TaskKind.CHECK_LEVEL}


def test_opening_a_housing_brings_its_oil_to_the_floor() -> None:
    # common practice, no source
    assert "for about 8 L" in saying("Oil on the floor", return_change(housing_volume_L=8.0)).says
    assert "Oil on the floor" not in text(Job(TaskKind.INSPECT, Place.RETURN))


def test_a_full_drum_is_never_lifted_by_hand_and_a_pail_hardly() -> None:
    # NIOSH 94-110: the load constant is 23 kg, under the best of conditions; drum and pail as they usually weigh
    drum_kg = container_mass_kg(210.0, 870.0, 18.0)
    drum = return_change(heaviest_lift_kg=drum_kg, heaviest_lift="the 210 L drum", lifting_aid="the drum trolley")
    found = saying("not by hand", drum)
    assert found.says == "The 210 L drum weighs about 201 kg: not by hand, use the drum trolley."
    assert found.reference == "NIOSH 94-110"
    pail = return_change(heaviest_lift_kg=container_mass_kg(20.0, 870.0, 1.1), heaviest_lift="the 20 L pail")
    assert "18.5 kg; 23 kg is the limit under the best of conditions" in saying("The 20 L pail", pail).says
    assert "not by hand" not in text(pail)
    assert "not by hand" in text(return_change(heaviest_lift_kg=23.1))
    assert "not by hand" not in text(return_change(heaviest_lift_kg=23.0))


@pytest.mark.parametrize(
    "task", [TaskKind.CHANGE_ELEMENT, TaskKind.CHANGE_BREATHER, TaskKind.TOP_UP, TaskKind.CLEAN_UP]
)
def test_an_unknown_mass_is_given_its_limit(task: TaskKind) -> None:
    assert saying("within 23 kg", Job(task, Place.RETURN)).reference == "NIOSH 94-110"
    assert "23 kg" not in text(Job(TaskKind.INSPECT, Place.RETURN))
