"""Breathers, looks, levels, samples, oil work and checks after an event: each its own short card.

Common practice, no source, unless a standard stands beside the test.
"""

import pytest

from scheduler.job_card.job import Job
from scheduler.job_card.steps import Step, steps
from scheduler.vocabulary import Access, EventKind, Hazard, IndicatorKind, Place, TaskKind
from tests.job_card.jobs import return_change


def cards(task: TaskKind, place: Place = Place.OTHER, **told: object) -> dict[str, Step]:
    return {step.key: step for step in steps(return_change(task=task, place=place, **told))}


def after(event: EventKind | None) -> dict[str, Step]:
    return cards(TaskKind.CHECK_AFTER_EVENT, event=event)


BREATHER = cards(TaskKind.CHANGE_BREATHER, Place.BREATHER, part_number="BR-1")


def test_round_a_breather_the_lid_is_cleaned_before_anything_is_loosened() -> None:
    order = list(BREATHER)
    assert order.index("clean-outside") < order.index("vent-open") < order.index("old-element-out")
    assert "BR-1" in BREATHER["labels"].says


def test_behind_a_breather_the_tank_is_vented_slowly() -> None:
    # ISO 4413
    assert "slowly, face turned away" in BREATHER["vent-open"].says
    assert BREATHER["vent-open"].reference == "ISO 4413"


def test_no_opening_is_left_at_a_tank_not_even_for_a_moment() -> None:
    assert "cover the opening at once" in BREATHER["old-element-out"].says
    assert "no opening is left" in BREATHER["nothing-left-open"].says
    assert "transport cap" in BREATHER["seat-element"].says


def test_a_breather_is_looked_at_for_dust_moisture_and_oil() -> None:
    look = BREATHER["look-inside"]
    for found in ("dust", "desiccant turned", "water", "oil in it"):
        assert found in look.says
    assert look.records == ("condition", "photo")


def test_a_breather_needs_no_discharged_accumulator_and_no_leak_check() -> None:
    assert not {"accumulators", "zero-pressure", "start", "leak-check", "dp-after", "top-up"} & set(BREATHER)
    assert "stop" not in cards(TaskKind.CHANGE_BREATHER, Place.BREATHER, access=Access.RUNNING)


def test_a_filler_strainer_is_work_on_the_lid_and_cleaned() -> None:
    card = cards(TaskKind.SERVICE_STRAINER, Place.FILLER, cleaned=True, cleanings=1, max_cleanings=3)
    assert "cleaning 2 of at most 3" in card["clean-strainer"].says
    assert "drain" not in card


def test_a_look_after_a_diagnosis_says_what_was_seen_and_opens_nothing() -> None:
    card = cards(TaskKind.INSPECT, Place.RETURN, asked_by="ΔP jumped by 0.8 bar")
    assert card["why"].says == "Know what was seen: ΔP jumped by 0.8 bar."
    assert "Open nothing" in card["open-nothing"].says
    assert "outside the guards" in card["look-around"].says
    assert not {"vent-open", "seal", "start"} & set(card)


def test_cold_oil_trips_an_indicator_early_so_it_is_looked_at_again_when_warm() -> None:
    card = cards(TaskKind.LOOK_WHEN_WARM, Place.RETURN, indicator_kind=IndicatorKind.POPUP_LATCHING)
    assert "about 55 °C" in card["warm-up"].says
    assert "press the pop-up in: does it come out again?" in card["read-warm"].says
    assert "limit is 2.5 bar" in card["read-warm"].says
    assert card["read-warm"].records == ("hours", "dp_before")
    assert "vacuum" in cards(TaskKind.LOOK_WHEN_WARM, Place.SUCTION)["read-warm"].says


def test_a_level_counts_at_rest_in_the_systems_position() -> None:
    card = cards(TaskKind.CHECK_LEVEL, level_position="ram down")
    assert "to rest (ram down), stop the pump and wait" in card["settle"].says
    assert "between the low mark and the top" in card["level"].says
    assert card["level"].records == ("level",)
    assert "was not at rest, write that down" in card["look-for-leak"].says
    assert "look for the leak before anybody tops up" in card["look-for-leak"].says
    assert "top-up" not in card


def test_a_top_up_is_read_before_and_after_and_never_another_fluid() -> None:
    card = cards(TaskKind.TOP_UP, oil_needed_L=12.0)
    assert "OIL-46 (HM, ISO VG 46)" in card["labels"].says
    assert "pour nothing and ask" in card["labels"].says
    assert list(card).index("level") < list(card).index("top-up") < list(card).index("level-again")
    assert "About 12 L of OIL-46, no other, never above the top mark" in card["top-up"].says
    assert "went somewhere" in card["look-for-leak"].says
    assert "not recorded: ask" in cards(TaskKind.TOP_UP, fluid=None)["labels"].says


