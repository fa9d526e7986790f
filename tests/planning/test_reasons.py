"""The reason of a due date: codes and numbers that can be kept as JSON, only what is known among them."""

import json

import pytest

from scheduler.planning.due import DueItem
from scheduler.vocabulary import EventKind, IndicatorState, Place
from tests.planning.small_plant import (
    BREATHER,
    NAN,
    NOW,
    STRAINER,
    Event,
    Life,
    Position,
    Reading,
    System,
    assess,
    due_of,
    life_of,
    only_plain,
    plant,
    rising_readings,
)

SERIES = rising_readings(400.0)
TRIP = Reading(NOW - 1.0, NAN, NAN, 50.0, IndicatorState.TRIPPED)
VACUUM = tuple(Reading(NOW - day, NAN, vacuum_bar=0.1) for day in (20.0, 10.0))


def facts_of(item: DueItem) -> dict[str, object]:
    facts = item.because["facts"]
    assert isinstance(facts, dict)
    return facts


def test_every_kind_of_reason_can_be_written_as_json() -> None:
    columns = plant(
        Position("P1", fitted=None),
        Position("P2", max_hours=1000.0, max_age_d=400.0),
        Position("P3", terminal_dp_bar=2.5, housing_dp_bar=0.2, readings=SERIES),
        Position("P4", bypass_dp_bar=3.0, readings=(Reading(NOW, 3.2, NAN, NAN),), flow_lpm=NAN),
        Position("P5", readings=(TRIP,)),
        Position("P6", place=Place.SUCTION, part=STRAINER, fitted=STRAINER, readings=VACUUM),
        Position("P7", place=Place.BREATHER, part=BREATHER, fitted=BREATHER, max_age_d=365.0),
        Position("P8", housing="H", side="A"),
        Position("P9", housing="H", side="B"),
        Position("P10", system="S2"),
        systems=[System(), System("S2", hours_per_week=NAN, working_temperature_degC=NAN)],
        lives=[Life(NOW - 300.0, NOW - 100.0, position="P2")],
        events=[
            Event(EventKind.CHANGEOVER, NOW - 30.0, position="P8"),
            Event(EventKind.PUMP_FAILURE, NOW - 1.0, system="S2"),
        ],
        meters={("S2", ""): ()},
    )
    items = assess(columns).items
    assert {item.because["code"] for item in items} >= {"nothing_fitted", "pressure", "indicator", "event", "life"}
    assert [item.because for item in items if not only_plain(item.because)] == []
    assert json.loads(json.dumps([item.because for item in items], allow_nan=False)) == [
        item.because for item in items
    ]


def test_what_is_not_known_is_left_out_and_not_said_to_be_zero() -> None:
    facts = facts_of(due_of(Position(flow_lpm=NAN, terminal_dp_bar=2.5, readings=(Reading(NOW, 0.5, NAN, NAN),))))
    assert not {"max_hours", "max_age_d", "last_flow_lpm", "last_oil_temperature_degC", "event", "trip"} & set(facts)
    assert facts["last_read_bar"] == 0.5


def test_the_facts_are_those_of_the_position() -> None:
    position = Position(max_hours=1000.0, max_age_d=400.0, terminal_dp_bar=2.5, housing_dp_bar=0.2, readings=SERIES)
    facts = facts_of(due_of(position, life=life_of(1500.0)))
    assert (facts["run_h"], facts["fitted_day"]) == (800.0, NOW - 100.0)
    assert facts["hours_per_week"] == pytest.approx(56.0, abs=0.1)
    assert (facts["max_hours"], facts["max_age_d"], facts["risk"]) == (1000.0, 400.0, 0.1)
    assert (facts["life_median_h"], facts["lives_seen"], facts["lives_to_limit"]) == (1500.0, 12, 12)
    assert (facts["readings"], facts["last_day"], facts["last_read_bar"]) == (len(SERIES), NOW, SERIES[-1].dp_bar)
    assert facts["terminal_bar"] == 2.5  # across the assembly, as the plant says it
    assert facts["terminal_rule"] == "stated"
    assert facts["last_warm_bar"] == pytest.approx(SERIES[-1].dp_bar, abs=1e-4)  # it was read warm
    assert facts["gates"] == {}


def test_readings_that_do_not_count_are_told_by_their_gate() -> None:
    stray = (
        Reading(NOW - 3.0, 3.0, oil_temperature_degC=10.0),
        Reading(NOW - 2.0, 0.0, flow_lpm=0.0),
        Reading(NOW - 1.0, NAN, indicator=IndicatorState.CLEAR),  # a sighting, not a reading left out
    )
    facts = facts_of(due_of(Position(terminal_dp_bar=2.5, readings=(*SERIES, *stray))))
    assert facts["gates"] == {"cold": 1, "no_flow": 1}
    assert facts["readings"] == len(SERIES)


def test_a_reading_at_the_bypass_setting_counts_and_is_not_told_as_left_out() -> None:
    facts = facts_of(due_of(Position(bypass_dp_bar=3.0, readings=(*SERIES[:-1], Reading(NOW, 3.1)))))
    assert facts["gates"] == {}
    assert (facts["readings"], facts["last_read_bar"]) == (len(SERIES), 3.1)
    assert facts["terminal_rule"] == "share_of_bypass"


def test_a_strainer_is_spoken_of_in_vacuum() -> None:
    facts = facts_of(due_of(Position(place=Place.SUCTION, part=STRAINER, fitted=STRAINER, readings=VACUUM)))
    assert (facts["is_vacuum"], facts["last_read_bar"], facts["vacuum_limit_bar"]) == (True, 0.1, 0.34)
    assert not {"terminal_bar", "last_warm_bar"} & set(facts)


def test_a_resting_side_and_an_assumed_meter_are_told() -> None:
    columns = plant(
        Position("A", housing="H", side="A"),
        Position("B", housing="H", side="B"),
        events=[Event(EventKind.CHANGEOVER, NOW - 30.0, position="A")],
        meters={("S1", ""): ()},
    )
    facts = [facts_of(item) for item in assess(columns).items]
    assert [each["resting"] for each in facts] == [False, True]
    assert [each["meter_known"] for each in facts] == [False, False]
