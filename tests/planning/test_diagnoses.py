"""Each finding on data with the fault and on data without it."""

import json
from dataclasses import replace

import pytest

from scheduler.planning.plant_columns import PlantColumns
from scheduler.vocabulary import EventKind, IndicatorState, Place, Severity, Stage, Status, TaskKind
from tests.planning.small_plant import (
    ALTERNATE,
    NAN,
    NOW,
    OIL,
    OTHER_OIL,
    STRAINER,
    STRANGER,
    Assessed,
    Event,
    MeterReading,
    Position,
    Reading,
    System,
    TopUp,
    assess,
    only_plain,
    plant,
    rising_readings,
    steady_meter,
    with_newest,
)

MAIN = ("S1", "")
ALTERNATES = {"EL-10": (ALTERNATE,)}


def assessed(*positions: Position, **more: object) -> Assessed:
    return assess(plant(*positions, **more))  # type: ignore[arg-type]


def readings_of(*levels_bar: float, every_d: float = 5.0) -> tuple[Reading, ...]:
    first = NOW - every_d * (len(levels_bar) - 1)
    return tuple(Reading(first + every_d * step, dp) for step, dp in enumerate(levels_bar))


def test_a_sound_plant_has_no_findings() -> None:
    sound = Position(terminal_dp_bar=2.5, readings=rising_readings(400.0))
    assert assessed(sound, top_ups=[TopUp(OIL, NOW - 10.0)]).diagnoses == []


def test_a_position_of_which_nothing_is_known_is_to_be_looked_at() -> None:
    found = assessed(Position(fitted=None)).diagnosis("nothing-known-fitted")
    assert (found.position, found.asks_for, found.severity) == (0, TaskKind.INSPECT, Severity.SOON)


def test_nothing_is_asked_of_positions_out_of_service() -> None:
    gone = Position(fitted=None, status=Status.RETIRED)
    assert assessed(gone).diagnoses == []
    assert assessed(Position(fitted=None), systems=[System(status=Status.LAID_UP)]).diagnoses == []


def test_an_element_that_is_neither_specified_nor_an_alternate_keeps_the_system_out_of_service() -> None:
    found = assessed(Position(fitted=STRANGER), alternates=ALTERNATES).diagnosis("wrong-element-fitted")
    assert (found.severity, found.asks_for) == (Severity.NOW, TaskKind.INSPECT)
    assert found.numbers == {"fitted": STRANGER, "specified": "EL-10"}


def test_an_approved_alternate_is_no_wrong_element_but_an_unapproved_one_is() -> None:
    assert assessed(Position(fitted=ALTERNATE), alternates=ALTERNATES).codes() == set()
    assert assessed(Position(fitted=ALTERNATE)).codes() == {"wrong-element-fitted"}
    # approval holds one way only
    reverse = Position(part=ALTERNATE, fitted="EL-10")
    assert assessed(reverse, alternates=ALTERNATES).codes() == {"wrong-element-fitted"}


def test_readings_that_nobody_can_judge_are_told() -> None:
    assert assessed(Position(readings=readings_of(0.4))).codes() == {"no-terminal-dp"}
    assert assessed(Position(readings=readings_of(0.4), terminal_dp_bar=2.5)).codes() == set()
    assert assessed(Position()).codes() == set()


def bypassing(*readings: Reading, life_d: float = 105.0) -> Assessed:
    """An element that has come half of the way to its bypass setting, then these."""
    before = rising_readings(life_d, until_day=NOW - 6.0, scatter=0.0)
    return assessed(Position(readings=(*before, *readings), bypass_dp_bar=3.0))


def test_oil_that_goes_round_unfiltered_is_told_at_once() -> None:
    found = bypassing(Reading(NOW - 2.0, 3.05)).diagnosis("bypass-open-warm")
    assert (found.severity, found.asks_for) == (Severity.NOW, TaskKind.INSPECT)
    assert found.numbers == {"dp_bar": 3.05, "bypass_dp_bar": 3.0, "at_day": NOW - 2.0}


def test_a_bypass_that_opens_on_a_cold_start_is_not_told_as_running_unfiltered() -> None:
    assert bypassing(Reading(NOW - 2.0, 3.05, oil_temperature_degC=10.0)).codes() == set()