def test_a_sample_is_taken_warm_running_from_a_flushed_port_into_a_clean_bottle_at_the_same_point() -> None:
    card = cards(TaskKind.TAKE_SAMPLE, Place.RETURN, target_code="18/16/13")
    assert "clean, closed sample bottle" in card["labels"].says
    assert "same sampling point as last time" in card["clean-outside"].says
    assert "machine running and the oil at about 55 °C" in card["warm-up"].says
    assert "flush it: run 500 mL" in card["flush-port"].says
    assert card["fill-bottle"].records == ("sample", "hours")
    assert "18/16/13" in card["sample"].says
    assert "stop" not in card


def test_a_clean_up_runs_as_long_as_was_computed_and_is_proved_by_samples() -> None:
    card = cards(TaskKind.CLEAN_UP, clean_up="run 14 h, derated by a third", target_code="18/16/13")
    assert card["run-clean-up"].says.startswith("Run 14 h, derated by a third.")
    assert "two in a row are at 18/16/13" in card["sample"].says
    assert "last held OIL-46" in card["labels"].says
    assert "not computed" in cards(TaskKind.CLEAN_UP)["run-clean-up"].says


def test_a_flush_takes_what_is_sensitive_out_and_is_followed_by_a_short_interval() -> None:
    card = cards(TaskKind.FLUSH, target_code="18/16/13", hazards=(Hazard.ACCUMULATOR.value,))
    assert "servo and proportional valves" in card["out-of-circuit"].says
    assert "accumulators" in card
    assert "turbulent flow in every line" in card["run-flush"].says
    assert "two in a row are at 18/16/13" in card["sample"].says
    assert "isolate again" in card["put-back"].says
    assert "after 50 h" in card["short-interval"].says
    assert "210 bar" not in card["start"].says  # flushed at low pressure


@pytest.mark.parametrize(
    ("event", "key", "words"),
    [
        (EventKind.PUMP_FAILURE, "cut-open", "cut open every element"),
        (EventKind.PUMP_FAILURE, "bottom-of-tank", "wipe its bottom"),
        (EventKind.PUMP_FAILURE, "flush-lines", "Flush lines, cooler and valve blocks"),
        (EventKind.PUMP_FAILURE, "prime", "Prime the pump before it starts"),
        (EventKind.PUMP_FAILURE, "short-interval", "after 50 h"),
        (EventKind.HOSE_BURST, "anybody-hit", "say 'high-pressure injection'"),
        (EventKind.HOSE_BURST, "fill-and-vent", "Before the start"),
        (EventKind.HOSE_BURST, "bleed-air", "until nothing jerks or foams"),
        (EventKind.HOSE_BURST, "dp-after", "a quick rise is dirt on the move"),
        (EventKind.HOSE_BURST, "level", "between the low mark"),
        (EventKind.WATER_INGRESS, "first-sample", "before anything is drained"),
        (EventKind.WATER_INGRESS, "bottom-of-tank", "open the bottom drain slowly"),
        (EventKind.WATER_INGRESS, "find-source", "cooler, breather, filler cap"),
        (EventKind.OVERHEATED, "find-source", "seals and hoses"),
        (EventKind.OVERHEATED, "sample", "viscosity, acid number and varnish"),
        (EventKind.OPENED, "nothing-left-open", "every plug and cover back"),
        (EventKind.REPAIR, "nothing-left-open", "every plug and cover back"),
        (EventKind.FLUSHED, "nothing-left-open", "working elements are in"),
        (EventKind.FLUSHED, "short-interval", "after 50 h"),
        (EventKind.OIL_CHANGE, "labels", "OIL-46 (HM, ISO VG 46)"),
        (EventKind.OIL_CHANGE, "dp-after", "loosens old deposits"),
        (EventKind.CHANGEOVER, "nothing-left-open", "which side works"),
        (EventKind.CHANGEOVER, "side-in-service", "change of the side that was left"),
        (EventKind.COMMISSIONED, "dp-after", "what clean means here"),
        (EventKind.COMMISSIONED, "short-interval", "after 50 h"),
        (None, "sample", "after some hours of running"),
    ],
)
def test_each_event_has_what_it_calls_for(event: EventKind | None, key: str, words: str) -> None:
    assert words in after(event)[key].says


@pytest.mark.parametrize("event", EventKind)
def test_a_machine_is_opened_after_an_event_only_with_its_energy_gone(event: EventKind) -> None:
    # ISO 14118, 29 CFR 1910.147
    card = after(event)
    opens = {"cut-open", "bottom-of-tank", "flush-lines"} & set(card) or event is EventKind.HOSE_BURST
    assert bool(opens) == ({"stop", "accumulators", "zero-pressure"} <= set(card))


def test_a_diagnosis_without_words_adds_no_empty_step() -> None:
    assert "why" not in {step.key for step in steps(Job(TaskKind.INSPECT, Place.RETURN, asked_by=" "))}
