"""What the balance, a service and the water say, in words: the numbers, and what to check first."""

from zoneinfo import ZoneInfo

import pytest

from scheduler.planning.diagnoses import Diagnosis
from scheduler.planning.water import water_diagnoses, water_levels
from scheduler.statistics.contamination_causes import Cause
from scheduler.vocabulary import DisplayUnits, Severity
from service.due.contamination_wording import CAUSE_WORDS, CONTAMINATION_DIAGNOSES, of_causes
from service.due.wording import Wording
from tests.planning.small_plant import NOW
from tests.planning.test_contamination import counted, known, said, serviced
from tests.planning.test_water import oiled

WORDS = Wording(ZoneInfo("UTC"), DisplayUnits.METRIC)
LOST = {"beta": 1.6, "stated_beta": 200.0, "size_um_c": 6, "pairs": 3, "at_day": NOW - 1.0, "probability": 0.9}


def every_finding() -> list[Diagnosis]:
    found = list(said(known(counted(*[200.0] * 6, *[900.0, 1000.0, 950.0]))).values())
    for after in ((900.0, 850.0), (1200.0,), (1600.0, 350.0)):
        found += said(serviced(*after)).values()
    for wet in (oiled(75.0, 80.0, 78.0), oiled(*[12.0, 16.0, 20.0, 27.0, 33.0, 42.0])):
        found += water_diagnoses(wet, water_levels(wet))
    return [*found, Diagnosis(0, 0, "efficiency-lost", Severity.SOON, LOST)]


FOUND = every_finding()


def test_every_code_is_found_by_some_plant_here() -> None:
    assert {each.code for each in FOUND} == set(CONTAMINATION_DIAGNOSES)


@pytest.mark.parametrize("found", FOUND, ids=lambda each: each.code)
def test_each_says_how_much_and_what_to_do(found: Diagnosis) -> None:
    says = WORDS.diagnosis(found.code, found.numbers)
    assert any(sign.isdigit() for sign in says)
    assert not says[0].islower()
    assert says.endswith(".")
    assert "{" not in says
    assert " nan" not in says


def test_each_cause_has_its_words_and_what_is_missing_is_said() -> None:
    assert set(CAUSE_WORDS) == {each.value for each in Cause}
    causes = {"ingression": 0.7, "bypass": 0.2, "nothing_wrong": 0.08, "under_filtration": 0.02}
    says = of_causes({"position": "RET", "probability": causes, "missing": ["sample_downstream"]})
    assert says.startswith("By the counts and RET: more dirt comes in 70 %, oil goes round the element 20 %, nothing")
    assert says.endswith("Not known: a sample behind the element.")