def test_one_reading_far_out_of_line_may_be_misread_and_a_second_is_not() -> None:
    """A new element at 0.3 to 0.5 bar: read ten times too high, or really plugged."""
    high, again, low = Reading(NOW - 3.0, 3.05), Reading(NOW - 2.0, 3.1), Reading(NOW - 2.0, 0.45)
    assert bypassing(high, life_d=400.0).codes() == set()
    assert bypassing(high, again, life_d=400.0).codes() == {"bypass-open-warm"}
    assert bypassing(high, low, life_d=400.0).codes() == set()


def test_a_first_reading_at_the_bypass_setting_waits_for_a_second() -> None:
    alone, again = Reading(NOW - 3.0, 3.05), Reading(NOW - 2.0, 3.1)
    assert assessed(Position(readings=(alone,), bypass_dp_bar=3.0)).codes() == set()
    assert assessed(Position(readings=(alone, again), bypass_dp_bar=3.0)).codes() == {"bypass-open-warm"}


def test_what_rose_while_nobody_looked_is_told_at_once() -> None:
    read_seldom = tuple(Reading(NOW - day, 0.5 + 0.001 * (300.0 - day)) for day in (300.0, 210.0, 120.0))
    position = Position(fitted_day=NOW - 310.0, readings=(*read_seldom, Reading(NOW, 3.05)), bypass_dp_bar=3.0)
    assert assessed(position).codes() == {"bypass-open-warm"}


def test_more_than_an_open_bypass_lets_stand_is_misread_unless_it_is_read_again() -> None:
    """Three bar of bypass setting, and a point put one place too far to the right."""
    beyond = Reading(NOW - 3.0, 22.0)
    assert bypassing(beyond).codes() == set()
    assert bypassing(beyond, replace(beyond, day=NOW - 2.0)).codes() == {"bypass-open-warm"}


def test_an_indicator_that_has_tripped_bears_out_a_reading_at_the_bypass() -> None:
    both = Reading(NOW - 2.0, 3.05, indicator=IndicatorState.TRIPPED)
    assert "bypass-open-warm" in bypassing(both, life_d=400.0).codes()


def test_a_bypass_seen_shut_again_with_warm_oil_is_told_no_more() -> None:
    assert "bypass-open-warm" not in bypassing(Reading(NOW - 3.0, 3.05), Reading(NOW - 2.0, 0.5)).codes()


def test_a_reading_cold_or_without_flow_does_not_clear_an_open_bypass() -> None:
    cold, standing = Reading(NOW - 1.0, 1.4, oil_temperature_degC=10.0), Reading(NOW, 0.0, flow_lpm=0.0)
    assert "bypass-open-warm" in bypassing(Reading(NOW - 3.0, 3.05), cold, standing).codes()


def test_cool_oil_neither_proves_nor_clears_an_open_bypass() -> None:
    """At 25 °C the oil is about three times as viscous as at 50 °C."""
    at_bypass, shut = (Reading(NOW - 2.0, dp, oil_temperature_degC=25.0) for dp in (3.05, 0.9))
    assert bypassing(at_bypass).codes() == set()
    assert "bypass-open-warm" in bypassing(Reading(NOW - 3.0, 3.05), shut).codes()


def test_one_reading_of_unknown_temperature_may_be_a_cold_start_and_two_are_not() -> None:
    first, second = (Reading(day, 3.05, oil_temperature_degC=NAN) for day in (NOW - 3.0, NOW - 2.0))
    assert "bypass-open-warm" not in bypassing(Reading(NOW - 4.0, 0.5), first).codes()
    assert "bypass-open-warm" in bypassing(Reading(NOW - 4.0, 0.5), first, second).codes()


@pytest.mark.parametrize(
    ("coldest_start_degC", "shut_at_start", "told"),
    [(0.0, True, True), (20.0, True, False), (NAN, True, False), (60.0, True, False), (0.0, False, False)],
)
def test_a_bypass_that_even_a_clean_element_opens_on_a_cold_start_is_told(
    coldest_start_degC: float, shut_at_start: bool, told: bool
) -> None:
    """Clean 0.30 bar at 50 °C; ν(0) = 577.3, ν(20) = 133.8, ν(50) = 29.97 mm²/s (ASTM D341): 5.8 and 1.3 bar."""
    position = Position(terminal_dp_bar=2.5, shut_at_start=shut_at_start)
    found = assessed(position, systems=[System(coldest_start_degC=coldest_start_degC)]).codes()
    assert found == ({"opens-on-a-cold-start"} if told else set())


