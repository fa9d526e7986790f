"""Findings of suction sides, cold starts, short lives and open bypasses in words: numbers and what to check."""

from collections.abc import Iterable
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from scheduler.planning.diagnoses import Diagnosis
from scheduler.vocabulary import DisplayUnits
from service.due.system_wording import SYSTEM_DIAGNOSES
from service.due.wording import Wording
from tests.planning import test_cold_bypass as cold
from tests.planning import test_open_bypass as bypass
from tests.planning import test_short_lives as short
from tests.planning import test_suction_diagnoses as suction
from tests.planning.small_plant import only_plain

WORDS = Wording(ZoneInfo("UTC"), DisplayUnits.METRIC)
US = Wording(ZoneInfo("UTC"), DisplayUnits.US)


def every_finding() -> Iterable[Diagnosis]:
    yield from suction.said(*suction.looks(*suction.FRICTION)).values()
    yield from suction.cleaned(*suction.since(0.13, 0.131, 0.129, 0.13, 0.132)).values()
    yield from cold.said(*cold.WARM, cold.cold(3.05)).values()
    yield from cold.said(*cold.WARM, cold.tripped(5.0)).values()
    yield from short.judged(
        short.known(*short.lives_of("P1", *short.USUAL_D, *short.SHORT_D), *short.BESIDE)
    ).values()
    yield from bypass.said(bypass.STAYED_LOW, bypass.samples(*bypass.UP, behind=0.8), target="15/13/10")


FOUND = {each.code: each for each in every_finding()}


def test_every_code_is_found_by_some_plant_here() -> None:
    assert set(FOUND) == set(SYSTEM_DIAGNOSES)


@pytest.mark.parametrize("code", sorted(SYSTEM_DIAGNOSES))
def test_each_says_its_numbers_and_what_to_check_first(code: str) -> None:
    assert only_plain(FOUND[code].numbers)
    for words in (WORDS, US):
        says = words.diagnosis(code, FOUND[code].numbers)
        assert any(sign.isdigit() for sign in says)
        assert says.endswith(".")
        assert "Check first: " in says
        assert not any(wrong in says for wrong in ("{", "None", "nan", "  ", ".."))


def test_a_cold_start_is_told_with_the_temperature_to_warm_up_to() -> None:
    numbers = FOUND["vacuum-too-high-when-cold"].numbers
    says = WORDS.diagnosis("vacuum-too-high-when-cold", numbers)
    assert "on a start at 0 °C" in says
    limit_at = f"{numbers['limit_at_degC']:.0f} °C"
    assert f"the limit of 0.34 bar is reached with the oil at about {limit_at}" in says
    untold = WORDS.diagnosis("vacuum-too-high-when-cold", {**numbers, "head_told": False})
    assert "is not told" in untold


def test_a_vacuum_beyond_any_pump_is_told_as_more_than_that() -> None:
    numbers = {**FOUND["vacuum-too-high-when-cold"].numbers, "cold_vacuum_bar": 2.3}
    assert "more than 0.90 bar" in WORDS.diagnosis("vacuum-too-high-when-cold", numbers)


@pytest.mark.parametrize(
    ("cause", "checked"),
    [("more_dirt", "wipers"), ("too_small", "larger"), ("here_only", "pump"), ("not_told", "sample")],
)
def test_short_lives_are_told_with_what_speaks_for_their_cause(cause: str, checked: str) -> None:
    numbers = {**FOUND["lives-run-short"].numbers, "cause": cause, "flow_share": 1.8, "counts_risen": 0.93}
    says = WORDS.diagnosis("lives-run-short", numbers)
    assert "lasted 480 h and 448 h" in says
    assert "180 % of what is rated" in says
    assert "93 % sure" in says
    assert checked in says.split("Check first: ")[1]


def test_a_running_element_is_told_as_one_that_will_not_last() -> None:
    numbers = {**FOUND["lives-run-short"].numbers, "second_runs": True}
    assert "will last at most about 448 h by its ΔP" in WORDS.diagnosis("lives-run-short", numbers)


def test_an_open_bypass_is_told_with_the_target_that_is_missed_or_without() -> None:
    numbers = FOUND["dirty-oil-clean-element"].numbers
    assert WORDS.diagnosis("dirty-oil-clean-element", numbers).startswith("The oil misses its target of 15/13/10")
    untargeted = replace(FOUND["dirty-oil-clean-element"], numbers={**numbers, "target": None}).numbers
    assert WORDS.diagnosis("dirty-oil-clean-element", untargeted).startswith("The oil is dirtier")
