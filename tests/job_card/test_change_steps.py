"""The steps of a change, rule by rule. Common practice, no source, unless a standard stands beside the test."""

import pytest

from scheduler.engineering.new_element import ExpectedDp
from scheduler.job_card.job import Job
from scheduler.job_card.steps import Step, steps
from scheduler.vocabulary import Access, Answer, FluidFamily, Hazard, IndicatorKind, Place, TaskKind
from tests.job_card.jobs import return_change

RUNNING_DUPLEX = return_change(access=Access.RUNNING, side="A")
SUCTION = return_change(place=Place.SUCTION)
IN_TANK = return_change(task=TaskKind.SERVICE_STRAINER, place=Place.SUCTION, access=Access.DRAINED, cleaned=True)


def cards(job: Job) -> dict[str, Step]:
    return {step.key: step for step in steps(job)}


def says(key: str, job: Job) -> str:
    return cards(job)[key].says


def test_the_permit_and_the_procedures_number_come_first_and_a_missing_number_is_asked_for() -> None:
    # 29 CFR 1910.147: a documented procedure
    first = steps(return_change(permits="hot work"))[0]
    assert "hot work" in first.says
    assert "LOTO-12" in first.says
    assert first.reference == "29 CFR 1910.147"
    missing = steps(return_change(isolation_procedure=None))[0]
    assert "No isolation procedure number is recorded" in missing.says
    assert missing.records == ("note",)


def test_element_seals_and_fluid_are_compared_with_their_labels_before_opening() -> None:
    told = says("labels", return_change(quantity=2, alternates=("EL-2", "EL-3"), fluid_name="Plain 46"))
    for label in ("2 × EL-1", "in this order EL-2, EL-3", "FKM", "SK-1", "OIL-46 (Plain 46, HM, ISO VG 46)"):
        assert label in told
    assert "open nothing and ask" in told


def test_seals_that_the_fluid_attacks_are_named_on_the_card() -> None:
    # general practice: EPDM swells in mineral oil (ISO 6743-4 families)
    assert "EPDM swells in mineral oil; do not fit" in says("labels", return_change(seals="EPDM"))
    assert "do not fit" not in says("labels", return_change(seals="FKM"))


def test_what_is_not_recorded_is_asked_for_and_not_passed_over() -> None:
    told = says("labels", Job(TaskKind.CHANGE_ELEMENT, Place.RETURN))
    assert "part number is not recorded" in told
    assert "fluid's name is not recorded" in told


def test_the_old_element_is_read_once_more_before_the_stop() -> None:
    read = cards(return_change(indicator_kind=IndicatorKind.SWITCH))["read-before"]
    for number in ("120 L/min", "limit 2.5 bar", "indicator has tripped"):
        assert number in read.says
    assert read.records == ("hours", "dp_before")
    assert "vacuum" in says("read-before", SUCTION)


@pytest.mark.parametrize(
    ("hazard", "key", "words"),
    [
        (Hazard.SUSPENDED_LOAD, "loads", "Lower every load"),  # ISO 4413, ISO 14118
        (Hazard.TANK_HEATER, "heater", "before the oil level falls"),
        (Hazard.ACCUMULATOR, "accumulators", "discharge its oil side"),  # ISO 4413
    ],
)
def test_stored_energy_has_its_step_where_the_plant_lists_it(hazard: Hazard, key: str, words: str) -> None:
    assert words in says(key, return_change(hazards=(hazard.value,)))
    assert key not in cards(return_change(hazards=("noise",)))


def test_a_system_without_listed_hazards_is_not_taken_to_have_none() -> None:
    assert "look for them yourself" in says("stop", return_change(hazards=()))
    assert "look for them yourself" not in says("stop", return_change())


def test_zero_pressure_is_shown_at_a_named_point_and_a_dp_indicator_is_no_proof() -> None:
    # ISO 4413; a difference of two equal pressures is zero
    zero = cards(return_change())["zero-pressure"]
    assert "TP3" in zero.says
    assert "A ΔP indicator is no proof" in zero.says
    assert zero.reference == "ISO 4413"
    unknown = cards(return_change(test_point=" "))["zero-pressure"]
    assert "with none to be found, do not open" in unknown.says
    assert unknown.records == ("note",)


def test_the_oil_cools_to_a_stated_temperature() -> None:
    # ours: 45 °C, below the 48 °C of ISO 13732-1 for ten minutes' contact (from memory)
    assert "from about 62 °C to 45 °C or less" in says("cool", return_change(working_temperature_degC=62.0))
    assert "to 45 °C or less" in says("cool", return_change(working_temperature_degC=None))
    assert "cool" not in cards(return_change(working_temperature_degC=45.0))


def test_the_outside_is_cleaned_and_the_tray_holds_the_housing() -> None:
    told = says("clean-outside", return_change())
    assert "housing (R4)" in told
    assert "drip tray for 8 L" in told


def test_the_vent_is_opened_slowly_and_shut_again_when_it_hisses() -> None:
    told = says("vent-open", return_change())
    assert "slowly, face turned away" in told
    assert "shut it and find the pressure" in told