def tripped(oil_temperature_degC: float) -> tuple[Reading, ...]:
    return (Reading(NOW - 1.0, NAN, NAN, oil_temperature_degC, IndicatorState.TRIPPED),)


def test_a_trip_of_unknown_temperature_asks_for_a_look_when_warm() -> None:
    found = assessed(Position(readings=tripped(NAN))).diagnosis("trip-unconfirmed")
    assert (found.asks_for, found.numbers) == (TaskKind.LOOK_WHEN_WARM, {"at_day": NOW - 1.0})


@pytest.mark.parametrize("oil_temperature_degC", [50.0, 10.0])
def test_a_trip_of_known_temperature_needs_no_second_look(oil_temperature_degC: float) -> None:
    assert assessed(Position(readings=tripped(oil_temperature_degC))).codes() == set()


STEADY = (0.80, 0.82, 0.81, 0.83, 0.82, 0.84)


def dropped(*after_bar: float, **position: object) -> set[str]:
    readings = readings_of(*STEADY, *after_bar)
    return assessed(Position(readings=readings, terminal_dp_bar=2.5, **position)).codes()  # type: ignore[arg-type]


@pytest.mark.parametrize("after_bar", [(0.30, 0.31, 0.30), (0.02, 0.01, 0.02)])
def test_a_fall_without_a_change_is_a_ruptured_or_bypassed_element(after_bar: tuple[float, ...]) -> None:
    """To a level like a new element's, and to nothing at all as where the element has burst."""
    assert dropped(*after_bar) == {"dp-fell-without-change"}


def test_a_fall_stands_as_long_as_the_level_stays_down() -> None:
    """A torn element does not mend: only a change, or the level itself, clears the finding."""
    low = (0.30 + 0.002 * number for number in range(20))
    readings = readings_of(*STEADY, *low, every_d=3.0)
    found = assessed(Position(readings=readings, terminal_dp_bar=2.5)).diagnosis("dp-fell-without-change")
    assert (found.numbers["before_bar"], found.since_day) == (0.82, readings[len(STEADY)].day)


def test_a_level_that_came_up_again_is_no_fall() -> None:
    """Three low readings in the middle: somebody throttled the pump for a while."""
    assert dropped(0.30, 0.31, 0.30, 0.83, 0.84, 0.85, 0.85) == set()


def test_a_coarse_gauge_that_falls_to_nothing_with_the_oil_flowing_is_a_fall_too() -> None:
    """Less than a mark of a gauge in tenths, so the readings count as below its resolution."""
    readings = readings_of(0.8, 0.9, 0.8, 1.0, 0.9, 1.0, 0.0, 0.0, 0.0)
    assert assessed(Position(readings=readings, terminal_dp_bar=2.5)).codes() == {"dp-fell-without-change"}


@pytest.mark.parametrize(
    "after_bar",
    [
        (0.84, 0.85, 0.84),
        (0.75, 0.76, 0.74),  # a tenth: scatter of people and gauges
        (0.30, 0.84, 0.85),  # one misread gauge
        (0.30,),
    ],
)
def test_scatter_and_a_single_low_reading_are_no_fall(after_bar: tuple[float, ...]) -> None:
    assert dropped(*after_bar) == set()


def test_a_level_that_follows_the_oil_temperature_has_not_fallen() -> None:
    """Cool oil, then warm: as read the ΔP falls by two thirds, restated (ASTM D341) it stays."""
    cool = [replace(reading, oil_temperature_degC=27.0) for reading in readings_of(*[0.80] * 6, *[0.30] * 3)[:6]]
    warm = readings_of(*[0.80] * 6, *[0.30] * 3)[6:]
    assert assessed(Position(readings=(*cool, *warm), terminal_dp_bar=2.5)).codes() == set()


def test_a_new_element_is_no_fall() -> None:
    old = [replace(reading, stage=Stage.BEFORE) for reading in readings_of(*STEADY, 0.3, 0.3, 0.3)[:6]]
    new = readings_of(*STEADY, 0.3, 0.3, 0.3)[6:]
    assert assessed(Position(fitted_day=NOW - 12.0, readings=(*old, *new), terminal_dp_bar=2.5)).codes() == set()


