"""Findings of the oil's care in words: one sentence with its numbers, and what to check first."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

import pytest

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.found_diagnoses import found_diagnoses
from scheduler.planning.oil_care import CHECKED_EVENTS, oil_care
from scheduler.vocabulary import DisplayUnits, EventKind, Found
from service.due.care_wording import CARE_DIAGNOSES
from service.due.wording import Wording
from tests.planning.small_plant import BREATHER, NOW, OIL, Event, Finding, Level, Position, TopUp, plant
from tests.planning.test_oil_care import missed, top_ups, with_levels, with_offline

WORDS = Wording(ZoneInfo("UTC"), DisplayUnits.METRIC)


def every_finding() -> Iterable[Diagnosis]:
    yield from oil_care(with_offline(), [missed()])
    yield from oil_care(with_levels(Level(NOW - 2.0, level_pct=80.0)), [])
    yield from oil_care(with_levels(Level(NOW - 2.0, level_pct=80.0, at_rest=False)), [])
    poured = [TopUp(OIL, NOW - 3.0, 45.0)]
    yield from oil_care(with_levels(Level(NOW - 9.0, below_full_L=20.0), top_ups=poured), [])
    leak = [*top_ups(60.0, 10.0, 600.0, 100.0), *top_ups(10.0, 10.0, 70.0)]
    yield from oil_care(with_levels(top_ups=leak), [])
    for kind in (*CHECKED_EVENTS, EventKind.COMMISSIONED):
        yield from oil_care(plant(Position("P1"), events=[Event(kind, NOW - 3.0)]), [])
    breather = Position("P1", fitted=BREATHER, part=BREATHER)
    for word in Found:
        yield from found_diagnoses(plant(breather, findings=[Finding((word,), NOW - 1.0, position="P1")]))


FOUND = {each.code: each for each in every_finding()}


def test_every_code_of_care_is_found_by_some_plant_here() -> None:
    assert set(FOUND) == set(CARE_DIAGNOSES)


@pytest.mark.parametrize("code", sorted(CARE_DIAGNOSES))
def test_each_says_when_or_how_much_and_what_to_do(code: str) -> None:
    says = WORDS.diagnosis(code, FOUND[code].numbers)
    assert any(sign.isdigit() for sign in says)
    assert not says[0].islower()
    assert says.endswith(".")
    assert "{" not in says


def test_the_numbers_of_a_leak_stand_in_its_sentence() -> None:
    numbers = FOUND["oil-loss-rising"].numbers
    says = WORDS.diagnosis("oil-loss-rising", numbers)
    assert f"loses {numbers['after'][1]:g} L a week since about {WORDS.date(numbers['since_day'])}" in says
    assert f"after {numbers['before'][1]:g} L a week" in says


def test_an_overfill_is_told_in_litres_too_much() -> None:
    assert WORDS.diagnosis("overfilled", FOUND["overfilled"].numbers).startswith("25 L too much are in the reservoir")