def test_the_old_element_is_bagged_and_marked() -> None:
    assert "bag it; mark the bag with position P1" in says("old-element-out", return_change())


@pytest.mark.parametrize("job", [return_change(), SUCTION, IN_TANK, RUNNING_DUPLEX])
def test_metal_stops_the_work_is_reported_and_the_element_is_cut_open(job: Job) -> None:
    look = cards(job)["look-inside"]
    assert "Metal: stop, report it, cut the" in look.says
    assert "the machine stands until somebody has decided" in look.says
    assert look.records == ("condition", "photo")


def test_the_seal_is_wetted_with_the_systems_own_fluid() -> None:
    seal = cards(return_change())["seal"]
    assert "SK-1 and wet them with OIL-46, no grease and no other oil" in seal.says
    assert seal.records == ("parts",)


def test_the_cover_is_tightened_as_given_and_the_label_tells_date_and_lot() -> None:
    seat = cards(return_change())["seat-element"]
    assert "45 N·m; write date and lot" in seat.says
    assert {"element", "lot", "torque"} <= set(seat.records)
    assert "write the torque down" in says("seat-element", return_change(torque_Nm=None))
    assert "the new 3 elements" in says("seat-element", return_change(quantity=3))


def test_the_bypass_valve_is_seen_closed_and_free() -> None:
    assert "move freely and spring shut" in says("look-inside", return_change())
    assert "seen closed and free before the cover went on" in says("bypass", return_change())
    assert "not recorded" in says("bypass", return_change(bypass=Answer.UNKNOWN))
    assert "bypass" not in cards(return_change(bypass=Answer.NO))


def test_the_housing_is_filled_and_vented() -> None:
    told = cards(return_change())["fill-and-vent"]
    assert "OIL-46 (about 8 L, through a filter)" in told.says
    assert "vent it at its highest point" in told.says
    assert "shaft seal" in says("fill-and-vent", return_change(place=Place.CASE_DRAIN))


def test_the_pump_is_jogged_and_the_pressure_comes_in_steps_with_people_clear() -> None:
    # ISO 14118 and 29 CFR 1910.147: each lock is taken off by whoever hung it
    start = cards(return_change())["start"]
    for words in ("people clear", "takes off their own lock", "Jog the pump", "in steps up to 210 bar"):
        assert words in start.says
    assert start.reference == "ISO 14118; 29 CFR 1910.147"


def test_leaks_are_looked_for_with_cardboard_and_nothing_is_tightened_under_pressure() -> None:
    # ISO 4413
    told = says("leak-check", return_change())
    assert "by eye and with a piece of cardboard, never by hand" in told
    assert "Nothing is tightened under pressure: stop, back to zero at TP3" in told
    assert "never by hand" in says("leak-check", SUCTION)


def test_the_new_element_is_read_warm_and_the_card_says_what_it_should_show() -> None:
    expected = (ExpectedDp(55.0, 0.3, 0.5), ExpectedDp(35.0, 0.7, 1.15))
    after = cards(return_change(dp_after=expected))["dp-after"]
    assert "Run warm (about 55 °C)" in after.says
    assert "0.3 to 0.5 bar at 55 °C; 0.7 to 1.15 bar at 35 °C at 120 L/min" in after.says
    assert "dp_after" in after.records
    assert "well below the reading from before" in says("dp-after", return_change())


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (IndicatorKind.POPUP_LATCHING, "Press the pop-up in once warm"),
        (IndicatorKind.SWITCH, "Reset the indicator's alarm"),
        (IndicatorKind.GAUGE, "pointer has to stand in its clean field"),
    ],
)
def test_the_indicator_is_reset_once_the_oil_is_warm(kind: IndicatorKind, words: str) -> None:
    assert words in says("dp-after", return_change(indicator_kind=kind))
    assert words not in says("dp-after", return_change())


def test_the_level_is_read_at_rest_in_the_systems_position() -> None:
    assert "ram down, table back" in says("level", return_change(level_position="ram down, table back"))
    assert "single-acting cylinders retracted" in says("level", return_change())
    assert "shows only at rest" in says("level", RUNNING_DUPLEX)


def test_oil_goes_in_through_a_filter_and_never_above_the_mark() -> None:
    oil = cards(return_change(oil_needed_L=6.5, top_up_filter="fill through the 10 µm cart"))["top-up"]
    assert oil.says.startswith(
        "Fill through the 10 µm cart. About 6.5 L of OIL-46, no other, never above the top mark"
    )
    assert oil.records == ("oil",)
    assert says("top-up", return_change()).startswith("Top up only through a filter.")


def test_waste_goes_by_local_code() -> None:
    assert "by local code" in says("waste", return_change())


def test_on_a_duplex_the_standby_side_is_filled_before_the_flow_is_turned_over() -> None:
    card = cards(RUNNING_DUPLEX)
    assert "side B holds a clean element" in card["standby-side"].says
    assert "fill side B, vent open" in card["standby-side"].says
    assert "all the way to side B, then shut the equalising valve" in card["turn-over"].says
    assert "stop" not in card
    assert "start" not in card