def strainer(*vacuum_bar: float, **more: object) -> Assessed:
    first = NOW - 10.0 * (len(vacuum_bar) - 1)
    readings = tuple(Reading(first + 10.0 * step, NAN, vacuum_bar=bar) for step, bar in enumerate(vacuum_bar))
    given: dict[str, object] = {"place": Place.SUCTION, "part": STRAINER, "fitted": STRAINER, "readings": readings}
    return assessed(Position(**(given | more)))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("newest_bar", "severity"), [(0.20, None), (0.30, Severity.SOON), (0.34, Severity.NOW), (0.5, Severity.NOW)]
)
def test_an_inlet_vacuum_near_its_limit_starves_the_pump(newest_bar: float, severity: Severity | None) -> None:
    """At most about 10 inHg (0.34 bar) at the pump inlet in general practice."""
    read = strainer(0.1, 0.2, 0.3, newest_bar).diagnoses
    assert [each.severity for each in read if each.code == "inlet-vacuum-near-limit"] == (
        [] if severity is None else [severity]
    )


def test_one_vacuum_out_of_line_may_be_misread_and_a_second_is_not() -> None:
    assert strainer(0.1, 0.1, 0.31).codes() == set()
    assert "inlet-vacuum-near-limit" in strainer(0.1, 0.1, 0.31, 0.32).codes()
    assert strainer(0.1, 0.1, 0.31, 0.1).codes() == set()
    assert "inlet-vacuum-near-limit" in strainer(0.1, 0.19, 0.31).codes()  # it came up step by step
    assert "inlet-vacuum-near-limit" in strainer(0.31).codes()  # nothing before it that it could be out of line with


def test_a_cold_start_explains_a_vacuum_out_of_line() -> None:
    """At 20 °C the oil is 4.5 times as viscous as at 50 °C (ASTM D341)."""
    vacuums = ((NOW - 20.0, 0.1, 50.0), (NOW - 10.0, 0.1, 50.0), (NOW, 0.31, 20.0))
    readings = tuple(Reading(day, vacuum_bar=bar, oil_temperature_degC=at_degC) for day, bar, at_degC in vacuums)
    assert "inlet-vacuum-near-limit" in strainer(readings=readings).codes()


def test_a_cold_start_before_does_not_bear_out_a_vacuum_out_of_line() -> None:
    vacuums = ((NOW - 20.0, 0.1, 50.0), (NOW - 10.0, 0.28, 20.0), (NOW, 0.31, 50.0))
    readings = tuple(Reading(day, vacuum_bar=bar, oil_temperature_degC=at_degC) for day, bar, at_degC in vacuums)
    assert strainer(readings=readings).codes() == set()


def test_a_vacuum_that_rose_while_nobody_looked_is_told_at_once() -> None:
    readings = tuple(Reading(day, vacuum_bar=bar) for day, bar in ((NOW - 90.0, 0.1), (NOW, 0.31)))
    assert "inlet-vacuum-near-limit" in strainer(readings=readings).codes()


def test_the_pump_makers_limit_goes_before_general_practice() -> None:
    assert "inlet-vacuum-near-limit" in strainer(0.1, 0.13, 0.2, vacuum_limit_bar=0.2).codes()


def test_the_vacuum_of_the_strainer_before_is_not_told_of_the_new_one() -> None:
    assert "inlet-vacuum-near-limit" not in strainer(0.22, 0.33, fitted_day=NOW, fitted_is_date=True).codes()
    assert "inlet-vacuum-near-limit" in strainer(0.22, 0.33).codes()


def poured(*top_ups: TopUp, events: tuple[Event, ...] = ()) -> Assessed:
    return assessed(Position(), top_ups=top_ups, events=events)


def test_a_wrong_oil_is_told_for_the_whole_system() -> None:
    found = poured(TopUp(OTHER_OIL, NOW - 20.0, 15.0), TopUp(OTHER_OIL, NOW - 10.0, 5.0)).diagnosis(
        "wrong-oil-poured"
    )
    assert (found.position, found.severity, found.asks_for) == (-1, Severity.NOW, TaskKind.INSPECT)
    assert (found.numbers["poured"], found.numbers["volume_L"]) == ("HM68", 20.0)
    assert any("ISO VG 68 instead of ISO VG 46" in reason for reason in found.numbers["differs"])


