"""The steps stand in one order, each once, whatever the job: what comes later must not be possible earlier."""

import pytest
from hypothesis import given, settings

from scheduler.job_card.job import Job
from scheduler.job_card.steps import ORDER, RECORDS, steps
from scheduler.vocabulary import Access, EventKind, Hazard, Place, TaskKind
from tests.job_card.jobs import any_job, every_kind_of_job, return_change


def keys(job: Job) -> list[str]:
    return [step.key for step in steps(job)]


@settings(max_examples=300, deadline=None)
@given(any_job)
def test_steps_appear_in_the_fixed_order_none_twice_isolation_first_and_signature_last(job: Job) -> None:
    found = keys(job)
    assert set(found) <= set(ORDER)
    assert found == [key for key in ORDER if key in found]
    assert (found[0], found[-1]) == ("permit-and-isolation", "sign-off")


@settings(max_examples=300, deadline=None)
@given(any_job)
def test_a_step_is_short_plain_and_complete(job: Job) -> None:
    for step in steps(job):
        assert len(step.says) <= 380, step
        assert step.says[0].isupper(), step
        assert step.says.endswith((".", "?")), step
        assert not any(slip in step.says for slip in ("..", "  ", "None", " .", " ;", "()")), step
        assert set(step.records) <= set(RECORDS), step


def test_every_kind_of_job_has_its_steps_in_order() -> None:
    seen: set[str] = set()
    for job in every_kind_of_job():
        found = keys(job)
        seen |= set(found)
        assert len(found) >= 4, job
        assert found == [key for key in ORDER if key in found], job
    of_hazards = {"loads", "heater", "accumulators"}
    assert set(ORDER) - seen == of_hazards | {"why"}  # what only a told hazard or reason brings


def test_the_order_of_a_change_is_that_of_the_trade() -> None:
    """Common practice, no source: written out by hand, as the steps of a change are taught."""
    hazards = (Hazard.SUSPENDED_LOAD.value, Hazard.TANK_HEATER.value, Hazard.ACCUMULATOR.value)
    assert keys(return_change(hazards=hazards)) == [
        *("permit-and-isolation", "labels", "read-before"),
        *("stop", "loads", "heater", "accumulators", "zero-pressure"),
        *("cool", "clean-outside", "vent-open", "old-element-out", "look-inside"),
        *("seal", "seat-element", "bypass", "fill-and-vent", "start", "leak-check"),
        *("dp-after", "level", "top-up", "waste", "sign-off"),
    ]


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        # ISO 14118 and 29 CFR 1910.147: stopped and isolated, then stored energy, then the proof, then the work
        ("stop", "accumulators"),
        ("accumulators", "zero-pressure"),
        ("zero-pressure", "vent-open"),
        # common practice, no source
        ("labels", "vent-open"),
        ("heater", "drain"),
        ("cool", "drain"),
        ("clean-outside", "vent-open"),
        ("suction-valve", "vent-open"),
        ("seal", "seat-element"),
        ("prime", "start"),
        ("start", "leak-check"),
        ("leak-check", "dp-after"),
        ("level", "top-up"),
        ("first-sample", "bottom-of-tank"),
    ],
)
def test_what_protects_comes_before_what_it_protects_from(earlier: str, later: str) -> None:
    assert ORDER.index(earlier) < ORDER.index(later)


@pytest.mark.parametrize("access", [None, *Access])
@pytest.mark.parametrize("place", [each for each in Place if each not in {Place.BREATHER, Place.FILLER}])
def test_a_change_is_told_in_as_many_steps_as_a_fitter_will_read(place: Place, access: Access | None) -> None:
    hazards = (Hazard.SUSPENDED_LOAD.value, Hazard.ACCUMULATOR.value)
    for side in ("", "A") if access is not Access.DRAINED else ("",):
        found = keys(return_change(place=place, access=access, side=side, hazards=hazards))
        assert 12 <= len(found) <= 26, found
    assert len(keys(return_change(hazards=()))) <= 21


@pytest.mark.parametrize("task", TaskKind)
def test_a_card_asks_for_nothing_that_its_close_out_cannot_tell(task: TaskKind) -> None:
    asked = [record for step in steps(Job(task, Place.RETURN)) for record in step.records]
    assert asked
    assert set(asked) <= set(RECORDS)


@settings(max_examples=150, deadline=None)
@given(any_job)
def test_what_must_go_together_goes_together(job: Job) -> None:
    """Common practice, no source: a level without rest says nothing, a start without a leak check nothing either."""
    card = {step.key: step for step in steps(job)}
    if "level" in card and not job.keeps_running:
        assert "settle" in card or "bring the machine to rest" in card["level"].says
    if "start" in card:
        assert "leak-check" in card
        assert "stop" in card or "shut-off" in card
    if "drain" in card:
        assert {"fill-and-vent", "prime", "tank-entry"} <= set(card)
    if {"vent-open", "cut-open", "bottom-of-tank"} & set(card) and not job.on_tank_top:
        assert "zero-pressure" in card
    if {"old-element-out", "top-up", "flush-port", "run-clean-up", "fill-and-vent"} & set(card):
        assert "waste" in card
    if job.task is TaskKind.CHECK_AFTER_EVENT and job.event is not EventKind.OVERHEATED:
        assert "leak-check" in card