def test_on_a_duplex_that_side_is_seen_to_stay_at_zero_for_transfer_valves_leak() -> None:
    told = says("zero-pressure", RUNNING_DUPLEX)
    assert "Vent side A and watch TP3" in told
    assert "Transfer valves leak; if it rises again, do not open, stop the machine" in told
    assert "the test point of side A" in says(
        "zero-pressure", return_change(access=Access.RUNNING, side="A", test_point="")
    )
    stopped = says("zero-pressure", return_change(side="A"))
    assert "both sides of the transfer valve" in stopped


def test_on_a_duplex_the_changed_side_is_filled_through_the_equalising_valve_and_told() -> None:
    assert "fill side A slowly" in says("fill-and-vent", RUNNING_DUPLEX)
    assert "side B in service" in says("side-in-service", RUNNING_DUPLEX)
    assert "both sides filled" in says("side-in-service", return_change(side="B"))
    assert "side-in-service" not in cards(return_change())


def test_an_off_line_filter_stops_its_own_pump_only() -> None:
    card = cards(return_change(place=Place.OFFLINE, access=Access.RUNNING))
    assert "Stop the off-line pump" in card["shut-off"].says
    assert "Jog the off-line pump" in card["start"].says
    assert "210 bar" not in card["start"].says  # that is the main pump's
    assert not {"stop", "loads", "accumulators"} & set(card)
    both = cards(return_change(place=Place.OFFLINE))
    assert "pump and the off-line pump" in both["stop"].says


def test_a_lone_housing_on_a_running_machine_is_led_past_and_shut_on_both_sides() -> None:
    # 29 CFR 1910.147: valves are locked, too
    card = cards(return_change(access=Access.RUNNING))
    assert "shut, lock and tag the valves before and behind it" in card["shut-off"].says
    assert "Open the valves of the housing slowly" in card["start"].says


def test_a_suction_line_is_shut_and_its_pump_primed_before_it_starts() -> None:
    flooded = cards(return_change(place=Place.SUCTION, inlet_head_m=0.8))
    assert "0.8 m above the pump and runs out by itself" in flooded["suction-valve"].says
    assert "Lock it open" in flooded["fill-and-vent"].says
    assert "runs in from 0.8 m above" in flooded["prime"].says
    lifted = cards(return_change(place=Place.SUCTION, inlet_head_m=-0.5))
    assert "runs out by itself" not in lifted["suction-valve"].says
    assert "0.5 m above the oil, so fill line and case by hand" in lifted["prime"].says
    assert not {"prime", "suction-valve"} & set(cards(return_change()))


def test_a_suction_line_is_never_opened_on_a_running_pump() -> None:
    assert "Stop the pump" in says("stop", return_change(place=Place.SUCTION, access=Access.RUNNING))


def test_behind_a_strainer_the_vacuum_is_read_afterwards() -> None:
    after = cards(SUCTION)["dp-after"]
    assert "read the vacuum behind the strainer; it has to be lower than before" in after.says
    assert "dp_after" in after.records


def test_a_strainer_in_the_tank_comes_out_from_outside_and_entry_needs_the_permit() -> None:
    card = cards(IN_TANK)
    assert "'no oil, do not start'" in card["drain"].says
    assert "only under the plant's confined-space permit" in card["tank-entry"].says
    assert "'no oil' tag off" in card["fill-and-vent"].says
    assert "prime" in card
    assert "vent-open" not in card
    assert "tank-entry" in cards(return_change(place=Place.SUCTION, hazards=("confined_space",)))
    assert "tank-entry" not in cards(return_change())


@pytest.mark.parametrize(
    ("cleanings", "most", "words"),
    [
        (2, 5, "this is cleaning 3 of at most 5"),
        (4, 5, "this is cleaning 5 of at most 5"),
        (5, 5, "has had 5 of at most 5 cleanings: fit a new one"),
        (0, None, "this is cleaning 1."),
        (None, 5, "how often it has been cleaned is not recorded, write this one down (at most 5)"),
    ],
)
def test_cleanings_are_counted_and_the_last_one_is_followed_by_a_new_strainer(
    cleanings: int | None, most: int | None, words: str
) -> None:
    job = return_change(
        task=TaskKind.SERVICE_STRAINER, place=Place.SUCTION, cleaned=True, cleanings=cleanings, max_cleanings=most
    )
    assert words in says("clean-strainer", job)
    is_new = "fit a new one, do not" in says("clean-strainer", job)
    assert ("element" in cards(job)["seat-element"].records) == is_new
    assert ("EL-1" in says("labels", job)) == is_new


def test_a_strainer_that_is_not_cleaned_is_changed() -> None:
    job = return_change(task=TaskKind.SERVICE_STRAINER, place=Place.SUCTION)
    assert "clean-strainer" not in cards(job)
    assert "Unwrap the new strainer" in says("seat-element", job)


def test_an_unknown_fluid_is_never_given_a_name() -> None:
    card = cards(Job(TaskKind.CHANGE_ELEMENT, Place.RETURN, fluid_family=FluidFamily.HM))
    assert "the system's own fluid" in card["seal"].says
    assert "the system's own fluid" in card["top-up"].says