def test_the_specified_oil_is_no_finding_and_an_oil_change_ends_the_wrong_one() -> None:
    assert poured(TopUp(OIL, NOW - 20.0)).codes() == set()
    changed = (Event(EventKind.OIL_CHANGE, NOW - 5.0),)
    assert poured(TopUp(OTHER_OIL, NOW - 20.0), events=changed).codes() == set()
    assert poured(TopUp(OTHER_OIL, NOW - 2.0), events=changed).codes() == {"wrong-oil-poured"}


def test_the_oil_change_of_another_system_ends_nothing() -> None:
    columns = plant(
        Position("P1"),
        Position("P2", system="S2"),
        systems=[System(), System("S2")],
        top_ups=[TopUp(OTHER_OIL, NOW - 20.0)],
        events=[Event(EventKind.OIL_CHANGE, NOW - 5.0, system="S2")],
    )
    assert [(found.system, found.code) for found in assess(columns).diagnoses] == [(0, "wrong-oil-poured")]


def metered(*readings: MeterReading, position: Position | None = None) -> Assessed:
    return assessed(position or Position(), meters={MAIN: readings})


def test_the_newest_meter_reading_is_asked_about_when_it_cannot_be() -> None:
    right = steady_meter()
    earlier = right[-2]
    found = metered(*right[:-1], MeterReading(NOW, 999.0)).diagnosis("meter-reading-doubtful")
    assert found.severity is Severity.SOON
    assert (found.numbers["hours"], found.numbers["earlier_h"]) == (999.0, earlier.shown_h)
    assert found.numbers["outcome"] == "backward"
    assert metered(*right).codes() == set()


def test_a_meter_that_stands_still_while_the_machine_is_read_is_told() -> None:
    moving = steady_meter(NOW - 40.0)
    stuck = [MeterReading(NOW - day, moving[-1].shown_h) for day in (30.0, 20.0, 10.0, 0.0)]
    in_use = Position(terminal_dp_bar=2.5, readings=readings_of(0.4, 0.4, 0.4))
    found = metered(*moving, *stuck, position=in_use).diagnosis("meter-stands-still")
    assert found.numbers["hours"] == moving[-1].shown_h
    assert found.numbers["since_day"] == NOW - 40.0
    assert metered(*moving, *stuck).codes() == set()  # a machine that rests: nobody reads a ΔP
    assert metered(*steady_meter(), position=in_use).codes() == set()
    standing = tuple(replace(reading, dp_bar=0.0, flow_lpm=0.0) for reading in in_use.readings)
    assert metered(*moving, *stuck, position=replace(in_use, readings=standing)).codes() == set()


def test_each_meter_of_a_system_has_a_finding_of_its_own() -> None:
    wrong = [*steady_meter()[:-1], MeterReading(NOW, 3.0)]
    columns = plant(Position(), Position("P2", meter="PUMP2"), meters={MAIN: wrong, ("S1", "PUMP2"): wrong})
    assert assess(columns).codes() == {"meter-reading-doubtful", "meter-reading-doubtful:PUMP2"}


def faulty() -> PlantColumns:
    wrong = [*steady_meter()[:-1], MeterReading(NOW, 3.0)]
    return plant(
        Position("P1", fitted=None),
        Position("P2", fitted=STRANGER),
        Position("P3", readings=with_newest(rising_readings(105.0), dp_bar=3.05), bypass_dp_bar=3.0),
        Position("P4", readings=tripped(NAN)),
        Position("P5", readings=readings_of(*STEADY, 0.3, 0.3, 0.3)),
        Position("P6", place=Place.SUCTION, part=STRAINER, fitted=STRAINER, readings=(Reading(NOW, vacuum_bar=0.4),)),
        top_ups=[TopUp(OTHER_OIL, NOW - 3.0)],
        meters={MAIN: wrong},
    )


def test_every_finding_can_be_written_as_json() -> None:
    found = assess(faulty()).diagnoses
    assert len({each.code for each in found}) >= 8
    assert [each.code for each in found if not only_plain(each.numbers)] == []
    assert json.loads(json.dumps([each.numbers for each in found], allow_nan=False))
